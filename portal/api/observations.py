"""What people saw and stated: lamps, statements, function checks, targets, changes, sublet work."""

from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_equipment_for, get_job_for
from jobs.services.devices import ScreenEntry, observe_screen
from jobs.services.entries import build_entry
from jobs.services.records import (
    FunctionCheckEntry,
    LampEntry,
    StateChangeEntry,
    StatementEntry,
    SubletEntry,
    TargetEntry,
    record_function_check,
    record_lamps,
    record_state_change,
    record_statement,
    record_sublet,
    record_target_identity,
)
from portal.api.clock import ClockObservationShape
from portal.api.orders import OdometerBody
from portal.api.shapes import Receipt, created
from portal.fields import (
    IdField,
    InstantField,
    JsonBody,
    ManyField,
    TextField,
    YesNoField,
    evidence_field,
    words_field,
)
from portal.resource import Resource


class LampRecordBody(JsonBody):
    """``states`` maps a lamp or a whole group to lit, unlit, outline_only, filled or not_seen."""

    id = IdField()
    states = serializers.DictField(child=TextField(max_length=20), allow_empty=False)
    session = IdField(required=False)
    at = InstantField()
    device = IdField(required=False)
    evidence = evidence_field()


class LampRecords(Resource):
    """What the warning lamps showed."""

    @extend_schema(request=LampRecordBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(LampEntry, self.parse(LampRecordBody))
        return created(record_lamps(job=job, actor=self.actor, as_of=self.as_of, entry=entry))


class StatementBody(JsonBody):
    """Names of the points that were confirmed or denied, under the wording ``text_version``."""

    id = IdField()
    says = words_field(required=True)
    denies = words_field()
    session = IdField(required=False)
    sessions = ManyField(child=IdField(), most=50, required=False)
    procedure_id = TextField(max_length=80, required=False, allow_blank=True)
    bay = TextField(max_length=20, required=False, allow_blank=True)
    text_version = TextField(max_length=80)
    at = InstantField()
    device = IdField(required=False)
    evidence = evidence_field()


class Statements(Resource):
    """What somebody states of the work, with their name to it."""

    @extend_schema(request=StatementBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(StatementEntry, self.parse(StatementBody))
        return created(record_statement(job=job, actor=self.actor, as_of=self.as_of, entry=entry))


class FunctionCheckBody(JsonBody):
    """A function in its common name (SAE J3063) and what it was seen to do."""

    id = IdField()
    session = IdField()
    function = TextField(max_length=60)
    place = TextField(max_length=40, required=False, allow_blank=True)
    shows = TextField(max_length=20)
    how = TextField(required=False, allow_blank=True)
    at = InstantField()
    device = IdField(required=False)
    evidence = evidence_field()


class FunctionChecks(Resource):
    """What a function was seen to do after aiming."""

    @extend_schema(request=FunctionCheckBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(FunctionCheckEntry, self.parse(FunctionCheckBody))
        return created(record_function_check(job=job, actor=self.actor, as_of=self.as_of, entry=entry))


class TargetIdentityBody(JsonBody):
    """The number as it stands on the board or reflector."""

    id = IdField()
    number_read = TextField(max_length=80)
    right_way_up = YesNoField()
    clean = YesNoField()
    session = IdField(required=False)
    procedure_id = TextField(max_length=80, required=False, allow_blank=True)
    at = InstantField()
    device = IdField(required=False)
    evidence = evidence_field()


class TargetIdentities(Resource):
    """Which target stood there."""

    @extend_schema(request=TargetIdentityBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(TargetEntry, self.parse(TargetIdentityBody))
        return created(record_target_identity(job=job, actor=self.actor, as_of=self.as_of, entry=entry))


class StateChangeBody(JsonBody):
    """Something that makes earlier evidence stale; ``on_road`` for a car that was moved."""

    id = IdField()
    kind = TextField(max_length=20)
    on_road = YesNoField(required=False)
    at = InstantField()
    device = IdField(required=False)
    evidence = evidence_field()


class StateChanges(Resource):
    """The car was moved, lifted, loaded or worked on."""

    @extend_schema(request=StateChangeBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(StateChangeEntry, self.parse(StateChangeBody))
        return created(record_state_change(job=job, actor=self.actor, as_of=self.as_of, entry=entry))


class ScreenObservationBody(JsonBody):
    """What an instrument's display showed, as local text, at an instant by the capture device's clock."""

    id = IdField()
    tag = TextField(max_length=20)
    shows = TextField(max_length=40)
    seen_at = InstantField()
    device = IdField()
    evidence = IdField(required=False)


class ScreenObservations(Resource):
    """How far the clock of a logger or scan device is off, read from its display."""

    @extend_schema(request=ScreenObservationBody, responses={201: ClockObservationShape})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        fields = self.parse(ScreenObservationBody)
        equipment = get_equipment_for(self.actor, fields.pop("tag"))
        entry = build_entry(ScreenEntry, fields)
        kept = observe_screen(job=job, equipment=equipment, actor=self.actor, as_of=self.as_of, entry=entry)
        return Response(ClockObservationShape(kept).data, status=201)


class SubletOrderBody(JsonBody):
    """Work given to another business; the return may be left empty while the car is away."""

    id = IdField()
    to_org = TextField(max_length=120)
    procedure_ids = words_field(required=True)
    carried_how = TextField(max_length=10)
    out_at = InstantField(required=False, allow_blank=True)
    out_odometer = OdometerBody(required=False)
    back_at = InstantField(required=False, allow_blank=True)
    back_odometer = OdometerBody(required=False)
    returned_lamps = serializers.DictField(child=TextField(max_length=20), required=False)
    device = IdField(required=False)
    evidence = evidence_field()


class SubletOrders(Resource):
    """Procedures carried out by somebody else: the same proofs are asked of them."""

    @extend_schema(request=SubletOrderBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(SubletEntry, self.parse(SubletOrderBody))
        return created(record_sublet(job=job, actor=self.actor, as_of=self.as_of, entry=entry))
