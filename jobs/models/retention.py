"""How long an organisation keeps each kind of thing, and what was deleted under that, with its hash."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.evidence import Evidence
from jobs.models.job import Job
from jobs.models.packet import Packet
from jobs.models.tenancy import TenantModel


class RetentionRule(TenantModel):
    """How long one kind of thing is kept; the newest row of a kind counts, older ones stay to be read.

    ``amount`` counts ``unit`` (months or days) from the day that the kind counts from; empty: never deleted.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=24)
    amount = models.PositiveIntegerField(null=True, blank=True)
    unit = models.CharField(max_length=6, default="months")
    reason = models.TextField()
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(unit__in=("months", "days")), name="retention_rule_unit"
            ),
            models.CheckConstraint(
                condition=models.Q(amount__isnull=True) | models.Q(amount__gte=1),
                name="retention_rule_amount",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=("organisation", "kind", "-set_at"), name="retention_newest")
        ]


class Deletion(TenantModel):
    """One thing that was deleted, or is about to be: decided and logged first, removed then, noted last.

    ``subject`` names the place that held it (``evidence/<id>/original``); ``sha256`` is what remains of the
    bytes. ``removed_at`` or ``stopped_at`` (a hold came in between) is written once, over an empty field.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=24)
    why = models.CharField(max_length=10)
    subject = models.CharField(max_length=120)
    words = models.CharField(max_length=200)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="deletions")
    evidence = models.ForeignKey(
        Evidence, on_delete=models.PROTECT, null=True, blank=True, related_name="deletions"
    )
    packet = models.ForeignKey(
        Packet, on_delete=models.PROTECT, null=True, blank=True, related_name="deletions"
    )
    sha256 = models.CharField(max_length=64, blank=True, default="")
    size_bytes = models.PositiveBigIntegerField(null=True, blank=True)
    rule = models.CharField(max_length=200)
    due_on = models.DateField()
    plan_sha256 = models.CharField(max_length=64)
    decided_at = models.DateTimeField()
    decided_by = models.CharField(max_length=120)
    removed_at = models.DateTimeField(null=True, blank=True)
    stopped_at = models.DateTimeField(null=True, blank=True)
    stopped_because = models.CharField(max_length=200, blank=True, default="")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=("organisation", "subject"),
                condition=models.Q(stopped_at__isnull=True),
                name="deletion_of_subject_once",
            ),
            models.CheckConstraint(
                condition=models.Q(removed_at__isnull=True) | models.Q(stopped_at__isnull=True),
                name="deletion_removed_or_stopped",
            ),
            models.CheckConstraint(condition=models.Q(why__in=("retention", "erasure")), name="deletion_why"),
        ]
        indexes: ClassVar = [
            models.Index(fields=("organisation", "sha256"), name="deletion_of_bytes"),
            models.Index(fields=("organisation", "plan_sha256"), name="deletion_of_plan"),
        ]

    def __str__(self) -> str:
        return self.subject
