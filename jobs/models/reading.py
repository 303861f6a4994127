"""Measured values as typed and converted, and scan summaries."""

from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.record import JobRecord, MomentField, TimedJobRecord
from jobs.models.session import Session


class Reading(TimedJobRecord):
    """One measured value: exactly as typed, and in the program's unit; ``u`` is a standard uncertainty.

    ``u`` is empty where no method budget is known; ``u_common`` is the relative part of it that all readings
    with the instrument share. ``vehicle_shown`` marks what the vehicle or the scan
    device displays. ``resolution`` is in the program's unit.
    """

    session = models.ForeignKey(
        Session, on_delete=models.PROTECT, null=True, blank=True, related_name="readings"
    )
    procedure_id = models.CharField(max_length=80, blank=True, default="")
    quantity = models.CharField(max_length=40)
    place = models.CharField(max_length=60, blank=True, default="")
    typed_value = models.CharField(max_length=40)
    typed_unit = models.CharField(max_length=20)
    value = models.FloatField()
    unit = models.CharField(max_length=20)
    u = models.FloatField(null=True, blank=True)
    u_from = models.CharField(max_length=200, blank=True, default="")
    u_common = models.FloatField(null=True, blank=True)
    resolution = models.FloatField(null=True, blank=True)
    instrument = models.ForeignKey(
        "jobs.Equipment", on_delete=models.PROTECT, null=True, blank=True, related_name="readings"
    )
    vehicle_shown = models.BooleanField(default=False)
    bay = models.ForeignKey("jobs.Bay", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    set_no = models.PositiveSmallIntegerField(default=1)
    read_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta(TimedJobRecord.Meta):
        indexes: ClassVar = [models.Index(fields=("job", "quantity"), name="reading_by_quantity")]


class Scan(JobRecord):
    """A scan summary: every module asked, answered or not. ``tool`` is the scan device, ``ended`` its end.

    ``modules``, ``vin_per_module``, ``odometer`` and ``cleared`` are kept as received.
    """

    stage = models.CharField(max_length=20)
    tool = models.ForeignKey(
        "jobs.Equipment", on_delete=models.PROTECT, null=True, blank=True, related_name="scans"
    )
    device_serial = models.CharField(max_length=80, blank=True, default="")
    device_software = models.CharField(max_length=80, blank=True, default="")
    database_version = models.CharField(max_length=80, blank=True, default="")
    device_clock_text = models.CharField(max_length=40, blank=True, default="")
    ended = MomentField()
    modules = models.JSONField()
    vin_per_module = models.JSONField(default=dict, blank=True)
    odometer = models.JSONField(null=True, blank=True)
    supply_voltage_v = models.FloatField(null=True, blank=True)
    cleared = models.JSONField(default=list, blank=True)
    source_sha256 = models.CharField(max_length=64, blank=True, default="")
    scanned_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
