"""Repair orders: the visit, its estimate lines, the operations done and the closing of their list."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.places import Location
from jobs.models.record import JobRecord, MomentField, TimedJobRecord
from jobs.models.tenancy import TenantModel
from jobs.models.vehicle import Vehicle


class RepairOrder(TenantModel):
    """One visit. Odometers are {value, unit, resolution} as typed; customer fields are personal data."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    number = models.CharField(max_length=40)
    location = models.ForeignKey(Location, on_delete=models.PROTECT, related_name="orders")
    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="orders")
    customer_name = models.CharField(max_length=120)
    customer_contact = models.CharField(max_length=200, blank=True, default="")
    payer = models.CharField(max_length=120, blank=True, default="")
    claim_number = models.CharField(max_length=60, blank=True, default="")
    opened = MomentField()
    odometer_in = models.JSONField()
    odometer_out = models.JSONField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)
    received_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=("organisation", "location", "number"), name="order_number_once_per_location"
            )
        ]
        indexes: ClassVar = [
            models.Index(fields=("organisation", "claim_number"), name="order_claim_number"),
        ]

    def __str__(self) -> str:
        return self.number


class EstimateLine(JobRecord):
    """One line of the estimate as written. ``version`` counts its mappings; 0 means not mapped yet."""

    line_no = models.PositiveIntegerField()
    text = models.TextField()
    source_file = models.CharField(max_length=200, blank=True, default="")
    version = models.PositiveIntegerField(default=0)

    class Meta(JobRecord.Meta):
        constraints: ClassVar = [
            *JobRecord.Meta.constraints,
            models.UniqueConstraint(
                fields=("organisation", "job", "line_no"),
                condition=models.Q(ended_at__isnull=True),
                name="estimate_line_number_once",
            ),
        ]


class EstimateMapping(JobRecord):
    """Which operations a line means, or that it touches nothing. Mapping anew adds a row; the last counts."""

    line = models.ForeignKey(EstimateLine, on_delete=models.PROTECT, related_name="mappings")
    version = models.PositiveIntegerField()
    operations = models.JSONField(default=list)
    touches_nothing = models.BooleanField(default=False)
    mapped_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta(JobRecord.Meta):
        constraints: ClassVar = [
            *JobRecord.Meta.constraints,
            models.UniqueConstraint(
                fields=("organisation", "line", "version"), name="estimate_mapping_version_once"
            ),
        ]


class OperationDone(JobRecord):
    """A repair operation that was carried out; ``zone_detail`` names the sensor where the name does not."""

    operation = models.CharField(max_length=80)
    zone_detail = models.CharField(max_length=40, blank=True, default="")
    started = MomentField(null=True, blank=True)
    done = MomentField(null=True, blank=True)
    done_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    estimate_line = models.ForeignKey(
        EstimateLine, on_delete=models.PROTECT, null=True, blank=True, related_name="operations_done"
    )
    found_later = models.BooleanField(default=False)


class OperationsClosing(TimedJobRecord):
    """The operation list was closed; opened again, this row ends as ``withdrawn``. One stands at a time."""

    closed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta(TimedJobRecord.Meta):
        constraints: ClassVar = [
            *TimedJobRecord.Meta.constraints,
            models.UniqueConstraint(
                fields=("organisation", "job"),
                condition=models.Q(ended_at__isnull=True),
                name="operations_closed_once",
            ),
        ]


class TextLookup(JobRecord):
    """The maker's text as it stood when somebody looked it up."""

    procedure_id = models.CharField(max_length=80)
    document_number = models.CharField(max_length=80)
    edition = models.CharField(max_length=40)
    section = models.CharField(max_length=80, blank=True, default="")
    retrieved = MomentField(null=True, blank=True)
    retrieved_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    text_sha256 = models.CharField(max_length=64, blank=True, default="")


class InvoiceLine(JobRecord):
    """What was billed; money appears nowhere else."""

    text = models.TextField()
    procedure_id = models.CharField(max_length=80, blank=True, default="")
    amount = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    currency = models.CharField(max_length=3, blank=True, default="")
