"""What was handed to whom, as JSON and CSV; and the data of a custodian's certificate."""

from typing import Any
from uuid import UUID

from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_job_for, get_packet_for
from jobs.services.producing import form_of, production_export, production_log
from portal.downloads import attachment_of
from portal.resource import AnyAccept, Resource


class ProductionLineShape(serializers.Serializer[Any]):
    """One time a packet was taken; ``grant`` and what follows are empty for the operator's own people."""

    at = serializers.CharField()
    recipient = serializers.CharField()
    login = serializers.CharField()
    serial = serializers.CharField()
    kind = serializers.CharField()
    sha256 = serializers.CharField()
    bytes = serializers.IntegerField()
    grant = serializers.CharField()
    purpose = serializers.CharField()
    granted_by = serializers.CharField()
    granted_at = serializers.CharField()
    until = serializers.CharField()
    revoked_at = serializers.CharField()
    request = serializers.CharField()


class ProductionShape(serializers.Serializer[Any]):
    results = ProductionLineShape(many=True)


class ProductionLog(Resource):
    """Every taking of every packet of a job, the oldest first."""

    @extend_schema(responses=ProductionShape)
    def get(self, request: Request, job_id: UUID) -> Response:
        lines = production_log(job=get_job_for(self.actor, job_id), as_of=self.as_of)
        return Response({"results": [line.to_plain() for line in lines]})


class ProductionExport(Resource):
    """The same as CSV (RFC 4180), safe to open in a spreadsheet; each export is logged."""

    http_method_names = ["get"]  # noqa: RUF012 - as the framework declares it
    content_negotiation_class = AnyAccept

    @extend_schema(responses={(200, "text/csv"): OpenApiTypes.BINARY})
    def get(self, request: Request, job_id: UUID) -> HttpResponseBase:
        job = get_job_for(self.actor, job_id)
        data = production_export(job=job, actor=self.actor, as_of=self.as_of)
        return attachment_of(
            data, media_type="text/csv; charset=utf-8", file_name=f"{job.number}-production-log.csv"
        )


class CustodianForm(Resource):
    """What the record alone can state of a packet, and blanks for what a person must add."""

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request, packet_id: UUID) -> Response:
        packet = get_packet_for(self.actor, packet_id, as_of=self.as_of)
        return Response(form_of(packet=packet, actor=self.actor, as_of=self.as_of))
