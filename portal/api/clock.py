"""The server's clock for tablets to compare theirs with, and who the caller is."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_device_for
from jobs.services.devices import ClockEntry, issue_clock_ticket, observe_clock
from jobs.services.entries import build_entry
from portal.fields import IdField, InstantField, JsonBody, TextField
from portal.resource import Resource


class ClockShape(serializers.Serializer[Any]):
    """The server's instant and a signed ticket that proves when it was given."""

    at = serializers.DateTimeField()
    ticket = serializers.CharField()


class Clock(Resource):
    """Read it, note the device's time before and after, and send both back as a clock observation."""

    @extend_schema(responses=ClockShape)
    def get(self, request: Request) -> Response:
        ticket = issue_clock_ticket(as_of=self.as_of)
        return Response(ClockShape({"at": self.as_of, "ticket": ticket}).data)


class ClockObservationBody(JsonBody):
    id = IdField()
    ticket = TextField(max_length=400)
    device_sent_at = InstantField()
    device_received_at = InstantField()


class ClockObservationShape(serializers.Serializer[Any]):
    """Device minus true time lay in [offset_low_s, offset_high_s] (s)."""

    id = serializers.UUIDField()
    received_at = serializers.DateTimeField()
    offset_low_s = serializers.FloatField()
    offset_high_s = serializers.FloatField()


class ClockObservations(Resource):
    """How far a device's clock is off, from one exchange with the server."""

    @extend_schema(request=ClockObservationBody, responses={201: ClockObservationShape})
    def post(self, request: Request, device_id: UUID) -> Response:
        device = get_device_for(self.actor, device_id)
        entry = build_entry(ClockEntry, self.parse(ClockObservationBody))
        kept = observe_clock(device=device, actor=self.actor, as_of=self.as_of, entry=entry)
        return Response(ClockObservationShape(kept).data, status=201)


class MeShape(serializers.Serializer[Any]):
    """The caller as the permission table sees it; ``locations`` null means all of the organisation."""

    login = serializers.CharField()
    name = serializers.CharField()
    organisation = serializers.CharField()
    roles = serializers.ListField(child=serializers.CharField())
    scopes = serializers.ListField(child=serializers.CharField())
    locations = serializers.ListField(child=serializers.UUIDField(), allow_null=True)
    device = serializers.UUIDField(allow_null=True)


class Me(Resource):
    """Who the token speaks for, and what it may do."""

    @extend_schema(responses=MeShape)
    def get(self, request: Request) -> Response:
        actor = self.actor
        locations = actor.location_ids
        return Response(
            MeShape(
                {
                    "login": actor.person.login,
                    "name": actor.person.name,
                    "organisation": actor.organisation.name,
                    "roles": sorted(actor.roles),
                    "scopes": sorted(actor.scopes),
                    "locations": None if locations is None else sorted(locations),
                    "device": actor.device.pk if actor.device is not None else None,
                }
            ).data
        )
