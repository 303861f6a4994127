"""Packets: ask for one, watch it, take it, and show it to somebody outside."""

from typing import Any
from uuid import UUID

from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_job_for, get_packet_for
from jobs.services.entries import build_entry
from jobs.services.packet import request_packet
from jobs.services.packet_taking import take_packet
from jobs.services.sharing import GrantEntry, grant_access
from portal.addresses import caller_of
from portal.downloads import attachment_of
from portal.fields import (
    ChoiceField,
    IdField,
    InstantField,
    JsonBody,
    TextField,
    WholeNumberField,
    words_field,
)
from portal.resource import AnyAccept, Resource

PACKET_KINDS = ("full", "insurer", "owner", "counsel", "redacted")


class PacketBody(JsonBody):
    id = IdField()
    kind = ChoiceField(choices=PACKET_KINDS)


class PacketShape(serializers.Serializer[Any]):
    """A packet: waiting, running, sealed (for ever) or failed; the hashes are empty until it is sealed."""

    id = serializers.UUIDField()
    job = serializers.UUIDField(source="job_id")
    serial = serializers.CharField()
    kind = serializers.CharField()
    state = serializers.CharField()
    progress = serializers.IntegerField()
    requested_at = serializers.DateTimeField()
    gate_at = serializers.DateTimeField(allow_null=True)
    built_at = serializers.DateTimeField(allow_null=True)
    pdf_sha256 = serializers.CharField()
    pdf_bytes = serializers.IntegerField(allow_null=True)
    manifest_sha256 = serializers.CharField()
    merkle_root = serializers.CharField()


class JobPackets(Resource):
    """Ask for a packet of what the record shows now."""

    @extend_schema(request=PacketBody, responses={202: PacketShape})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        fields = self.parse(PacketBody)
        packet = request_packet(
            job=job, actor=self.actor, as_of=self.as_of, kind=fields["kind"], packet_id=fields["id"]
        )
        headers = {"Location": f"/api/v1/packets/{packet.pk}"}
        return Response(PacketShape(packet).data, status=202, headers=headers)


class OnePacket(Resource):
    """A packet of a job of one's own, or one that was granted to this very person."""

    @extend_schema(responses=PacketShape)
    def get(self, request: Request, packet_id: UUID) -> Response:
        return Response(PacketShape(get_packet_for(self.actor, packet_id, as_of=self.as_of)).data)


class PacketContent(Resource):
    """The sealed file, or for people outside a stamped copy; each time is counted and logged."""

    # No HEAD: it would count as taking the packet.
    http_method_names = ["get"]  # noqa: RUF012 - as the framework declares it
    content_negotiation_class = AnyAccept

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request: Request, packet_id: UUID) -> HttpResponseBase:
        packet = get_packet_for(self.actor, packet_id, as_of=self.as_of)
        data = take_packet(
            packet=packet,
            actor=self.actor,
            as_of=self.as_of,
            caller=caller_of(request._request),
        )
        file_name = f"{packet.serial.replace('/', '-')}.pdf"
        return attachment_of(data, media_type="application/pdf", file_name=file_name)


class GrantBody(JsonBody):
    """``to_person`` is a login, of this or another organisation; no ``sections`` means the whole packet."""

    id = IdField()
    to_person = TextField(max_length=64)
    purpose = TextField(max_length=16)
    until = InstantField()
    sections = words_field()
    max_downloads = WholeNumberField(min_value=1, max_value=10_000, required=False)


class GrantShape(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    packet = serializers.UUIDField(source="packet_id")
    to_person = serializers.CharField(source="to_person.login")
    purpose = serializers.CharField()
    valid_from = serializers.DateTimeField()
    until = serializers.DateTimeField()
    sections = serializers.ListField(child=serializers.CharField())
    max_downloads = serializers.IntegerField(allow_null=True)


class PacketGrants(Resource):
    """Shows one sealed packet to one person until a day."""

    @extend_schema(request=GrantBody, responses={201: GrantShape})
    def post(self, request: Request, packet_id: UUID) -> Response:
        packet = get_packet_for(self.actor, packet_id, as_of=self.as_of)
        entry = build_entry(GrantEntry, self.parse(GrantBody))
        grant = grant_access(packet=packet, actor=self.actor, as_of=self.as_of, entry=entry)
        return Response(GrantShape(grant).data, status=201)
