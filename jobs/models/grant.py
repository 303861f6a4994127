"""Access given to people outside, by person or by link, and every download that came of it."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.job import Job
from jobs.models.packet import Packet
from jobs.models.tenancy import TenantModel

PURPOSES = ("insurer_audit", "owner_copy", "discovery", "sublet", "internal")
# Parts that a grant can be limited to; page 1, what is withheld and later additions always come along.
SECTIONS = (
    "required",
    "vehicle",
    "procedures",
    "people",
    "waivers",
    "time_line",
    "evidence",
    "computations",
    "log",
    "packs",
)
# Why a grant ended before its time: somebody asked for it, or what its giver chose beforehand came true.
REVOKED_WHY = ("", "asked", "superseded", "sharer_left", "evidence_flagged", "wrong_tries")


class ShareLink(TenantModel):
    """A door without a sign-in: whoever holds the token sees the packets granted through it.

    The token, 256 random bits, is shown once; here lies its SHA-256 alone, which also finds the row. Each
    packet of the link is an ``AccessGrant`` of its own with the same end.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    token_sha256 = models.CharField(max_length=64, unique=True)
    to_name = models.CharField(max_length=80)
    to_company = models.CharField(max_length=80)
    purpose = models.CharField(max_length=16)
    valid_from = models.DateTimeField()
    until = models.DateTimeField()
    passphrase_hash = models.CharField(max_length=160, blank=True, default="")
    wrong_tries = models.PositiveSmallIntegerField(default=0)
    all_wrong_tries = models.PositiveIntegerField(default=0)
    locked_until = models.DateTimeField(null=True, blank=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    revoked_why = models.CharField(max_length=20, blank=True, default="")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(valid_from__lt=models.F("until")), name="link_has_a_span"
            ),
            models.CheckConstraint(condition=models.Q(purpose__in=PURPOSES), name="link_purpose"),
            models.CheckConstraint(condition=models.Q(revoked_why__in=REVOKED_WHY), name="link_revoked_why"),
        ]

    @property
    def recipient(self) -> str:
        return f"link for {self.to_name} at {self.to_company}"


class AccessGrant(TenantModel):
    """One packet (or job) shown to one person or through one link until ``until``.

    ``sections`` empty means all of it. ``organisation`` is the one that gives; ``to_person`` may belong to
    another. The three ``ends_when_`` are the giver's choice; they hold as soon as they are true, before
    anybody writes it down (``jobs.access.holding``).
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    packet = models.ForeignKey(Packet, on_delete=models.PROTECT, null=True, blank=True, related_name="grants")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="grants")
    to_person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="grants"
    )
    to_email = models.EmailField(blank=True, default="")
    link = models.ForeignKey(
        ShareLink, on_delete=models.PROTECT, null=True, blank=True, related_name="grants"
    )
    purpose = models.CharField(max_length=16)
    sections = models.JSONField(default=list, blank=True)
    redactions = models.JSONField(default=list, blank=True)
    valid_from = models.DateTimeField()
    until = models.DateTimeField()
    max_downloads = models.PositiveIntegerField(null=True, blank=True)
    downloads = models.PositiveIntegerField(default=0)
    ends_when_superseded = models.BooleanField(default=False)
    ends_when_sharer_leaves = models.BooleanField(default=False)
    ends_when_evidence_flagged = models.BooleanField(default=False)
    granted_at = models.DateTimeField()
    granted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    revoked_why = models.CharField(max_length=20, blank=True, default="")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(packet__isnull=False) | models.Q(job__isnull=False),
                name="grant_is_of_something",
            ),
            models.CheckConstraint(
                condition=models.Q(to_person__isnull=False)
                | ~models.Q(to_email="")
                | models.Q(link__isnull=False),
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
            models.CheckConstraint(condition=models.Q(purpose__in=PURPOSES), name="grant_purpose"),
            models.CheckConstraint(condition=models.Q(revoked_why__in=REVOKED_WHY), name="grant_revoked_why"),
            models.UniqueConstraint(
                fields=("organisation", "link", "packet"),
                condition=models.Q(link__isnull=False),
                name="grant_once_per_link_and_packet",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=("to_person", "until"), name="grant_of_person")]

    @property
    def recipient(self) -> str:
        """Whom copies are made for, in the words that their foot says."""
        if self.link is not None:
            return self.link.recipient
        if self.to_person is None:
            return self.to_email
        return f"{self.to_person.organisation.name}, {self.to_person.name}"


class PacketDownload(TenantModel):
    """Somebody asked for a packet and it was counted: who, when, from where, and which bytes they were given.

    ``person`` is empty for a link. ``copy`` names the copy that is kept for a while so that an interrupted
    download can go on. ``ip`` is the only column that may change: it is shortened when it gets old.
    """

    id = models.BigAutoField(primary_key=True)
    packet = models.ForeignKey(Packet, on_delete=models.PROTECT, related_name="packet_downloads")
    grant = models.ForeignKey(
        AccessGrant, on_delete=models.PROTECT, null=True, blank=True, related_name="packet_downloads"
    )
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    downloaded_at = models.DateTimeField()
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    form = models.CharField(max_length=6, default="pdf")
    request_id = models.CharField(max_length=64, blank=True, default="")
    recipient = models.CharField(max_length=260, blank=True, default="")
    ip = models.GenericIPAddressField(null=True, blank=True)
    user_agent = models.CharField(max_length=300, blank=True, default="")
    copy = models.UUIDField(null=True, blank=True, unique=True)
    copy_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(person__isnull=False) | models.Q(grant__isnull=False),
                name="download_is_somebodys",
            ),
            models.CheckConstraint(condition=models.Q(form__in=("pdf", "bundle")), name="download_form"),
        ]
        indexes: ClassVar = [models.Index(fields=("packet", "downloaded_at"), name="download_of_packet")]


class CopyTransfer(TenantModel):
    """One stretch of a copy that was really sent: from which byte, how many, whether its end was reached."""

    id = models.BigAutoField(primary_key=True)
    download = models.ForeignKey(PacketDownload, on_delete=models.PROTECT, related_name="transfers")
    at = models.DateTimeField()
    first_byte = models.PositiveBigIntegerField()
    sent_bytes = models.PositiveBigIntegerField()
    complete = models.BooleanField()
    stopped = models.BooleanField(default=False)
    ip = models.GenericIPAddressField(null=True, blank=True)
    user_agent = models.CharField(max_length=300, blank=True, default="")


class LinkMiss(models.Model):
    """How often an address knocked at links that are not there, per minute: for the throttle, kept two hours.

    Of no organisation: an unknown token names none. ``source`` is empty for the count of all addresses.
    """

    id = models.BigAutoField(primary_key=True)
    source = models.CharField(max_length=45, blank=True, default="")
    minute = models.DateTimeField()
    count = models.PositiveIntegerField(default=0)
    told = models.BooleanField(default=False)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("source", "minute"), name="link_miss_once_per_minute")
        ]
        indexes: ClassVar = [models.Index(fields=("minute",), name="link_miss_by_age")]
