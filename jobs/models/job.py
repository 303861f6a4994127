"""The job of one repair order: where it stands, and what the last judgement said."""

import uuid
from typing import ClassVar

from django.db import models

from jobs.models.order import RepairOrder
from jobs.models.places import Location
from jobs.models.tenancy import TenantModel

OPEN_STATES = ("open", "planned", "working", "review", "held")
CLOSED_STATES = ("released", "delivered", "archived")


class Job(TenantModel):
    """One repair order has one job. Number, claim and VIN tail are copied from order and vehicle for lists.

    ``verdict``, ``disposition``, ``held_because`` and ``hold_reason`` (its first code) repeat the current
    assessment so that boards need no join; ``left_against_hold`` stays true for ever once set.
    ``evidence_count`` gives the next evidence number under this row's lock.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    order = models.OneToOneField(RepairOrder, on_delete=models.PROTECT, related_name="job")
    location = models.ForeignKey(Location, on_delete=models.PROTECT, related_name="jobs")
    number = models.CharField(max_length=40)
    claim_number = models.CharField(max_length=60, blank=True, default="")
    vin_reversed = models.CharField(max_length=17)
    opened_at = models.DateTimeField()
    state = models.CharField(max_length=10, default="open")
    plan_fixed_at = models.DateTimeField(null=True, blank=True)
    verdict = models.CharField(max_length=9, blank=True, default="")
    disposition = models.CharField(max_length=24, default="none")
    held_because = models.JSONField(default=list, blank=True)
    hold_reason = models.CharField(max_length=80, blank=True, default="")
    ready_at = models.DateTimeField(null=True, blank=True)
    left_against_hold = models.BooleanField(default=False)
    legal_hold = models.BooleanField(default=False)
    delivered_at = models.DateTimeField(null=True, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    current_assessment = models.ForeignKey(
        "jobs.Assessment", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    evidence_count = models.PositiveIntegerField(default=0)
    packet_count = models.PositiveIntegerField(default=0)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(
                    state__in=(
                        "open",
                        "planned",
                        "working",
                        "review",
                        "held",
                        "released",
                        "delivered",
                        "archived",
                    )
                ),
                name="job_state",
            ),
            models.CheckConstraint(
                condition=models.Q(verdict__in=("", "met", "not_met", "not_shown")), name="job_verdict"
            ),
            models.CheckConstraint(
                condition=models.Q(
                    disposition__in=(
                        "none",
                        "hold",
                        "release",
                        "release_with_waiver",
                        "release_with_refusal",
                    )
                ),
                name="job_disposition",
            ),
        ]
        indexes: ClassVar = [
            models.Index(
                fields=("location", "hold_reason"),
                condition=models.Q(state__in=("open", "planned", "working", "review", "held")),
                name="job_open_by_location",
            ),
            models.Index(fields=("location", "-opened_at", "-id"), name="job_of_location_newest"),
            models.Index(fields=("organisation", "-opened_at", "-id"), name="job_newest"),
            models.Index(fields=("organisation", "number"), name="job_number"),
            models.Index(fields=("organisation", "claim_number"), name="job_claim"),
            models.Index(fields=("organisation", "vin_reversed"), name="job_vin_tail"),
        ]

    def __str__(self) -> str:
        return self.number
