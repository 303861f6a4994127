"""Why each thing was required and why each verdict is what it is, in the words of pages and packets."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_job_for
from jobs.selectors.api_assessment import is_pending, judged, latest_assessment
from portal.resource import Resource
from rules.canonical import to_plain
from rules.explain import explanations, requirement_table
from rules.result import Assessment


class PartShape(serializers.Serializer[Any]):
    """One part of a trigger with its truth and the fact behind it; ``depth`` of its nesting."""

    text = serializers.CharField()
    truth = serializers.ChoiceField(choices=["true", "false", "unknown"])
    fact = serializers.CharField()
    depth = serializers.IntegerField()


class TriggerShape(serializers.Serializer[Any]):
    """A trigger that could call for the procedure: its plain sentence, and each part."""

    trigger_id = serializers.CharField()
    plain = serializers.CharField()
    truth = serializers.ChoiceField(choices=["true", "false", "unknown"])
    citation = serializers.CharField()
    pack = serializers.CharField()
    edition = serializers.IntegerField()
    parts = PartShape(many=True)


class RequirementShape(serializers.Serializer[Any]):
    """One procedure, whether it is required, and every trigger considered; ``reasons``: (code, words)."""

    procedure_id = serializers.CharField()
    title = serializers.CharField()
    state = serializers.ChoiceField(choices=["required", "not_required", "cannot_tell"])
    sentence = serializers.CharField()
    reasons = serializers.ListField(child=serializers.ListField(child=serializers.CharField()))
    sensors = serializers.ListField(child=serializers.CharField())
    citation = serializers.CharField()
    pack = serializers.CharField()
    edition = serializers.IntegerField()
    triggers = TriggerShape(many=True)


class NotNeededShape(serializers.Serializer[Any]):
    """A maker's word that an operation on the list asks for nothing at a sensor."""

    sensor = serializers.CharField()
    operation = serializers.CharField()
    plain = serializers.CharField()
    citation = serializers.CharField()
    pack = serializers.CharField()
    edition = serializers.IntegerField()


class NumberShape(serializers.Serializer[Any]):
    """A number as it is printed, with as many digits as it needs not to contradict its verdict."""

    name = serializers.CharField()
    value = serializers.CharField()
    uncertainty = serializers.CharField()
    limit = serializers.CharField()
    accepted = serializers.CharField()
    probability_inside = serializers.CharField()


class ProofShape(serializers.Serializer[Any]):
    """One verdict explained in four parts; ``text`` is all of it in one paragraph.

    ``evidence``: numbers of the job's own evidence files. ``settle``: now, car_here, desk or never;
    ``can_be_done`` says it in a sentence. ``reasons``: (code, words).
    """

    procedure_id = serializers.CharField()
    proof_id = serializers.CharField()
    check = serializers.CharField()
    verdict = serializers.ChoiceField(choices=["met", "not_met", "not_shown"])
    verdict_words = serializers.CharField()
    # The framework takes declared fields off the class: the name clashes for the type checker only.
    required = serializers.CharField()  # type: ignore[assignment]
    citation = serializers.CharField()
    pack = serializers.CharField()
    edition = serializers.IntegerField()
    shows = serializers.CharField()
    numbers = NumberShape(many=True)
    rests_on = serializers.ListField(child=serializers.CharField())
    evidence = serializers.ListField(child=serializers.IntegerField())
    instruments = serializers.ListField(child=serializers.CharField())
    reasons = serializers.ListField(child=serializers.ListField(child=serializers.CharField()))
    why = serializers.CharField()
    change = serializers.CharField()
    settle = serializers.ChoiceField(choices=["now", "car_here", "desk", "never"])
    can_be_done = serializers.CharField()
    notes = serializers.ListField(child=serializers.CharField())
    text = serializers.CharField()


class ExplanationsShape(serializers.Serializer[Any]):
    """The latest judgement explained. It says what the record shows and certifies nothing about the car."""

    assessment = serializers.UUIDField()
    gate_at = serializers.DateTimeField()
    pending = serializers.BooleanField()
    statement = serializers.ChoiceField(choices=["required", "nothing_required", "cannot_tell"])
    sentence = serializers.CharField()
    requirements = RequirementShape(many=True)
    not_needed = NotNeededShape(many=True)
    proofs = ProofShape(many=True)


class Explanations(Resource):
    """Each requirement with its triggers, and each proof with its verdict explained."""

    @extend_schema(responses=ExplanationsShape)
    def get(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        row = latest_assessment(job)
        beside = {"assessment": str(row.pk), "gate_at": row.gate_at, "pending": is_pending(job)}
        return Response(beside | _explained(judged(row)))


def _explained(assessment: Assessment) -> dict[str, Any]:
    table: dict[str, Any] = to_plain(requirement_table(assessment))
    proofs = [to_plain(one) | {"text": one.text} for one in explanations(assessment)]
    return table | {"proofs": proofs}
