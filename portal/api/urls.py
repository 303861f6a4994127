"""The routes of /api/v1/: each has a name, and the permission table a rule for it."""

from django.urls import URLPattern, path

from portal.api import (
    assessments,
    bays,
    clock,
    decisions,
    equipment,
    estimate,
    evidence,
    glass,
    identity,
    jobs,
    observations,
    orders,
    pack_desk,
    packets,
    packs,
    readings,
    scans,
    sessions,
    vehicles,
)
from portal.resource import Resource


def _route(where: str, view: type[Resource], name: str) -> URLPattern:
    return path(where, view.as_view(route_name=f"api:{name}"), name=name)


JOB = "jobs/<uuid:job_id>"
PACK = "packs/<slug:pack>/<int:edition>"

urlpatterns = [
    _route("clock", clock.Clock, "clock"),
    _route("me", clock.Me, "me"),
    _route("devices/<uuid:device_id>/clock-observations", clock.ClockObservations, "clock-observations"),
    _route("vehicles", vehicles.Vehicles, "vehicles"),
    _route("vehicles/<uuid:vehicle_id>", vehicles.OneVehicle, "vehicle"),
    _route("orders", orders.Orders, "orders"),
    _route("jobs", jobs.Jobs, "jobs"),
    _route(JOB, jobs.OneJob, "job"),
    _route(f"{JOB}/identity-readings", identity.IdentityReadings, "identity-readings"),
    _route(f"{JOB}/fitted-systems", identity.FittedSystems, "fitted-systems"),
    _route(f"{JOB}/estimate-lines", estimate.EstimateLines, "estimate-lines"),
    _route(
        f"{JOB}/estimate-lines/<uuid:line_id>/mapping", estimate.EstimateLineMapping, "estimate-line-mapping"
    ),
    _route(f"{JOB}/operations", estimate.Operations, "operations"),
    _route(
        f"{JOB}/operations/<uuid:operation_id>/withdrawal",
        estimate.OperationWithdrawal,
        "operation-withdrawal",
    ),
    _route(f"{JOB}/operations-closings", estimate.OperationsClosings, "operations-closings"),
    _route(f"{JOB}/operations-reopenings", estimate.OperationsReopenings, "operations-reopenings"),
    _route(f"{JOB}/glass-sets", glass.GlassSets, "glass-sets"),
    _route(f"{JOB}/lookups", glass.Lookups, "lookups"),
    _route(f"{JOB}/sessions", sessions.Sessions, "sessions"),
    _route(f"{JOB}/sessions/<uuid:session_id>", sessions.OneSession, "session"),
    _route(f"{JOB}/sessions/<uuid:session_id>/end", sessions.SessionEndings, "session-end"),
    _route(f"{JOB}/sessions/<uuid:session_id>/key-events", sessions.KeyEvents, "session-key-events"),
    _route(f"{JOB}/readings", readings.Readings, "readings"),
    _route(f"{JOB}/scans", scans.Scans, "scans"),
    _route(f"{JOB}/lamp-records", observations.LampRecords, "lamp-records"),
    _route(f"{JOB}/statements", observations.Statements, "statements"),
    _route(f"{JOB}/function-checks", observations.FunctionChecks, "function-checks"),
    _route(f"{JOB}/target-identities", observations.TargetIdentities, "target-identities"),
    _route(f"{JOB}/state-changes", observations.StateChanges, "state-changes"),
    _route(f"{JOB}/sublet-orders", observations.SubletOrders, "sublet-orders"),
    _route(f"{JOB}/screen-observations", observations.ScreenObservations, "screen-observations"),
    _route(f"{JOB}/slips", evidence.Slips, "slips"),
    _route(f"{JOB}/evidence", evidence.EvidenceList, "evidence-list"),
    _route(f"{JOB}/evidence/<uuid:evidence_id>", evidence.OneEvidence, "evidence"),
    _route(f"{JOB}/evidence/<uuid:evidence_id>/content", evidence.EvidenceContent, "evidence-content"),
    _route(f"{JOB}/evidence/<uuid:evidence_id>/set-aside", evidence.EvidenceSetAside, "evidence-set-aside"),
    _route(f"{JOB}/evidence/<uuid:evidence_id>/reuse-decisions", evidence.ReuseDecisions, "reuse-decisions"),
    _route(f"{JOB}/sign-offs", decisions.SignOffs, "sign-offs"),
    _route(f"{JOB}/waivers", decisions.Waivers, "waivers"),
    _route(f"{JOB}/refusals", decisions.Refusals, "refusals"),
    _route(f"{JOB}/explanations", decisions.Explanations, "explanations"),
    _route(f"{JOB}/release", decisions.Release, "release"),
    _route(f"{JOB}/delivery", decisions.Delivery, "delivery"),
    _route(f"{JOB}/assessments", assessments.Assessments, "assessments"),
    _route(f"{JOB}/assessments/<uuid:run_id>", assessments.OneRun, "assessment-run"),
    _route(f"{JOB}/assessment", assessments.LatestAssessment, "assessment"),
    _route(f"{JOB}/packets", packets.JobPackets, "job-packets"),
    _route("packets/<uuid:packet_id>", packets.OnePacket, "packet"),
    _route("packets/<uuid:packet_id>/content", packets.PacketContent, "packet-content"),
    _route("packets/<uuid:packet_id>/grants", packets.PacketGrants, "packet-grants"),
    _route("equipment", equipment.EquipmentList, "equipment"),
    _route("equipment/due", equipment.EquipmentDue, "equipment-due"),
    _route("bays/<str:bay_code>/floor-surveys", bays.FloorSurveys, "floor-surveys"),
    _route("floor-surveys/<uuid:survey_id>/voiding", bays.FloorSurveyVoiding, "floor-survey-voiding"),
    _route("packs", packs.Packs, "packs"),
    _route(f"{PACK}/text", packs.PackText, "pack-text"),
    _route(f"{PACK}/draft", pack_desk.PackDraft, "pack-draft"),
    _route(f"{PACK}/review", pack_desk.PackReview, "pack-review"),
    _route(f"{PACK}/difference", pack_desk.PackDifference, "pack-difference"),
    _route(f"{PACK}/effect", pack_desk.PackEffect, "pack-effect"),
    _route(f"{PACK}/acknowledgements", pack_desk.PackAcknowledgements, "pack-acknowledgements"),
    _route(f"{PACK}/approval", pack_desk.PackApproval, "pack-approval"),
    _route(f"{PACK}/withdrawal", pack_desk.PackWithdrawal, "pack-withdrawal"),
]
