"""What people decided and signed: sign-offs, waivers, refusals, sublet orders, delivery, legal holds."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.job import Job
from jobs.models.record import JobRecord, MomentField, TimedJobRecord
from jobs.models.tenancy import TenantModel


class SignOff(TimedJobRecord):
    """A signature over stated items: ``covers`` is the sorted list of their SHA-256, with its tree root."""

    role = models.CharField(max_length=20)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    covers = models.JSONField()
    covers_root = models.CharField(max_length=64)
    statement_version = models.CharField(max_length=80)
    reauthenticated = models.BooleanField()
    assessment = models.ForeignKey(
        "jobs.Assessment", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta(TimedJobRecord.Meta):
        constraints: ClassVar = [
            *TimedJobRecord.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(role__in=("technician", "quality_reviewer", "release")),
                name="sign_off_role",
            ),
        ]


class Waiver(TimedJobRecord):
    """The shop releases without one proof, which keeps its verdict. Its effect is judged, not stored."""

    procedure_id = models.CharField(max_length=80)
    proof_id = models.CharField(max_length=80)
    granted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    role = models.CharField(max_length=20)
    reason = models.TextField()
    instead = models.TextField()
    customer_told = MomentField(null=True, blank=True)


class Refusal(TimedJobRecord):
    """The owner declines a procedure, told in plain words what that means; ``at`` is when it was signed."""

    procedure_id = models.CharField(max_length=80)
    refused_by_name = models.CharField(max_length=120)
    relation = models.CharField(max_length=16)
    told_text_version = models.CharField(max_length=80)
    systems_named = models.JSONField()
    lamp_state = models.CharField(max_length=200)
    witness = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta(TimedJobRecord.Meta):
        constraints: ClassVar = [
            *TimedJobRecord.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(relation__in=("owner", "authorised_agent", "other")),
                name="refusal_relation",
            ),
        ]


class Explanation(TimedJobRecord):
    """A reviewer explains a trouble code that stays."""

    module = models.CharField(max_length=80)
    code = models.CharField(max_length=8)
    ftb = models.CharField(max_length=2, blank=True, default="")
    text = models.TextField()
    explained_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    role = models.CharField(max_length=20)


class SubletOrder(JobRecord):
    """Work given to another business; the return is written once, over empty fields."""

    procedure_ids = models.JSONField()
    to_org = models.CharField(max_length=120)
    guest_grant = models.ForeignKey(
        "jobs.AccessGrant", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    carried_how = models.CharField(max_length=10)
    out = MomentField(null=True, blank=True)
    out_odometer = models.JSONField(null=True, blank=True)
    back = MomentField(null=True, blank=True)
    back_received_at = models.DateTimeField(null=True, blank=True)
    back_odometer = models.JSONField(null=True, blank=True)
    returned_lamps = models.JSONField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta(JobRecord.Meta):
        constraints: ClassVar = [
            *JobRecord.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(carried_how__in=("driven", "trailer", "done_here")),
                name="sublet_carried_how",
            ),
        ]


class Delivery(TimedJobRecord):
    """The car went back to its owner; ``odometer_out`` is {value, unit, resolution} as typed."""

    odometer_out = models.JSONField()
    handed_over_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta(TimedJobRecord.Meta):
        constraints: ClassVar = [
            *TimedJobRecord.Meta.constraints,
            models.UniqueConstraint(
                fields=("organisation", "job"),
                condition=models.Q(ended_at__isnull=True),
                name="delivery_once",
            ),
        ]


class LegalHold(TenantModel):
    """Nothing of these jobs may be deleted until the hold is lifted; two people lift it.

    ``query`` ({vin, claim_number, location, opened_from, opened_to}, any of them) covers besides ``jobs``
    whatever fits it, also what comes in later; an empty one covers nothing.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    jobs = models.ManyToManyField(Job, related_name="legal_holds")
    query = models.JSONField(default=dict, blank=True)
    matter = models.TextField()
    placed_at = models.DateTimeField()
    placed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    lift_asked_at = models.DateTimeField(null=True, blank=True)
    lift_asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    lift_reason = models.TextField(blank=True, default="")
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(released_at__isnull=True, released_by__isnull=True)
                | (
                    models.Q(
                        released_at__isnull=False,
                        released_by__isnull=False,
                        lift_asked_at__isnull=False,
                        lift_asked_by__isnull=False,
                    )
                    & ~models.Q(released_by=models.F("lift_asked_by"))
                ),
                name="hold_lifted_by_two",
            ),
        ]
