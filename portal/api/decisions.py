"""What people decide and sign: sign-offs, waivers, refusals, explanations, the release and the delivery."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_job_for
from jobs.services.decision import (
    ExplanationEntry,
    RefusalEntry,
    SignOffEntry,
    WaiverEntry,
    explain,
    grant_waiver,
    record_refusal,
    sign,
)
from jobs.services.delivery import DeliveryEntry, deliver
from jobs.services.entries import build_entry
from jobs.services.release import ReleaseEntry, release_job
from portal.api.orders import OdometerBody
from portal.api.shapes import Receipt, created
from portal.fields import ChoiceField, IdField, InstantField, JsonBody, TextField, evidence_field, words_field
from portal.resource import Resource


class SignOffShape(serializers.Serializer[Any]):
    """Which items the signature covers, as their hashes and the root over them."""

    id = serializers.UUIDField()
    role = serializers.CharField()
    person = serializers.CharField(source="person.login")
    received_at = serializers.DateTimeField()
    content_sha256 = serializers.CharField()
    covers = serializers.ListField(child=serializers.CharField())
    covers_root = serializers.CharField()
    statement_version = serializers.CharField()


class SignOffBody(JsonBody):
    """The PIN is asked for each signature, whoever is signed in."""

    id = IdField()
    role = ChoiceField(choices=["technician", "quality_reviewer"])
    pin = TextField(max_length=20)
    statement_version = TextField(max_length=80)


class SignOffs(Resource):
    """Signs the work, or the review of its evidence, as it stands now."""

    @extend_schema(request=SignOffBody, responses={201: SignOffShape})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(SignOffEntry, self.parse(SignOffBody))
        signed = sign(job=job, actor=self.actor, as_of=self.as_of, entry=entry)
        return Response(SignOffShape(signed).data, status=201)


class WaiverBody(JsonBody):
    """Which proof, why it cannot be produced, and what was done instead."""

    id = IdField()
    procedure_id = TextField(max_length=80)
    proof_id = TextField(max_length=80)
    reason = TextField(max_length=4000)
    instead = TextField(max_length=4000)
    pin = TextField(max_length=20)
    customer_told_at = InstantField(required=False, allow_blank=True)


class Waivers(Resource):
    """Takes one proof out of the gate under somebody's name; the proof keeps its verdict."""

    @extend_schema(request=WaiverBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(WaiverEntry, self.parse(WaiverBody))
        return created(grant_waiver(job=job, actor=self.actor, as_of=self.as_of, entry=entry))


class RefusalBody(JsonBody):
    """Signed by somebody entitled to; ``systems_named`` in the words the owner was told."""

    id = IdField()
    procedure_id = TextField(max_length=80)
    refused_by_name = TextField(max_length=120)
    relation = ChoiceField(choices=["owner", "authorised_agent", "other"])
    told_text_version = TextField(max_length=80)
    systems_named = words_field(required=True)
    lamp_state = TextField(max_length=200)
    signed_at = InstantField()
    device = IdField(required=False)
    evidence = evidence_field()


class Refusals(Resource):
    """The owner does not want a procedure done."""

    @extend_schema(request=RefusalBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(RefusalEntry, self.parse(RefusalBody))
        return created(record_refusal(job=job, actor=self.actor, as_of=self.as_of, entry=entry))


class ExplanationBody(JsonBody):
    """Why a trouble code that is still there has nothing to do with the work."""

    id = IdField()
    module = TextField(max_length=120)
    code = TextField(max_length=12)
    ftb = TextField(max_length=2, required=False, allow_blank=True)
    text = TextField(max_length=4000)


class Explanations(Resource):
    """A reviewer explains a remaining code."""

    @extend_schema(request=ExplanationBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(ExplanationEntry, self.parse(ExplanationBody))
        return created(explain(job=job, actor=self.actor, as_of=self.as_of, entry=entry))


class ReleaseBody(JsonBody):
    id = IdField()
    pin = TextField(max_length=20)
    statement_version = TextField(max_length=80, required=False)


class Release(Resource):
    """Signs the release, if the gate is open at this moment.

    Otherwise 409 ``release_not_open`` with ``open``: every proof in the way and what would change it.
    The gate says what the record shows; it does not say that the car may be driven without care.
    """

    @extend_schema(request=ReleaseBody, responses={201: SignOffShape})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(ReleaseEntry, self.parse(ReleaseBody))
        signed = release_job(job=job, actor=self.actor, as_of=self.as_of, entry=entry)
        return Response(SignOffShape(signed).data, status=201)


class DeliveryBody(JsonBody):
    id = IdField()
    delivered_at = InstantField()
    odometer_out = OdometerBody()
    device = IdField(required=False)


class Delivery(Resource):
    """The car was handed over; on hold, this is recorded for ever as left against hold."""

    @extend_schema(request=DeliveryBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(DeliveryEntry, self.parse(DeliveryBody))
        return created(deliver(job=job, actor=self.actor, as_of=self.as_of, entry=entry))
