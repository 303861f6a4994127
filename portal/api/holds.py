"""Legal holds: listed, placed by one person, lifted by two."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.selectors.holds import holds_for, jobs_shown
from jobs.services.entries import build_entry
from jobs.services.holds import HoldEntry, ask_to_lift, get_hold_for, lift_hold, place_hold
from portal.fields import DayField, IdField, JsonBody, ManyField, TextField, words_field
from portal.resource import Resource


class HoldQueryBody(JsonBody):
    vin = TextField(max_length=40, required=False)
    claim_number = TextField(max_length=60, required=False)
    locations = words_field(longest=4)
    opened_from = DayField(required=False)
    opened_to = DayField(required=False)


class HoldBody(JsonBody):
    """``jobs`` by id, or ``query``: what fits all of its fields, also what comes in later; or both."""

    id = IdField()
    matter = TextField(max_length=2000)
    jobs = ManyField(child=IdField(), most=500, required=False)
    query = HoldQueryBody(required=False)


class LiftBody(JsonBody):
    reason = TextField(max_length=2000)


class HoldShape(serializers.Serializer[Any]):
    """A hold; ``released_at`` is null while it stands. ``jobs``: covered ones that the caller may see."""

    id = serializers.UUIDField()
    matter = serializers.CharField()
    query = serializers.JSONField()
    placed_at = serializers.DateTimeField()
    placed_by = serializers.CharField(source="placed_by.login")
    lift_asked_at = serializers.DateTimeField(allow_null=True)
    lift_asked_by = serializers.CharField(source="lift_asked_by.login", default=None, allow_null=True)
    lift_reason = serializers.CharField()
    released_at = serializers.DateTimeField(allow_null=True)
    released_by = serializers.CharField(source="released_by.login", default=None, allow_null=True)
    jobs = serializers.SerializerMethodField()

    def get_jobs(self, hold: Any) -> list[dict[str, str]]:
        return [{"id": str(job.pk), "number": job.number} for job in jobs_shown(self.context["actor"], hold)]


class HoldsShape(serializers.Serializer[Any]):
    results = HoldShape(many=True)


class Holds(Resource):
    """Every hold the caller may see, the newest first; and a new one."""

    @extend_schema(responses=HoldsShape)
    def get(self, request: Request) -> Response:
        return Response({"results": self._shape(holds_for(self.actor), many=True)})

    @extend_schema(request=HoldBody, responses={201: HoldShape})
    def post(self, request: Request) -> Response:
        entry = build_entry(HoldEntry, self.parse(HoldBody))
        hold = place_hold(actor=self.actor, as_of=self.as_of, entry=entry)
        return Response(self._shape(hold), status=201)

    def _shape(self, holds: Any, *, many: bool = False) -> Any:
        return HoldShape(holds, many=many, context={"actor": self.actor}).data


class HoldLiftRequests(Resource):
    """The first of two people asks to lift a hold."""

    @extend_schema(request=LiftBody, responses={201: HoldShape})
    def post(self, request: Request, hold_id: UUID) -> Response:
        hold = get_hold_for(self.actor, hold_id)
        fields = self.parse(LiftBody)
        row = ask_to_lift(hold=hold, actor=self.actor, as_of=self.as_of, reason=fields["reason"])
        return Response(HoldShape(row, context={"actor": self.actor}).data, status=201)


class HoldLifting(Resource):
    """The second of two people agrees, and the hold ends."""

    @extend_schema(request=JsonBody, responses=HoldShape)
    def post(self, request: Request, hold_id: UUID) -> Response:
        hold = get_hold_for(self.actor, hold_id)
        self.parse(JsonBody)
        row = lift_hold(hold=hold, actor=self.actor, as_of=self.as_of)
        return Response(HoldShape(row, context={"actor": self.actor}).data)
