"""Packets: what was sealed, with its hashes, stored once and never rendered again with later data."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.assessment import Assessment
from jobs.models.job import Job
from jobs.models.tenancy import TenantModel


class Packet(TenantModel):
    """A packet of one job: waiting, building, sealed or failed. The database refuses to change a sealed one.

    ``contents`` lists {path, sha256, bytes}; ``salt_key`` (32 random bytes) is drawn at the request and never
    shipped. ``source_sha256`` names the frozen input, ``pdf_sha256`` the sealed file; ``as_of`` is
    the instant the packet speaks for.
    """

    KINDS: ClassVar = ("full", "insurer", "owner", "counsel", "redacted")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="packets")
    serial = models.CharField(max_length=60)
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=10)
    state = models.CharField(max_length=8, default="waiting")
    progress = models.PositiveSmallIntegerField(default=0)
    attempts = models.PositiveSmallIntegerField(default=0)
    failure_code = models.CharField(max_length=60, blank=True, default="")
    failure_message = models.TextField(blank=True, default="")
    requested_at = models.DateTimeField()
    requested_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    assessment = models.ForeignKey(
        Assessment, on_delete=models.PROTECT, null=True, blank=True, related_name="packets"
    )
    as_of = models.DateTimeField()
    source_sha256 = models.CharField(max_length=64, blank=True, default="")
    salt_key = models.BinaryField(max_length=32)
    built_at = models.DateTimeField(null=True, blank=True)
    contents = models.JSONField(default=list, blank=True)
    manifest_sha256 = models.CharField(max_length=64, blank=True, default="")
    merkle_root = models.CharField(max_length=64, blank=True, default="")
    log_head = models.CharField(max_length=64, blank=True, default="")
    log_head_n = models.PositiveBigIntegerField(null=True, blank=True)
    pdf_sha256 = models.CharField(max_length=64, blank=True, default="")
    pdf_bytes = models.PositiveBigIntegerField(null=True, blank=True)
    supersedes = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    external_timestamp = models.BinaryField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "job", "number"), name="packet_number_once"),
            models.CheckConstraint(
                condition=models.Q(state__in=("waiting", "building", "sealed", "failed")), name="packet_state"
            ),
            models.CheckConstraint(
                condition=models.Q(kind__in=("full", "insurer", "owner", "counsel", "redacted")),
                name="packet_kind",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="sealed")
                | (models.Q(built_at__isnull=False) & ~models.Q(pdf_sha256="")),
                name="packet_sealed_is_whole",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=("organisation", "serial"), name="packet_serial")]

    def __str__(self) -> str:
        return self.serial
