"""Glass set with adhesive, and the maker's text looked up on the day."""

from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_job_for
from jobs.services.entries import build_entry
from jobs.services.glass import GlassSetEntry, record_glass_set
from jobs.services.lookup import LookupEntry, record_lookup
from portal.api.shapes import Receipt, created
from portal.fields import DayField, IdField, InstantField, JsonBody, TextField, evidence_field
from portal.resource import Resource


class BatchBody(JsonBody):
    """A product as on its tube."""

    product = TextField(max_length=80)
    batch = TextField(max_length=80)
    expires_on = DayField(required=False)


class GlassSetBody(JsonBody):
    """One bonded pane; ``set_at`` is ``hh:mm`` on the wall, or RFC 3339."""

    id = IdField()
    operation = IdField()
    set_at = TextField(max_length=40)
    set_by = TextField(max_length=64, required=False, allow_blank=True)
    glass_maker = TextField(max_length=80)
    glass_part_number = TextField(max_length=80)
    adhesive = BatchBody(required=False)
    primer = BatchBody(required=False)
    climate_log = IdField(required=False)
    at = InstantField()
    device = IdField(required=False)
    evidence = evidence_field()


class GlassSets(Resource):
    """A pane set with adhesive: from this the earliest time at which the car may move is computed."""

    @extend_schema(request=GlassSetBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(GlassSetEntry, self.parse(GlassSetBody))
        return created(record_glass_set(job=job, actor=self.actor, as_of=self.as_of, entry=entry))


class LookupBody(JsonBody):
    """The maker's text as it stood on the day."""

    id = IdField()
    procedure_id = TextField(max_length=80)
    document_number = TextField(max_length=80)
    edition = TextField(max_length=40, allow_blank=True)
    section = TextField(max_length=80, allow_blank=True)
    retrieved_at = InstantField()
    device = IdField(required=False)
    evidence = evidence_field()


class Lookups(Resource):
    """Which text was looked up for which procedure, and when."""

    @extend_schema(request=LookupBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(LookupEntry, self.parse(LookupBody))
        return created(record_lookup(job=job, actor=self.actor, as_of=self.as_of, entry=entry))
