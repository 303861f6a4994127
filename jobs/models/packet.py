"""Packets: what was sealed, with its hashes, stored once and never rendered again with later data."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.assessment import Assessment
from jobs.models.job import Job
from jobs.models.signing_identity import SigningIdentity
from jobs.models.tenancy import TenantModel


class Packet(TenantModel):
    """A packet of one job: waiting, building, signing, sealed or failed; once sealed it changes no more.

    ``contents`` lists {path, sha256, bytes}; ``salt_key`` (32 random bytes) is drawn at the request and never
    shipped. ``source_sha256`` names the frozen input, ``body_sha256`` pages and attachments before sealing
    (``body_bytes`` long, an exact prefix of the sealed file), ``sealing_sha256`` the proof from the log,
    ``pdf_sha256`` the sealed file; ``as_of`` is the instant the packet speaks for.

    Between building and sealed a packet is ``signing``: its body stands in the log and changes no more.
    ``waits_for`` says what it waits for meanwhile; ``pades_level`` is what the file reached when signed
    (empty: no signature); ``external_timestamp`` is a time stamp (RFC 3161 token) over ``pdf_sha256``
    that was got later.
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
    body_sha256 = models.CharField(max_length=64, blank=True, default="")
    body_bytes = models.PositiveBigIntegerField(null=True, blank=True)
    sealing_sha256 = models.CharField(max_length=64, blank=True, default="")
    sealing_n = models.PositiveBigIntegerField(null=True, blank=True)
    signed_by = models.ForeignKey(
        SigningIdentity, on_delete=models.PROTECT, null=True, blank=True, related_name="packets"
    )
    signed_at = models.DateTimeField(null=True, blank=True)
    pades_level = models.CharField(max_length=8, blank=True, default="")
    waits_for = models.CharField(max_length=12, blank=True, default="")
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
                condition=models.Q(state__in=("waiting", "building", "signing", "sealed", "failed")),
                name="packet_state",
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
            models.CheckConstraint(
                condition=~models.Q(state="signing")
                | (
                    models.Q(body_bytes__isnull=False)
                    & ~models.Q(body_sha256="")
                    & ~models.Q(sealing_sha256="")
                ),
                name="packet_signing_has_its_body",
            ),
            models.CheckConstraint(
                condition=models.Q(pades_level="")
                | models.Q(signed_by__isnull=False, signed_at__isnull=False),
                name="packet_level_needs_a_signature",
            ),
            models.CheckConstraint(
                condition=models.Q(pades_level__in=("", "B-B", "B-T")), name="packet_pades_level"
            ),
            models.CheckConstraint(
                condition=models.Q(waits_for__in=("", "signing_key")), name="packet_waits_for"
            ),
        ]
        indexes: ClassVar = [models.Index(fields=("organisation", "serial"), name="packet_serial")]

    def __str__(self) -> str:
        return self.serial
