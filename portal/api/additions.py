"""What was added to a packet after sealing: listed, and each as a file or as pages."""

from typing import Any
from uuid import UUID

from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_packet_for
from jobs.services.addition_reading import addition_file, listed
from portal.downloads import attachment_of
from portal.resource import AnyAccept, Resource


class AdditionShape(serializers.Serializer[Any]):
    """One addition: its text is complete, its facts are what the text rests on."""

    number = serializers.IntegerField()
    kind = serializers.CharField()
    title = serializers.CharField()
    at = serializers.DateTimeField()
    text = serializers.CharField()
    facts = serializers.JSONField()
    sha256 = serializers.CharField()
    bytes = serializers.IntegerField(source="size_bytes")


class AdditionsShape(serializers.Serializer[Any]):
    results = AdditionShape(many=True)


class PacketAdditions(Resource):
    """Every addition to a packet of one's own, or to one that was granted to this very person."""

    @extend_schema(responses=AdditionsShape)
    def get(self, request: Request, packet_id: UUID) -> Response:
        packet = get_packet_for(self.actor, packet_id, as_of=self.as_of)
        return Response({"results": AdditionShape(listed(packet), many=True).data})


class _AdditionContent(Resource):
    content_negotiation_class = AnyAccept
    form = "json"
    media_type = "application/json"

    def answer(self, packet_id: UUID, number: int) -> HttpResponseBase:
        packet = get_packet_for(self.actor, packet_id, as_of=self.as_of)
        name, data = addition_file(packet=packet, number=number, form=self.form, as_of=self.as_of)
        return attachment_of(data, media_type=self.media_type, file_name=name)


class AdditionData(_AdditionContent):
    """The addition itself, byte for byte as its SHA-256 stands in the log."""

    @extend_schema(responses={(200, "application/json"): OpenApiTypes.BINARY})
    def get(self, request: Request, packet_id: UUID, number: int) -> HttpResponseBase:
        return self.answer(packet_id, number)


class AdditionPages(_AdditionContent):
    """The addition as signed pages."""

    form = "pdf"
    media_type = "application/pdf"

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request: Request, packet_id: UUID, number: int) -> HttpResponseBase:
        return self.answer(packet_id, number)
