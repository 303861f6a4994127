"""Jobs: where each stands and what the last judgement said of it."""

from typing import Any
from uuid import UUID

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_job_for
from jobs.selectors.api_jobs import JOB_STATES, list_jobs
from portal.errors import RequestProblem
from portal.resource import Resource


class JobShape(serializers.Serializer[Any]):
    """A job; verdict and disposition repeat the latest finished assessment and certify nothing."""

    id = serializers.UUIDField()
    order = serializers.UUIDField(source="order_id")
    number = serializers.CharField()
    location = serializers.CharField(source="location.code")
    claim_number = serializers.CharField()
    opened_at = serializers.DateTimeField()
    state = serializers.CharField()
    verdict = serializers.CharField()
    disposition = serializers.CharField()
    held_because = serializers.ListField(child=serializers.CharField())
    left_against_hold = serializers.BooleanField()
    ready_at = serializers.DateTimeField(allow_null=True)
    delivered_at = serializers.DateTimeField(allow_null=True)


class Jobs(Resource):
    """Jobs of the caller's locations, newest first."""

    ordering = ("-opened_at", "-id")
    parameters = frozenset({"state", "location", "number"})

    @extend_schema(
        parameters=[
            OpenApiParameter("state", OpenApiTypes.STR, enum=JOB_STATES),
            OpenApiParameter("location", OpenApiTypes.STR, description="Code of a location."),
            OpenApiParameter("number", OpenApiTypes.STR, description="The order's number, whole."),
        ],
        responses=JobShape(many=True),
    )
    def get(self, request: Request) -> Response:
        wanted = request.query_params
        if "state" in wanted and wanted["state"] not in JOB_STATES:
            raise RequestProblem("bad_parameter", "state is none of the job's states.", parameter="state")
        rows = list_jobs(
            self.actor,
            state=wanted.get("state"),
            location_code=wanted.get("location"),
            number=wanted.get("number"),
        )
        return self.page(rows, JobShape)


class OneJob(Resource):
    """One job."""

    @extend_schema(responses=JobShape)
    def get(self, request: Request, job_id: UUID) -> Response:
        return Response(JobShape(get_job_for(self.actor, job_id)).data)
