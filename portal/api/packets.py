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
from jobs.services.bundle import take_bundle
from jobs.services.packet import request_packet
from jobs.services.packet_taking import take_packet
from portal.addresses import caller_of
from portal.downloads import attachment_of
from portal.fields import (
    ChoiceField,
    IdField,
    JsonBody,
)
from portal.ranges import copy_answer, kept_download
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


class PacketBundle(Resource):
    """The packet with its parts, the originals and the checkers as one archive; counted and logged."""

    # No HEAD: it would count as taking the packet.
    http_method_names = ["get"]  # noqa: RUF012 - as the framework declares it
    content_negotiation_class = AnyAccept

    @extend_schema(responses={(200, "application/zip"): OpenApiTypes.BINARY})
    def get(self, request: Request, packet_id: UUID) -> HttpResponseBase:
        packet = get_packet_for(self.actor, packet_id, as_of=self.as_of)
        made = take_bundle(
            packet=packet, actor=self.actor, as_of=self.as_of, caller=caller_of(request._request)
        )
        return copy_answer(request._request, kept_download(request._request, made))
