"""The rows of the tenancy matrix: each route and method, a body that would work, and for whom."""

import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from tests.portal.cast import PIN, repr_digest
from tests.portal.intake import earlier, order_body, vehicle_body
from tests.portal.tenancy_stage import Stage, Things, survey_body

Body = Callable[[Stage, Things], Any]
NO_PACK: Final = b"pack: common-practice\n"


@dataclass(frozen=True, kw_only=True)
class Row:
    """One route and method.

    Attributes:
        path: of ``things`` (below /api/v1/ for the API), without ids for routes that name nothing.
        body: what would work at that place; None sends nothing.
        by: a role for which it works, and ``gives`` the status it then gives.
        reach: whose things the route can name: of a ``location``, of the ``organisation``, or ``none``.
        refused_by_service: roles that the table lets in and the service turns away for this very body.
        door: ``token`` for the API, ``session`` for the pages.
    """

    route: str
    method: str
    path: Callable[[Things], str]
    by: str
    gives: int
    body: Body | None = None
    reach: str = "location"
    door: str = "token"
    refused_by_service: frozenset[str] = frozenset()
    headers: Callable[[Things], Mapping[str, str]] = field(default=lambda things: {})

    def __str__(self) -> str:
        return f"{self.method} {self.route}"


def _id() -> str:
    return str(uuid.uuid4())


def _at(things: Things, **fields: Any) -> dict[str, Any]:
    return {"id": _id(), "at": earlier(minutes=30), "device": things.device} | fields


def _job(below: str = "") -> Callable[[Things], str]:
    return lambda things: f"jobs/{things.job}{below}"


def _get(route: str, path: Callable[[Things], str], **more: Any) -> Row:
    values: dict[str, Any] = {"by": "technician", "gives": 200} | more
    return Row(route=f"api:{route}", method="GET", path=path, **values)


def _post(route: str, body: Body, *, by: str = "technician", gives: int = 201, **more: Any) -> Row:
    path = more.pop("path", None) or _job(f"/{route}")
    return Row(route=f"api:{route}", method="POST", path=path, body=body, by=by, gives=gives, **more)


def _any_version(things: Things) -> Mapping[str, str]:
    return {"If-Match": "*"}


def _clock(stage: Stage, things: Things) -> dict[str, Any]:
    # The ticket is not one of ours: what follows the access check is tested elsewhere.
    instant = earlier(seconds=5)
    return {"id": _id(), "ticket": "x", "device_sent_at": instant, "device_received_at": instant}


def _signature(stage: Stage, things: Things) -> dict[str, Any]:
    return {"id": _id(), "role": "technician", "pin": PIN, "statement_version": "1"}


def _waiver(stage: Stage, things: Things) -> dict[str, Any]:
    return {
        "id": _id(), "procedure_id": "none", "proof_id": "none", "pin": PIN,
        "reason": "The logger's battery was empty and the drive cannot be repeated.",
        "instead": "Read from the scan device.",
    }  # fmt: skip


def _refusal(stage: Stage, things: Things) -> dict[str, Any]:
    return {
        "id": _id(), "procedure_id": "none", "refused_by_name": "R. Ashgrove", "relation": "owner",
        "told_text_version": "1", "systems_named": ["lane departure warning"], "lamp_state": "lit",
        "signed_at": earlier(minutes=5), "device": things.device,
    }  # fmt: skip


def _lookup(stage: Stage, things: Things) -> dict[str, Any]:
    return {
        "id": _id(), "procedure_id": "P", "document_number": "D", "edition": "1", "section": "1",
        "retrieved_at": earlier(minutes=5), "device": things.device,
    }  # fmt: skip


def _scan(stage: Stage, things: Things) -> dict[str, Any]:
    module = {"name": "Camera", "system": "forward_camera", "answered": True}
    return {
        "id": _id(), "stage": "intake", "device_serial": "7", "ended_at": earlier(minutes=5),
        "device": things.device, "modules": [module],
    }  # fmt: skip


def _delivery(stage: Stage, things: Things) -> dict[str, Any]:
    odometer = {"value": "21026", "unit": "km"}
    return {
        "id": _id(), "delivered_at": earlier(minutes=1), "odometer_out": odometer, "device": things.device,
    }  # fmt: skip


def _grant(stage: Stage, things: Things) -> dict[str, Any]:
    return {
        "id": _id(), "to_person": "only-auditor", "purpose": "insurer_audit", "until": earlier(days=-20),
    }  # fmt: skip


def _glass(stage: Stage, things: Things) -> dict[str, Any]:
    fields = {"operation": things.operation, "glass_maker": "Glastran", "glass_part_number": "GT-1"}
    return _at(things, set_at=earlier(minutes=95), **fields)


def _session(stage: Stage, things: Things) -> dict[str, Any]:
    return {"id": _id(), "procedure_id": "P", "started_at": earlier(minutes=20), "device": things.device}


def _reading(stage: Stage, things: Things) -> dict[str, Any]:
    return _at(things, quantity="odometer", place="in", value="21007", unit="km", session=things.session)


def _draft(stage: Stage, things: Things) -> bytes:
    return NO_PACK


def _pack(below: str) -> Callable[[Things], str]:
    return lambda things: f"packs/{things.pack}/3/{below}"


API_ROWS: Final[tuple[Row, ...]] = (
    _get("clock", lambda things: "clock", reach="none"),
    _get("me", lambda things: "me", reach="none"),
    _get("vehicle", lambda things: f"vehicles/{things.vehicle}"),
    _get("orders", lambda things: "orders", reach="none"),
    _get("jobs", lambda things: "jobs", reach="none"),
    _get("job", _job()),
    _get("estimate-lines", _job("/estimate-lines")),
    _get("sessions", _job("/sessions")),
    _get("session", lambda things: f"jobs/{things.job}/sessions/{things.session}"),
    _get("evidence-list", _job("/evidence")),
    _get("evidence", lambda things: f"jobs/{things.job}/evidence/{things.evidence}"),
    _get("evidence-content", lambda things: f"jobs/{things.job}/evidence/{things.evidence}/content"),
    _get("assessment-run", lambda things: f"jobs/{things.job}/assessments/{things.run}"),
    # Nobody has judged yet: to the right caller too there is no judgement, see the test of judging.
    _get("assessment", _job("/assessment"), gives=404),
    _get("assessment-explanations", _job("/assessment/explanations"), gives=404),
    _get("advice", _job("/advice"), gives=404),
    _get("packet", lambda things: f"packets/{things.packet}"),
    # The packet waits to be built: see the test of packets for sealed ones.
    _get("packet-content", lambda things: f"packets/{things.packet}/content", gives=409),
    _get(
        "packet-redactions", lambda things: f"packets/{things.packet}/redactions", by="quality_manager",
        gives=409,
    ),
    _get("packet-bundle", lambda things: f"packets/{things.packet}/bundle", gives=409),
    _get("equipment", lambda things: "equipment", reach="none"),
    _get("equipment-due", lambda things: "equipment/due", reach="none"),
    _get("floor-surveys", lambda things: f"bays/{things.bay}/floor-surveys"),
    _post(
        "floor-surveys", lambda stage, things: survey_body(things.tag),
        path=lambda things: f"bays/{things.bay}/floor-surveys",
    ),
    _post(
        "floor-survey-voiding", lambda stage, things: {"reason": "A lift was set."},
        path=lambda things: f"floor-surveys/{things.survey}/voiding",
    ),
    _get("packs", lambda things: "packs", reach="none"),
    _get("pack-text", lambda things: f"packs/{things.pack}/3/text", reach="organisation"),
    # The draft on file is no text that can be read: see the tests of the pack desk for one that can.
    _get("pack-review", _pack("review"), reach="organisation", by="quality_reviewer", gives=422),
    _get("pack-effect", _pack("effect"), reach="organisation", by="quality_reviewer", gives=422),
    _get("pack-difference", _pack("difference"), reach="organisation"),
    _post(
        "pack-acknowledgements", lambda stage, things: {"names": ["limit:P/p/limit"]}, by="quality_reviewer",
        path=_pack("acknowledgements"), reach="organisation", gives=422,
    ),
    _post(
        "pack-approval", lambda stage, things: {"sha256": "0" * 64}, by="quality_reviewer",
        path=_pack("approval"), reach="organisation", gives=409,
    ),
    _post(
        "pack-withdrawal",
        lambda stage, things: {"on": "2126-01-01", "severity": "caution", "reason": "The text is wrong."},
        by="quality_manager", path=_pack("withdrawal"), reach="organisation", gives=409,
    ),
    Row(
        route="api:pack-draft", method="PUT", path=lambda things: "packs/common-practice/3/draft",
        body=_draft, by="quality_manager", gives=422, reach="none",
        headers=lambda things: {"Repr-Digest": repr_digest(NO_PACK)},
    ),
    _post(
        "clock-observations", _clock, gives=422,
        path=lambda things: f"devices/{things.device}/clock-observations",
    ),
    _post("vehicles", lambda stage, things: vehicle_body(), path=lambda things: "vehicles", reach="none"),
    Row(
        route="api:vehicle", method="PATCH", path=lambda things: f"vehicles/{things.vehicle}",
        body=lambda stage, things: {"plate": "NEW 1"}, by="estimator", gives=200, headers=_any_version,
    ),
    _post(
        "orders", lambda stage, things: order_body(stage.home.vehicle, stage.cast.eastmarch),
        path=lambda things: "orders", reach="none",
    ),
    _post(
        "identity-readings",
        lambda stage, things: _at(things, way="vin_plate_photo", vin_read="X", evidence=[things.evidence]),
    ),
    _post(
        "fitted-systems",
        lambda stage, things: _at(things, sensor="forward_camera", state="yes", way="sight"),
    ),
    _post("estimate-lines", lambda stage, things: {"id": _id(), "line_no": 2, "text": "Kit"}),
    Row(
        route="api:estimate-line-mapping", method="PUT", by="estimator", gives=200, headers=_any_version,
        path=lambda things: f"jobs/{things.job}/estimate-lines/{things.line}/mapping",
        body=lambda stage, things: {"touches_nothing": True},
    ),
    _post("operations", lambda stage, things: _at(things, operation="hood.replaced")),
    _post(
        "operation-withdrawal", lambda stage, things: {"reason": "Recorded on the wrong job."},
        path=lambda things: f"jobs/{things.job}/operations/{things.operation}/withdrawal",
    ),
    # One line is not mapped, so that the list cannot be closed, and what is open cannot be opened.
    _post("operations-closings", lambda stage, things: _at(things), gives=409),
    _post("operations-reopenings", lambda stage, things: {"reason": "More damage found."}, gives=409),
    _post("glass-sets", _glass, by="glass_installer"),
    _post("lookups", _lookup),
    _post("sessions", _session),
    _post(
        "session-end", lambda stage, things: {"ended_at": earlier(minutes=1), "result": "completed"},
        gives=200, headers=_any_version,
        path=lambda things: f"jobs/{things.job}/sessions/{things.session}/end",
    ),
    _post(
        "session-key-events", lambda stage, things: {"events": [{"at": earlier(minutes=9), "state": "on"}]},
        path=lambda things: f"jobs/{things.job}/sessions/{things.session}/key-events",
    ),
    _post("readings", _reading),
    _post("scans", _scan),
    _post("lamp-records", lambda stage, things: _at(things, states={"airbag": "unlit"})),
    _post(
        "statements",
        lambda stage, things: _at(things, says=["dry_road"], text_version="1", session=things.session),
    ),
    _post(
        "function-checks",
        lambda stage, things: _at(
            things, session=things.session, function="lane departure warning", shows="ready"
        ),
    ),
    _post(
        "target-identities",
        lambda stage, things: _at(things, number_read="T", right_way_up=True, clean=True),
    ),
    _post("state-changes", lambda stage, things: _at(things, kind="vehicle_moved")),
    _post(
        "screen-observations", gives=409,
        body=lambda stage, things: {
            "id": _id(), "tag": things.tag, "shows": "2026-05-05T14:05", "seen_at": earlier(minutes=1),
            "device": things.device,
        },
    ),
    _post(
        "sublet-orders",
        lambda stage, things: {"id": _id(), "to_org": "S", "procedure_ids": ["P"], "carried_how": "trailer"},
    ),
    _post("slips", lambda stage, things: {"id": _id()}),
    Row(
        route="api:evidence", method="PUT", by="integration", gives=200,
        path=lambda things: f"jobs/{things.job}/evidence/{_id()}?kind=photo&stage=intake",
        body=lambda stage, things: things.evidence_bytes,
        headers=lambda things: {"Repr-Digest": repr_digest(things.evidence_bytes)},
    ),
    _post(
        "evidence-set-aside", lambda stage, things: {"reason": "Shows another car."}, by="quality_reviewer",
        path=lambda things: f"jobs/{things.job}/evidence/{things.evidence}/set-aside",
    ),
    # A picture is not compared with one of its own job.
    _post(
        "reuse-decisions", by="quality_reviewer", gives=409,
        path=lambda things: f"jobs/{things.job}/evidence/{things.evidence}/reuse-decisions",
        body=lambda stage, things: {
            "other_job": stage.home.job, "other": stage.home.evidence, "decision": "different",
        },
    ),
    # The table lets reviewers sign too; what is signed here is the work.
    _post(
        "sign-offs", _signature,
        refused_by_service=frozenset({"location_manager", "quality_reviewer", "quality_manager"}),
    ),
    _post("waivers", _waiver, by="quality_manager", gives=422),
    _post("refusals", _refusal, by="estimator", gives=422),
    _post(
        "explanations", by="quality_reviewer",
        body=lambda stage, things: {
            "id": _id(), "module": "Radio", "code": "B1A05",
            "text": "The aerial was broken before the crash; the owner wants it left so.",
        },
    ),
    _post("release", lambda stage, things: {"id": _id(), "pin": PIN}, by="location_manager", gives=409),
    _post("delivery", _delivery, by="estimator"),
    _post("assessments", lambda stage, things: {}, by="integration", gives=202),
    _post(
        "job-packets", lambda stage, things: {"id": _id(), "kind": "full"}, by="location_manager", gives=202,
        path=_job("/packets"),
    ),
    _post(
        "packet-redactions", lambda stage, things: {"id": _id()}, by="quality_manager", gives=409,
        path=lambda things: f"packets/{things.packet}/redactions",
    ),
    _post(
        "packet-grants", _grant, by="location_manager", gives=409,
        path=lambda things: f"packets/{things.packet}/grants",
    ),
    _get("packet-additions", lambda things: f"packets/{things.packet}/additions"),
    # Nothing was added to a packet that is not sealed: see the tests of additions.
    _get("packet-addition-data", lambda things: f"packets/{things.packet}/additions/1/data", gives=404),
    _get("packet-addition-pages", lambda things: f"packets/{things.packet}/additions/1/pages", gives=404),
    _get(
        "custodian-form", lambda things: f"packets/{things.packet}/custodian-form", by="location_manager",
        gives=409,
    ),
    _get("production-log", _job("/production-log"), by="location_manager"),
    _get("production-export", _job("/production-log.csv"), by="location_manager"),
    _post(
        "job-erasure", lambda stage, things: {"reason": "Asked for by letter."}, by="quality_manager",
        gives=200, path=_job("/erasure"),
    ),
    _get("holds", lambda things: "holds", by="location_manager", reach="none"),
    _post(
        "holds", lambda stage, things: {"id": _id(), "matter": "A matter", "jobs": [things.job]},
        by="location_manager", path=lambda things: "holds",
    ),
    # No hold is placed here: see the tests of holds.
    _post(
        "hold-lift-requests", lambda stage, things: {"reason": "The matter is over."}, by="location_manager",
        path=lambda things: f"holds/{things.job}/lift-requests", gives=404,
    ),
    _post(
        "hold-lifting", lambda stage, things: {}, by="location_manager",
        path=lambda things: f"holds/{things.job}/lifting", gives=404,
    ),
    _get("retention-rules", lambda things: "retention/rules", by="location_manager", reach="none"),
    # These people work at one location; what is kept concerns all.
    _post(
        "retention-rules",
        lambda stage, things: {"kind": "drive_logs", "amount": 24, "reason": "Agreed with counsel."},
        by="quality_manager", path=lambda things: "retention/rules", reach="none", gives=403,
        refused_by_service=frozenset({"operations_manager"}),
    ),
    _get(
        "retention-plan", lambda things: "retention/plan", by="quality_manager", reach="none", gives=403,
        refused_by_service=frozenset({"operations_manager"}),
    ),
)  # fmt: skip
