"""What people saw and stated: lamps, functions, targets, state changes, statements, glass that was set."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.order import OperationDone
from jobs.models.places import Bay
from jobs.models.record import JobRecord, MomentField, TimedJobRecord
from jobs.models.session import Session
from jobs.models.tenancy import TenantModel


class StateChange(TimedJobRecord):
    """Something that spoils earlier evidence: vehicle_moved, wheel_removed, battery_cut and the like."""

    kind = models.CharField(max_length=20)
    on_road = models.BooleanField(default=False)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")


class TargetIdentity(TimedJobRecord):
    """The number read from a target board or reflector, and how it hung."""

    session = models.ForeignKey(
        Session, on_delete=models.PROTECT, null=True, blank=True, related_name="target_identities"
    )
    procedure_id = models.CharField(max_length=80, blank=True, default="")
    number_read = models.CharField(max_length=80)
    right_way_up = models.BooleanField()
    is_clean = models.BooleanField()
    read_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")


class LampRecord(TimedJobRecord):
    """``states`` maps a lamp or a group of lamps to lit, unlit, outline_only, filled or not_seen."""

    session = models.ForeignKey(
        Session, on_delete=models.PROTECT, null=True, blank=True, related_name="lamp_records"
    )
    states = models.JSONField()
    seen_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")


class FunctionCheck(TimedJobRecord):
    """A function was tried: ready, reacts, reacts_on_road, picture_complete or not_working."""

    session = models.ForeignKey(Session, on_delete=models.PROTECT, related_name="function_checks")
    function = models.CharField(max_length=60)
    place = models.CharField(max_length=40, blank=True, default="")
    shows = models.CharField(max_length=20)
    how = models.TextField(blank=True, default="")
    checked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")


class Statement(TimedJobRecord):
    """A person states what ``says`` names and denies what ``denies`` names; ``sessions`` lists ids."""

    says = models.JSONField(default=list)
    denies = models.JSONField(default=list, blank=True)
    text_version = models.CharField(max_length=80)
    sessions = models.JSONField(default=list, blank=True)
    bay = models.ForeignKey(Bay, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    procedure_id = models.CharField(max_length=80, blank=True, default="")
    stated_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")


class GlassSet(JobRecord):
    """One bonded pane. ``adhesive`` and ``primer`` are {product, batch, expires_on} or null."""

    operation = models.ForeignKey(OperationDone, on_delete=models.PROTECT, related_name="glass_sets")
    set_at = MomentField()
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    glass_maker = models.CharField(max_length=80)
    glass_part_number = models.CharField(max_length=80)
    adhesive = models.JSONField(null=True, blank=True)
    primer = models.JSONField(null=True, blank=True)
    climate_log = models.ForeignKey(
        "jobs.Evidence", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )


class AdhesiveSheet(TenantModel):
    """An adhesive's data sheet: ``cells`` is a list of {temp_from, temp_to, rh_from, rh_to, minutes}.

    Temperatures in degC, humidity in percent; lower bounds belong to the cell; rh_to null: no upper bound.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    product = models.CharField(max_length=80)
    document = models.CharField(max_length=80)
    issue = models.CharField(max_length=40)
    cells = models.JSONField()
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=("organisation", "product", "document", "issue"), name="adhesive_sheet_once"
            )
        ]
