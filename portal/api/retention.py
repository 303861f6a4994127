"""Retention: how long each kind is kept, what is due today, and erasing a customer at his or her request."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_job_for
from jobs.services.entries import build_entry
from jobs.services.erasure import ErasureEntry, erase_customer
from jobs.services.retention_plan import plan_retention
from jobs.services.retention_policy import Rule, require_whole_organisation, rules_of, set_rule
from portal.fields import IdField, JsonBody, ManyField, TextField, WholeNumberField, YesNoField
from portal.resource import Resource


class RuleBody(JsonBody):
    """``amount`` in the kind's unit; null: never deleted."""

    kind = TextField(max_length=24)
    amount = WholeNumberField(min_value=0, max_value=10_000, allow_null=True)
    reason = TextField(max_length=500)


class RuleShape(serializers.Serializer[Any]):
    """What holds for one kind; ``is_default``: the project's default, nobody set it."""

    kind = serializers.CharField(source="kind.name")
    title = serializers.CharField(source="kind.title")
    amount = serializers.IntegerField(allow_null=True)
    unit = serializers.CharField()
    counts_from = serializers.CharField(source="kind.counts_from")
    words = serializers.CharField()
    is_default = serializers.BooleanField()
    set_by = serializers.CharField()
    set_at = serializers.DateTimeField(allow_null=True)
    reason = serializers.CharField()


class RulesShape(serializers.Serializer[Any]):
    results = RuleShape(many=True)
    never_deleted = serializers.ListField(child=serializers.CharField())


class RetentionRules(Resource):
    """The rule of every kind; and a new one, which counts from now on."""

    @extend_schema(responses=RulesShape)
    def get(self, request: Request) -> Response:
        return Response(_rules(rules_of(self.actor.organisation)))

    @extend_schema(request=RuleBody, responses={201: RulesShape})
    def post(self, request: Request) -> Response:
        fields = self.parse(RuleBody)
        set_rule(actor=self.actor, as_of=self.as_of, **fields)
        return Response(_rules(rules_of(self.actor.organisation)), status=201)


def _rules(rules: dict[str, Rule]) -> dict[str, Any]:
    return {"results": RuleShape(list(rules.values()), many=True).data, "never_deleted": ["log"]}


class PlanShape(serializers.Serializer[Any]):
    """``delete`` and ``keep`` in order; ``sha256`` names this very plan for the run."""

    sha256 = serializers.CharField()
    delete = serializers.ListField(child=serializers.DictField())
    keep = serializers.ListField(child=serializers.DictField())
    unfinished = serializers.ListField(child=serializers.CharField())


class RetentionPlan(Resource):
    """What retention would delete today, and what is due and stays; nothing is deleted by asking."""

    @extend_schema(responses=PlanShape)
    def get(self, request: Request) -> Response:
        require_whole_organisation(self.actor)
        plan = plan_retention(organisation=self.actor.organisation, as_of=self.as_of)
        return Response({"sha256": plan.sha256, **plan.to_plain()})


class ErasureBody(JsonBody):
    """``evidence``: further files that show or name the person."""

    reason = TextField(max_length=500)
    evidence = ManyField(child=IdField(), most=500, required=False)
    without_redacted = YesNoField(required=False)


class ErasureShape(serializers.Serializer[Any]):
    """``shared``: given up for this job; another record holds the same bytes, which stay with it."""

    plan = serializers.CharField(source="plan_sha256")
    removed = serializers.ListField(child=serializers.CharField())
    stopped = serializers.ListField(child=serializers.CharField())
    waiting = serializers.ListField(child=serializers.CharField())
    additions = serializers.IntegerField(source="told")
    shared = serializers.ListField(child=serializers.CharField())


class JobErasure(Resource):
    """Erases the customer of a job at his or her request; holds come first."""

    @extend_schema(request=ErasureBody, responses=ErasureShape)
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(ErasureEntry, self.parse(ErasureBody))
        done = erase_customer(job=job, actor=self.actor, as_of=self.as_of, entry=entry)
        return Response(ErasureShape(done).data)
