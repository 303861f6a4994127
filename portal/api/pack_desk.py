"""The way of a pack edition: draft, what is to be said of it, acknowledged, approved, withdrawn."""

from typing import Any, ClassVar
from uuid import UUID

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_pack_for, jobs_for
from jobs.services import values
from jobs.services.edition_effect import BATCH, effect_page
from jobs.services.pack_desk import MOST_BYTES, acknowledge, approve, upload_draft, withdraw_pack
from jobs.services.pack_review import difference_on, report_on
from portal.api.packs import PackShape
from portal.errors import RequestProblem
from portal.fields import ChoiceField, DayField, JsonBody, TextField, words_field
from portal.parsers import body_stream, stated_sha256
from portal.resource import Resource
from rules.canonical import sha256_hex
from rules.look_back import NOT_IN_FORCE

MOST_JOBS = 200


class FaultShape(serializers.Serializer[Any]):
    """``name`` is what a warning is acknowledged by; an error has none."""

    line = serializers.IntegerField()
    code = serializers.CharField()
    severity = serializers.CharField()
    name = serializers.CharField()
    message = serializers.CharField()
    expected = serializers.CharField()
    found = serializers.CharField()


class AcknowledgementShape(serializers.Serializer[Any]):
    name = serializers.CharField()
    words = serializers.CharField()
    by = serializers.CharField(source="by.login")
    at = serializers.DateTimeField()


class ReviewShape(serializers.Serializer[Any]):
    """``open_names``: warnings that nobody has acknowledged for this very text."""

    sha256 = serializers.CharField()
    may_be_approved = serializers.BooleanField()
    faults = FaultShape(many=True)
    warnings = FaultShape(many=True)
    acknowledged = AcknowledgementShape(many=True)
    open_names = serializers.ListField(child=serializers.CharField())


class ChangeShape(serializers.Serializer[Any]):
    kind = serializers.CharField()
    place = serializers.CharField()
    words = serializers.CharField()


class DifferenceShape(serializers.Serializer[Any]):
    """Every change from edition ``since`` (null: there is none before) in plain words."""

    since = serializers.IntegerField(allow_null=True)
    changes = ChangeShape(many=True)


class ProofChangeShape(serializers.Serializer[Any]):
    kind = serializers.CharField()
    procedure_id = serializers.CharField()
    proof_id = serializers.CharField()
    check = serializers.CharField()
    title = serializers.CharField()
    before = serializers.CharField(allow_null=True)
    after = serializers.CharField(allow_null=True)


class JobEffectShape(serializers.Serializer[Any]):
    """One job that would be judged otherwise; ``problem`` says why it could not be judged again."""

    job = serializers.UUIDField(source="job_id")
    number = serializers.CharField()
    archived = serializers.BooleanField(source="is_done")
    kinds = serializers.ListField(child=serializers.CharField())
    changes = ProofChangeShape(many=True)
    problem = serializers.CharField()


class EffectShape(serializers.Serializer[Any]):
    """``statement`` says what these verdicts are: the archived ones never change.

    ``next_after``: ask again with ``after`` set to it; null where all jobs were looked at.
    """

    statement = serializers.CharField()
    line = serializers.CharField()
    archived_jobs = serializers.IntegerField()
    archived_kinds = serializers.DictField(child=serializers.IntegerField())
    open_jobs = serializers.IntegerField()
    open_kinds = serializers.DictField(child=serializers.IntegerField())
    jobs = JobEffectShape(many=True)
    next_after = serializers.UUIDField(allow_null=True)


_DIGEST = OpenApiParameter("Repr-Digest", OpenApiTypes.STR, OpenApiParameter.HEADER, required=True)


class PackDraft(Resource):
    """Send the exact bytes of an edition; they replace the draft of that number, if there is one.

    ``Repr-Digest: sha-256=:…:`` (RFC 9530) is required. The text must name the pack and edition of the
    address. A draft governs nothing.
    """

    @extend_schema(
        parameters=[_DIGEST], request={"application/yaml": OpenApiTypes.BINARY}, responses=PackShape
    )
    def put(self, request: Request, pack: str, edition: int) -> Response:
        stated = stated_sha256(request.headers.get("Repr-Digest"))
        data = _read(request)
        if sha256_hex(data) != stated:
            raise RequestProblem("digest_mismatch", "The bytes do not have the stated SHA-256.")
        row = upload_draft(actor=self.actor, as_of=self.as_of, data=data, named=(pack, edition))
        return Response(PackShape(row).data)


def _read(request: Request) -> bytes:
    body = body_stream(request._request, MOST_BYTES)
    return b"".join(iter(lambda: body.read(1 << 16), b""))


class PackReview(Resource):
    """Errors that forbid publishing, and warnings with the names by which they are acknowledged."""

    @extend_schema(responses=ReviewShape)
    def get(self, request: Request, pack: str, edition: int) -> Response:
        row = get_pack_for(self.actor, pack, edition)
        report = report_on(row, as_of=self.as_of)
        told = {
            "sha256": row.sha256,
            "may_be_approved": report.may_be_approved,
            "faults": report.errors,
            "warnings": report.warnings,
            "acknowledged": report.acknowledged,
            "open_names": report.open_names,
        }
        return Response(ReviewShape(told).data)


class PackDifference(Resource):
    """What this edition asks for that the published one before it does not, in plain words."""

    @extend_schema(responses=DifferenceShape)
    def get(self, request: Request, pack: str, edition: int) -> Response:
        before, changes = difference_on(get_pack_for(self.actor, pack, edition))
        since = None if before is None else before.edition
        return Response(DifferenceShape({"since": since, "changes": changes}).data)


class PackEffect(Resource):
    """What this edition would say of the jobs on record; read-only, some jobs at a time."""

    parameters: ClassVar[frozenset[str]] = frozenset({"after", "limit"})

    @extend_schema(
        parameters=[
            OpenApiParameter("after", OpenApiTypes.UUID),
            OpenApiParameter("limit", OpenApiTypes.INT),
        ],
        responses=EffectShape,
    )
    def get(self, request: Request, pack: str, edition: int) -> Response:
        row = get_pack_for(self.actor, pack, edition)
        after, limit = _after(request), _limit(request)
        found = effect_page(row, jobs_for(self.actor), after=after, most=limit)
        told = {
            "statement": NOT_IN_FORCE,
            "line": found.line,
            "archived_jobs": found.done.jobs,
            "archived_kinds": found.done.kinds,
            "open_jobs": found.open.jobs,
            "open_kinds": found.open.kinds,
            "jobs": found.rows,
            "next_after": found.next_after,
        }
        return Response(EffectShape(told).data)


def _after(request: Request) -> UUID | None:
    text = request.query_params.get("after")
    if text is None:
        return None
    try:
        return UUID(text)
    except ValueError:
        raise RequestProblem("bad_parameter", "after is the id of a job.") from None


def _limit(request: Request) -> int:
    text = request.query_params.get("limit", str(BATCH))
    if not (text.isascii() and text.isdigit()) or len(text) > 3 or not 1 <= int(text) <= MOST_JOBS:
        raise RequestProblem("bad_parameter", f"limit is a whole number from 1 to {MOST_JOBS}.")
    return int(text)


class AcknowledgementBody(JsonBody):
    names = words_field(longest=300, required=True)


class PackAcknowledgements(Resource):
    """Lets warnings of a draft stand, each by its name."""

    @extend_schema(request=AcknowledgementBody, responses={201: AcknowledgementShape(many=True)})
    def post(self, request: Request, pack: str, edition: int) -> Response:
        row = get_pack_for(self.actor, pack, edition)
        names = self.parse(AcknowledgementBody)["names"]
        made = acknowledge(row=row, actor=self.actor, as_of=self.as_of, names=names)
        return Response(AcknowledgementShape(made, many=True).data, status=201)


class ApprovalBody(JsonBody):
    """``sha256`` of the text that was read: another one that came in meanwhile is not approved."""

    sha256 = TextField(max_length=64)


class PackApproval(Resource):
    """A second person approves the draft, and it is published."""

    @extend_schema(request=ApprovalBody, responses=PackShape)
    def post(self, request: Request, pack: str, edition: int) -> Response:
        row = get_pack_for(self.actor, pack, edition)
        sha256 = self.parse(ApprovalBody)["sha256"]
        return Response(PackShape(approve(row=row, actor=self.actor, as_of=self.as_of, sha256=sha256)).data)


class WithdrawalBody(JsonBody):
    """``on``: the first day without it; a withdrawal for safety takes effect today."""

    on = DayField()
    severity = ChoiceField(choices=["information", "caution", "safety"])
    reason = TextField(max_length=2000)


class PackWithdrawal(Resource):
    """Takes a published edition back."""

    @extend_schema(request=WithdrawalBody, responses=PackShape)
    def post(self, request: Request, pack: str, edition: int) -> Response:
        row = get_pack_for(self.actor, pack, edition)
        fields = self.parse(WithdrawalBody)
        kept = withdraw_pack(
            row=row,
            actor=self.actor,
            as_of=self.as_of,
            on=values.read_day(fields["on"], "on"),
            reason=fields["reason"],
            severity=fields["severity"],
        )
        return Response(PackShape(kept).data)
