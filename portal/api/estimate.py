"""Estimate lines, what they mean, the operations done, and the closing of their list."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_estimate_line_for, get_job_for, get_operation_for
from jobs.selectors.api_jobs import list_lines
from jobs.services.entries import build_entry
from jobs.services.estimate import (
    ClosingEntry,
    LineEntry,
    MappingEntry,
    OperationEntry,
    add_line,
    close_operations,
    map_line,
    record_operation,
    reopen_operations,
    withdraw_operation,
)
from portal.api.shapes import Receipt, VersionedReceipt, created, versioned
from portal.etags import matched_version
from portal.fields import (
    IdField,
    InstantField,
    JsonBody,
    TextField,
    WholeNumberField,
    YesNoField,
    evidence_field,
    words_field,
)
from portal.resource import Resource


class EstimateLineBody(JsonBody):
    id = IdField()
    line_no = WholeNumberField(min_value=1, max_value=10_000)
    text = TextField()
    source_file = TextField(max_length=200, required=False, allow_blank=True)


class EstimateLineShape(serializers.Serializer[Any]):
    """A line and its latest mapping; ``version`` 0 means unmapped. Its ETag is the version."""

    id = serializers.UUIDField()
    line_no = serializers.IntegerField()
    text = serializers.CharField()
    version = serializers.IntegerField()
    operations = serializers.SerializerMethodField()
    touches_nothing = serializers.SerializerMethodField()

    def get_operations(self, line: Any) -> list[str]:
        mappings = list(line.mappings.all())
        return list(mappings[-1].operations) if mappings else []

    def get_touches_nothing(self, line: Any) -> bool:
        mappings = list(line.mappings.all())
        return bool(mappings[-1].touches_nothing) if mappings else False


class EstimateLines(Resource):
    """The lines of the estimate; each has to be mapped before the list of operations can be closed."""

    ordering = ("line_no", "id")

    @extend_schema(responses=EstimateLineShape(many=True))
    def get(self, request: Request, job_id: UUID) -> Response:
        return self.page(list_lines(get_job_for(self.actor, job_id)), EstimateLineShape)

    @extend_schema(request=EstimateLineBody, responses={201: VersionedReceipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(LineEntry, self.parse(EstimateLineBody))
        line = add_line(job=job, actor=self.actor, as_of=self.as_of, entry=entry)
        return versioned(line, status=201)


class MappingBody(JsonBody):
    """Operations by name, or that the line touches nothing."""

    operations = words_field()
    touches_nothing = YesNoField(required=False)


class EstimateLineMapping(Resource):
    """What a line means; two desks may be at it, so the ETag of the line is needed."""

    needs_if_match = frozenset({"PUT"})

    @extend_schema(request=MappingBody, responses=VersionedReceipt)
    def put(self, request: Request, job_id: UUID, line_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        line = get_estimate_line_for(self.actor, job_id, line_id)
        version = matched_version(request, line.version)
        entry = build_entry(MappingEntry, {**self.parse(MappingBody), "version": version})
        mapped = map_line(job=job, line=line, actor=self.actor, as_of=self.as_of, entry=entry)
        return versioned(mapped, status=200)


class OperationBody(JsonBody):
    """One operation done; ``by`` is a login, else the caller."""

    id = IdField()
    operation = TextField(max_length=80)
    zone_detail = TextField(max_length=40, required=False, allow_blank=True)
    started_at = InstantField(required=False)
    done_at = InstantField(required=False)
    found_later = YesNoField(required=False)
    by = TextField(max_length=64, required=False, allow_blank=True)
    estimate_line = IdField(required=False)
    at = InstantField(required=False)
    device = IdField(required=False)
    evidence = evidence_field()


class Operations(Resource):
    """Record an operation; one that no line names opens a closed list again."""

    @extend_schema(request=OperationBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(OperationEntry, self.parse(OperationBody))
        return created(record_operation(job=job, actor=self.actor, as_of=self.as_of, entry=entry))


class ReasonBody(JsonBody):
    """Why; it is printed in the record."""

    reason = TextField(max_length=2000)


class OperationWithdrawal(Resource):
    """An operation that was recorded by mistake: it stays in the record and no longer counts."""

    @extend_schema(request=ReasonBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID, operation_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        operation = get_operation_for(self.actor, job_id, operation_id)
        reason = self.parse(ReasonBody)["reason"]
        withdrawn = withdraw_operation(
            job=job, operation=operation, actor=self.actor, as_of=self.as_of, reason=reason
        )
        return created(withdrawn)


class ClosingBody(JsonBody):
    id = IdField()
    at = InstantField(required=False)
    device = IdField(required=False)


class OperationsClosings(Resource):
    """States that the list of operations is complete; refused while a line is unmapped."""

    @extend_schema(request=ClosingBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(ClosingEntry, self.parse(ClosingBody))
        return created(close_operations(job=job, actor=self.actor, as_of=self.as_of, entry=entry))


class OperationsReopenings(Resource):
    """Opens the list of operations again."""

    @extend_schema(request=ReasonBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        reason = self.parse(ReasonBody)["reason"]
        return created(reopen_operations(job=job, actor=self.actor, as_of=self.as_of, reason=reason))
