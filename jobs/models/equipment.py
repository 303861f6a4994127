"""Instruments and tools: what happened to them, their certificates, and what they were used for."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.places import Location
from jobs.models.record import MomentField, Record
from jobs.models.tenancy import TenantModel


class Equipment(TenantModel):
    """An instrument or tool. ``due_on`` repeats what the last certificate and the interval give, for lists.

    ``check_before_use`` is {reference, limit, unit} or null.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    tag = models.CharField(max_length=20)
    cls = models.CharField(max_length=30)
    maker = models.CharField(max_length=60, blank=True, default="")
    model = models.CharField(max_length=60, blank=True, default="")
    serial = models.CharField(max_length=60, blank=True, default="")
    owner_org = models.CharField(max_length=120, blank=True, default="")
    home_location = models.ForeignKey(
        Location, on_delete=models.PROTECT, null=True, blank=True, related_name="equipment"
    )
    resolution = models.FloatField(null=True, blank=True)
    unit = models.CharField(max_length=20, blank=True, default="")
    mpe = models.CharField(max_length=200, blank=True, default="")
    interval_months = models.PositiveSmallIntegerField(null=True, blank=True)
    interval_uses = models.PositiveIntegerField(null=True, blank=True)
    needs_certificate = models.BooleanField(default=True)
    in_service_from = models.DateField()
    state = models.CharField(max_length=12, default="in_service")
    state_since = models.DateTimeField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)
    check_before_use = models.JSONField(null=True, blank=True)
    due_on = models.DateField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "tag"), name="equipment_tag_once"),
            models.CheckConstraint(
                condition=models.Q(state__in=("in_service", "quarantined", "retired")), name="equipment_state"
            ),
        ]
        indexes: ClassVar = [models.Index(fields=("organisation", "due_on"), name="equipment_due")]

    def __str__(self) -> str:
        return self.tag


class EquipmentEvent(Record):
    """dropped, repaired, adjusted, software_updated, lent_out, returned, lost, found, quarantine, clear."""

    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=20)
    at = MomentField()
    seen_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    note = models.TextField(blank=True, default="")


class BeforeUseCheck(Record):
    """A check against a reference before use, in the instrument's unit; ``passed`` is computed."""

    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="before_use_checks")
    at = MomentField()
    checked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    reference = models.CharField(max_length=200)
    reading = models.FloatField()
    limit = models.CharField(max_length=60)
    passed = models.BooleanField()


class EquipmentUse(TenantModel):
    """Written by the program when a record names an instrument, never by hand; one row for each record."""

    id = models.BigAutoField(primary_key=True)
    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="uses")
    job = models.ForeignKey("jobs.Job", on_delete=models.PROTECT, related_name="equipment_uses")
    session = models.ForeignKey(
        "jobs.Session", on_delete=models.PROTECT, null=True, blank=True, related_name="equipment_uses"
    )
    record_kind = models.CharField(max_length=20)
    record_id = models.UUIDField()
    used_at = models.DateTimeField()
    used_on = models.DateField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=("organisation", "equipment", "record_id"), name="equipment_use_once"
            )
        ]
        indexes: ClassVar = [
            models.Index(fields=("equipment", "-used_at"), name="equipment_use_newest"),
            models.Index(fields=("job",), name="equipment_use_of_job"),
        ]


class Certificate(Record):
    """A calibration certificate; points are {nominal, indication, error, U, k, unit}.

    Error is indication minus reference.
    ``next_due_on_label`` is information only: our own interval governs.
    """

    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="certificates")
    number = models.CharField(max_length=80)
    lab_name = models.CharField(max_length=120)
    accreditation_body = models.CharField(max_length=120, blank=True, default="")
    accreditation_no = models.CharField(max_length=80, blank=True, default="")
    scope_ok = models.CharField(max_length=8, default="unknown")
    calibrated_on = models.DateField()
    calibrated_at = models.DateTimeField(null=True, blank=True)
    issued_on = models.DateField()
    as_found = models.JSONField(default=list, blank=True)
    as_left = models.JSONField(default=list, blank=True)
    no_as_found = models.BooleanField(default=False)
    adjusted = models.BooleanField(default=False)
    mpe_statement = models.TextField(blank=True, default="")
    conformity_statement = models.TextField(blank=True, default="")
    decision_rule = models.TextField(blank=True, default="")
    climate = models.TextField(blank=True, default="")
    traceability_text = models.TextField(blank=True, default="")
    file = models.ForeignKey(
        "jobs.Evidence", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    next_due_on_label = models.DateField(null=True, blank=True)
    transcribed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta(Record.Meta):
        constraints: ClassVar = [
            *Record.Meta.constraints,
            models.UniqueConstraint(
                fields=("organisation", "equipment", "number"),
                condition=models.Q(ended_at__isnull=True),
                name="certificate_number_once",
            ),
        ]


class MethodBudget(TenantModel):
    """Standard uncertainty of measuring a quantity with a class of instrument, in the program's unit."""

    id = models.BigAutoField(primary_key=True)
    quantity = models.CharField(max_length=40)
    cls = models.CharField(max_length=30, blank=True, default="")
    u_fixed = models.FloatField(default=0.0)
    u_relative = models.FloatField(default=0.0)
    u_repeat = models.FloatField(default=0.0)
    resolution = models.FloatField(default=0.0)
    valid_from = models.DateField()
    set_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    basis = models.TextField(blank=True, default="")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=("organisation", "quantity", "cls", "valid_from"), name="method_budget_once"
            ),
            models.CheckConstraint(
                condition=models.Q(u_fixed__gte=0, u_relative__gte=0, u_repeat__gte=0, resolution__gte=0),
                name="method_budget_not_negative",
            ),
        ]
