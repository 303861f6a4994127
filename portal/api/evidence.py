"""Evidence files: bytes in with their hash, the list, the bytes out again, and setting one aside."""

from typing import Any
from uuid import UUID

from django.conf import settings
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_evidence_for, get_job_for
from jobs.selectors.api_evidence import list_evidence
from jobs.selectors.deletions import require_kept
from jobs.services.evidence_intake import Upload
from jobs.services.filing import file_evidence
from jobs.services.set_aside import decide_reuse, set_aside_evidence
from jobs.services.slips import issue_slip
from portal.api.estimate import ReasonBody
from portal.api.shapes import MomentShape, Receipt, created
from portal.downloads import attachment
from portal.errors import RequestProblem
from portal.fields import ChoiceField, IdField, InstantField, JsonBody, TextField
from portal.parsers import body_stream, stated_sha256
from portal.resource import AnyAccept, Resource


class EvidenceShape(serializers.Serializer[Any]):
    """One file as the record has it; ``number`` is its number within the job."""

    id = serializers.UUIDField()
    number = serializers.IntegerField(allow_null=True)
    kind = serializers.CharField()
    stage = serializers.CharField()
    shows = serializers.ListField(child=serializers.CharField())
    sha256 = serializers.CharField()
    size_bytes = serializers.IntegerField()
    media_type = serializers.CharField()
    file_name = serializers.CharField()
    session = serializers.UUIDField(source="session_id", allow_null=True)
    instrument = serializers.CharField(source="instrument.tag", allow_null=True, default=None)
    captured_by = serializers.CharField(source="captured_by.login")
    captured = MomentShape()
    received_at = serializers.DateTimeField()
    readable = serializers.CharField()
    decoded = serializers.JSONField()
    ended_at = serializers.DateTimeField(allow_null=True)
    ended_how = serializers.CharField()
    ended_reason = serializers.CharField()


class EvidenceList(Resource):
    """Every file of the job in the order of receipt, set-aside ones among them."""

    ordering = ("received_at", "id")
    parameters = frozenset({"kind", "stage"})

    @extend_schema(
        parameters=[OpenApiParameter("kind", OpenApiTypes.STR), OpenApiParameter("stage", OpenApiTypes.STR)],
        responses=EvidenceShape(many=True),
    )
    def get(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        wanted = request.query_params
        return self.page(
            list_evidence(job, kind=wanted.get("kind"), stage=wanted.get("stage")), EvidenceShape
        )


class UploadParameters(JsonBody):
    """What is said of a file beside its bytes, as query parameters."""

    kind = TextField(max_length=20)
    stage = TextField(max_length=20)
    shows = TextField(max_length=1000, required=False, allow_blank=True)
    captured_at = InstantField(required=False, allow_blank=True)
    device = IdField(required=False)
    session = IdField(required=False)
    instrument = TextField(max_length=20, required=False, allow_blank=True)
    file_name = TextField(max_length=1000, required=False, allow_blank=True)


class OneEvidence(Resource):
    """Send one file under an id of your own, or read what the record has of it.

    The body is the bytes as they are; ``Repr-Digest: sha-256=:…:`` (RFC 9530) is required. 201 the first
    time, 200 where the same bytes are there already. The type is decided by content, not by Content-Type.
    """

    @extend_schema(responses=EvidenceShape)
    def get(self, request: Request, job_id: UUID, evidence_id: UUID) -> Response:
        return Response(EvidenceShape(get_evidence_for(self.actor, job_id, evidence_id)).data)

    @extend_schema(
        parameters=[
            UploadParameters,
            OpenApiParameter("Repr-Digest", OpenApiTypes.STR, OpenApiParameter.HEADER, required=True),
        ],
        request={"application/octet-stream": OpenApiTypes.BINARY},
        responses={201: EvidenceShape, 200: EvidenceShape},
    )
    def put(self, request: Request, job_id: UUID, evidence_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        fields = _upload_fields(request)
        upload = Upload(
            id=evidence_id,
            claimed_sha256=stated_sha256(request.headers.get("Repr-Digest")),
            **fields,
        )
        body = body_stream(request._request, settings.MAX_UPLOAD_BYTES)
        kept, is_new = file_evidence(job=job, actor=self.actor, as_of=self.as_of, upload=upload, source=body)
        return Response(EvidenceShape(kept).data, status=201 if is_new else 200)

    def _check_parameters(self, request: Request) -> None:
        # PUT reads its parameters as fields, which refuses unknown ones by itself.
        if request.method != "PUT":
            super()._check_parameters(request)


def _upload_fields(request: Request) -> dict[str, Any]:
    sent = request.query_params
    for name in sent:
        if len(sent.getlist(name)) > 1:
            raise RequestProblem("bad_parameter", f"{name[:80]} is given twice.", parameter=name[:80])
    parameters = UploadParameters(data=dict(sent.items()))
    parameters.is_valid(raise_exception=True)
    fields: dict[str, Any] = dict(parameters.validated_data)
    fields["shows"] = tuple(word for word in fields.pop("shows", "").split(",") if word)
    return fields


class EvidenceContent(Resource):
    """The bytes exactly as they were received, as an attachment; 410 with the day once they are deleted."""

    content_negotiation_class = AnyAccept

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    def get(self, request: Request, job_id: UUID, evidence_id: UUID) -> HttpResponseBase:
        evidence = get_evidence_for(self.actor, job_id, evidence_id)
        require_kept(evidence)
        return attachment(
            sha256=evidence.sha256,
            size_bytes=evidence.size_bytes,
            media_type=evidence.media_type,
            file_name=evidence.file_name or f"evidence-{evidence.number}",
        )


class EvidenceSetAside(Resource):
    """Takes a file out of every proof; it stays in the record and is printed as rejected."""

    @extend_schema(request=ReasonBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID, evidence_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        evidence = get_evidence_for(self.actor, job_id, evidence_id)
        reason = self.parse(ReasonBody)["reason"]
        return created(
            set_aside_evidence(job=job, evidence=evidence, actor=self.actor, as_of=self.as_of, reason=reason)
        )


class ReuseDecisionBody(JsonBody):
    """``other`` is a picture of another job that looks alike."""

    other_job = IdField()
    other = IdField()
    decision = ChoiceField(choices=["same picture", "different"])


class ReuseDecisions(Resource):
    """A reviewer looked at two pictures side by side and says whether they are the same."""

    @extend_schema(request=ReuseDecisionBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID, evidence_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        evidence = get_evidence_for(self.actor, job_id, evidence_id)
        fields = self.parse(ReuseDecisionBody)
        other = get_evidence_for(self.actor, fields["other_job"], fields["other"])
        decided = decide_reuse(
            job=job,
            evidence=evidence,
            other=other,
            actor=self.actor,
            as_of=self.as_of,
            decision=fields["decision"],
        )
        return created(decided)


class SlipShape(serializers.Serializer[Any]):
    """A code to be photographed with the car: it proves that the picture is not older than the code."""

    id = serializers.UUIDField()
    content = serializers.CharField(source="code")
    issued_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()


class SlipBody(JsonBody):
    id = IdField()


class Slips(Resource):
    """A fresh slip code for this job."""

    @extend_schema(request=SlipBody, responses={201: SlipShape})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        slip_id = self.parse(SlipBody)["id"]
        slip = issue_slip(job=job, actor=self.actor, as_of=self.as_of, slip_id=slip_id)
        return Response(SlipShape(slip).data, status=201)
