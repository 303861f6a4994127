"""Access given to people outside the organisation, and every download that came of it."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.job import Job
from jobs.models.packet import Packet
from jobs.models.tenancy import TenantModel


class AccessGrant(TenantModel):
    """One packet (or job) shown to one person until ``until``; ``sections`` empty means all of it.

    ``organisation`` is the one that gives; ``to_person`` may belong to another.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    packet = models.ForeignKey(Packet, on_delete=models.PROTECT, null=True, blank=True, related_name="grants")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="grants")
    to_person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="grants"
    )
    to_email = models.EmailField(blank=True, default="")
    purpose = models.CharField(max_length=16)
    sections = models.JSONField(default=list, blank=True)
    redactions = models.JSONField(default=list, blank=True)
    valid_from = models.DateTimeField()
    until = models.DateTimeField()
    max_downloads = models.PositiveIntegerField(null=True, blank=True)
    downloads = models.PositiveIntegerField(default=0)
    granted_at = models.DateTimeField()
    granted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(packet__isnull=False) | models.Q(job__isnull=False),
                name="grant_is_of_something",
            ),
            models.CheckConstraint(
                condition=models.Q(to_person__isnull=False) | ~models.Q(to_email=""),
                name="grant_is_to_somebody",
            ),
            models.CheckConstraint(
                condition=models.Q(valid_from__lt=models.F("until")), name="grant_has_a_span"
            ),
            models.CheckConstraint(
                condition=models.Q(max_downloads__isnull=True)
                | models.Q(downloads__lte=models.F("max_downloads")),
                name="grant_downloads_within_limit",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    purpose__in=("insurer_audit", "owner_copy", "discovery", "sublet", "internal")
                ),
                name="grant_purpose",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=("to_person", "until"), name="grant_of_person")]


class PacketDownload(TenantModel):
    """Somebody took a packet: who, when, and which bytes they got."""

    id = models.BigAutoField(primary_key=True)
    packet = models.ForeignKey(Packet, on_delete=models.PROTECT, related_name="packet_downloads")
    grant = models.ForeignKey(
        AccessGrant, on_delete=models.PROTECT, null=True, blank=True, related_name="packet_downloads"
    )
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    downloaded_at = models.DateTimeField()
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    request_id = models.CharField(max_length=64, blank=True, default="")
