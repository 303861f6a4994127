"""Measured values as typed, one or many at once."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_job_for
from jobs.services.entries import build_entry
from jobs.services.measurement import ReadingEntry, record_readings
from portal.api.shapes import Receipt, Receipts, created
from portal.fields import (
    IdField,
    InstantField,
    JsonBody,
    ManyField,
    NumberTextField,
    TextField,
    WholeNumberField,
    evidence_field,
)
from portal.resource import Resource

MOST_READINGS = 500


class ReadingBody(JsonBody):
    """One value, as text so that its digits stay as typed; ``instrument`` is a tag, ``bay`` a code."""

    id = IdField()
    quantity = TextField(max_length=40)
    place = TextField(max_length=60, required=False, allow_blank=True)
    value = TextField(max_length=40)
    unit = TextField(max_length=20)
    at = InstantField()
    device = IdField(required=False)
    instrument = TextField(max_length=20, required=False, allow_blank=True)
    session = IdField(required=False)
    procedure_id = TextField(max_length=80, required=False, allow_blank=True)
    bay = TextField(max_length=20, required=False, allow_blank=True)
    set_no = WholeNumberField(min_value=1, max_value=99, required=False)
    resolution = NumberTextField(required=False, allow_blank=True)
    evidence = evidence_field()


class ReadingListBody(JsonBody):
    """Several values, kept all or none."""

    readings = ManyField(child=ReadingBody(), least=1, most=MOST_READINGS)


class Readings(Resource):
    """Keep one reading, or a list of them (all or none)."""

    @extend_schema(
        request=PolymorphicProxySerializer(
            "ReadingOrList", [ReadingBody, ReadingListBody], resource_type_field_name=None
        ),
        responses={
            201: PolymorphicProxySerializer(
                "ReceiptOrReceipts", [Receipt, Receipts], resource_type_field_name=None
            )
        },
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        is_list = "readings" in request.data
        sent: list[dict[str, Any]] = (
            self.parse(ReadingListBody)["readings"] if is_list else [self.parse(ReadingBody)]
        )
        entries = tuple(build_entry(ReadingEntry, reading) for reading in sent)
        kept = record_readings(job=job, actor=self.actor, as_of=self.as_of, entries=entries)
        if is_list:
            return Response(Receipts({"records": kept}).data, status=201)
        return created(kept[0])
