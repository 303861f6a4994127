"""Rule packs on file, and their text exactly as it was published."""

from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_pack_for, packs_for
from portal.downloads import content_disposition
from portal.resource import AnyAccept, Resource


class PackShape(serializers.Serializer[Any]):
    pack = serializers.CharField()
    edition = serializers.IntegerField()
    title = serializers.CharField()
    state = serializers.CharField()
    sha256 = serializers.CharField()
    in_force_from = serializers.DateField()
    in_force_until = serializers.DateField(allow_null=True)
    withdrawn_on = serializers.DateField(allow_null=True)
    withdrawn_reason = serializers.CharField()
    withdrawn_severity = serializers.CharField()
    published_at = serializers.DateTimeField(allow_null=True)


class Packs(Resource):
    """Every edition that the organisation has on file."""

    ordering = ("pack", "edition")

    @extend_schema(responses=PackShape(many=True))
    def get(self, request: Request) -> Response:
        return self.page(packs_for(self.actor), PackShape)


class PackText(Resource):
    """The exact bytes of an edition."""

    content_negotiation_class = AnyAccept

    @extend_schema(responses={(200, "application/yaml"): OpenApiTypes.BINARY})
    def get(self, request: Request, pack: str, edition: int) -> HttpResponse:
        found = get_pack_for(self.actor, pack, edition)
        answer = HttpResponse(bytes(found.source), content_type="application/yaml")
        answer.headers["Content-Disposition"] = content_disposition(f"{pack}.{edition}.yaml")
        answer.headers["ETag"] = f'"{found.sha256}"'
        return answer
