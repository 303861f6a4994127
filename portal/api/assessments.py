"""Judging a job: ask for it, watch it, read the latest."""

import json
from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_job_for, get_run_for
from jobs.selectors.api_assessment import is_pending, latest_assessment
from jobs.services.assessment import request_assessment
from portal.fields import JsonBody
from portal.resource import Resource


class RunShape(serializers.Serializer[Any]):
    """A request to judge a job: waiting, running, done or dead; ``progress`` in percent."""

    id = serializers.UUIDField()
    state = serializers.CharField()
    progress = serializers.IntegerField()
    requested_at = serializers.DateTimeField()
    finished_at = serializers.DateTimeField(allow_null=True)
    assessment = serializers.UUIDField(source="assessment_id", allow_null=True)


class NothingBody(JsonBody):
    """No fields."""


class Assessments(Resource):
    """Ask for a judgement now; what is waiting already is not asked for twice."""

    @extend_schema(request=None, responses={202: RunShape})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        self.parse(NothingBody)
        run = request_assessment(job=job, actor=self.actor, as_of=self.as_of)
        headers = {"Location": f"/api/v1/jobs/{job.pk}/assessments/{run.pk}"}
        return Response(RunShape(run).data, status=202, headers=headers)


class OneRun(Resource):
    """How far it is."""

    @extend_schema(responses=RunShape)
    def get(self, request: Request, job_id: UUID, run_id: UUID) -> Response:
        return Response(RunShape(get_run_for(self.actor, job_id, run_id)).data)


class AssessmentShape(serializers.Serializer[Any]):
    """A judgement at ``gate_at``: requirements, findings with their sentences, sign-offs, the gate.

    ``contradictions``: claims about times that cannot all be true, with records, seconds and a sentence.

    ``pending`` true: newer records are being judged, and this may soon be replaced. It says what the record
    shows and certifies nothing about the car.
    """

    id = serializers.UUIDField()
    job_id = serializers.UUIDField()
    gate_at = serializers.DateTimeField()
    computed_at = serializers.DateTimeField()
    engine_version = serializers.CharField()
    facts_sha256 = serializers.CharField()
    result_sha256 = serializers.CharField()
    pending = serializers.BooleanField()
    packs = serializers.ListField(child=serializers.JSONField())
    requirements = serializers.ListField(child=serializers.JSONField())
    statement = serializers.CharField()
    procedures = serializers.ListField(child=serializers.JSONField())
    findings = serializers.ListField(child=serializers.JSONField())
    sign_offs = serializers.ListField(child=serializers.JSONField())
    decisions = serializers.ListField(child=serializers.JSONField())
    verdict = serializers.ChoiceField(choices=["met", "not_met", "not_shown"])
    disposition = serializers.CharField()
    left_against_hold = serializers.BooleanField()
    held_because = serializers.ListField(child=serializers.CharField())
    ready = serializers.JSONField(allow_null=True)
    contradictions = serializers.ListField(child=serializers.JSONField(), required=False)


class LatestAssessment(Resource):
    """The latest finished judgement, whole."""

    @extend_schema(responses=AssessmentShape)
    def get(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        assessment = latest_assessment(job)
        # The stored canonical text is what was hashed; it is handed on, not shaped anew.
        judged: dict[str, Any] = json.loads(assessment.result)
        beside = {
            "id": str(assessment.pk),
            "computed_at": assessment.computed_at,
            "result_sha256": assessment.result_sha256,
            "pending": is_pending(job),
        }
        return Response(judged | beside)
