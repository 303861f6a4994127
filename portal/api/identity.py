"""Which car it is and what is fitted to it: identity readings and ways of knowing a sensor."""

from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_job_for
from jobs.services.entries import build_entry
from jobs.services.fitted import FittedEntry, record_fitted
from jobs.services.identity import IdentityEntry, record_identity
from portal.api.shapes import Receipt, created
from portal.fields import ChoiceField, IdField, InstantField, JsonBody, TextField, evidence_field
from portal.resource import Resource


class IdentityReadingBody(JsonBody):
    """``vin_read`` exactly as read, faults included: a difference is for the judgement to find."""

    id = IdField()
    way = TextField(max_length=40)
    vin_read = TextField(max_length=40)
    module = TextField(max_length=80, required=False, allow_blank=True)
    at = InstantField()
    device = IdField(required=False)
    evidence = evidence_field()


class IdentityReadings(Resource):
    """One more reading of the VIN on this car."""

    @extend_schema(request=IdentityReadingBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(IdentityEntry, self.parse(IdentityReadingBody))
        return created(record_identity(job=job, actor=self.actor, as_of=self.as_of, entry=entry))


class FittedSystemBody(JsonBody):
    """One way of knowing; two different ways make a yes or no final."""

    id = IdField()
    sensor = TextField(max_length=40)
    state = ChoiceField(choices=["yes", "no", "unknown"])
    way = TextField(max_length=40)
    at = InstantField()
    device = IdField(required=False)
    evidence = evidence_field()


class FittedSystems(Resource):
    """What one way says of one sensor."""

    @extend_schema(request=FittedSystemBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(FittedEntry, self.parse(FittedSystemBody))
        return created(record_fitted(job=job, actor=self.actor, as_of=self.as_of, entry=entry))
