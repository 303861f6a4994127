"""Scans of a car's modules, typed or sent by the tablet in the form of a scan summary."""

from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_job_for
from jobs.services.scan import ScanEntry, record_scan
from portal.api.shapes import Receipt, created
from portal.fields import (
    ChoiceField,
    IdField,
    InstantField,
    JsonBody,
    JsonNumberField,
    ManyField,
    TextField,
    WholeNumberField,
    YesNoField,
)
from portal.resource import Resource

_OUTSIDE_THE_SUMMARY = ("id", "tool", "stage", "at", "device")


class CodeBody(JsonBody):
    """A trouble code (SAE J2012) and its failure type; separators and case do not matter."""

    code = TextField(max_length=12)
    ftb = TextField(max_length=2, required=False, allow_blank=True)
    state = ChoiceField(choices=["present", "intermittent", "stored"])
    text = TextField(max_length=300, required=False, allow_blank=True)
    count = WholeNumberField(min_value=0, max_value=1_000_000, required=False)
    first_seen_km = JsonNumberField(required=False)


class ModuleBody(JsonBody):
    """A module that was asked, whether it answered or not."""

    name = TextField(max_length=120)
    system = TextField(max_length=40)
    answered = YesNoField()
    address = TextField(max_length=80, required=False, allow_blank=True)
    part_no = TextField(max_length=80, required=False, allow_blank=True)
    hardware_no = TextField(max_length=80, required=False, allow_blank=True)
    software_no = TextField(max_length=80, required=False, allow_blank=True)
    replaced_used_part = YesNoField(required=False)
    codes = ManyField(child=CodeBody(), most=400, required=False)


class ClearedBody(JsonBody):
    module = TextField(max_length=120)
    at = InstantField()


class ShownOdometerBody(JsonBody):
    """The mileage that the scan device read from the car: numbers, as a machine writes them."""

    value = JsonNumberField()
    unit = ChoiceField(choices=["km", "mi"])
    resolution = JsonNumberField(required=False)


class ScanBody(JsonBody):
    """``tool`` is the tag of the scan device; ``device_clock`` is what its screen showed at the end."""

    id = IdField()
    stage = TextField(max_length=20)
    tool = TextField(max_length=20, required=False, allow_blank=True)
    at = InstantField(required=False)
    device = IdField(required=False)
    device_serial = TextField(max_length=80)
    device_software = TextField(max_length=120, required=False, allow_blank=True)
    database_version = TextField(max_length=120, required=False, allow_blank=True)
    device_clock = TextField(max_length=40, required=False)
    ended_at = InstantField(required=False)
    vin_per_module = serializers.DictField(child=TextField(max_length=40), required=False)
    odometer = ShownOdometerBody(required=False)
    supply_voltage_v = JsonNumberField(required=False)
    cleared = ManyField(child=ClearedBody(), most=300, required=False)
    modules = ManyField(child=ModuleBody(), least=1, most=300)


class Scans(Resource):
    """One scan: every module that was asked, answered or not, with its codes."""

    @extend_schema(request=ScanBody, responses={201: Receipt})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        fields = self.parse(ScanBody)
        outside = {name: fields.pop(name) for name in _OUTSIDE_THE_SUMMARY if name in fields}
        entry = ScanEntry(**{"tool": "", **outside}, summary=fields)
        return created(record_scan(job=job, actor=self.actor, as_of=self.as_of, entry=entry))
