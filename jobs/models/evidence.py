"""Evidence files and what was derived from them: facts, photo fingerprints, slip codes, decisions."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.record import MomentField, Record
from jobs.models.session import Session
from jobs.models.tenancy import TenantModel


class Evidence(Record):
    """One file. ``sha256`` is of its exact bytes, which lie in the store under that name.

    ``number`` counts within the job. ``job`` is empty for papers of the organisation (certificates, surveys).
    ``decoded`` holds what the decoder of this kind found, as made at receipt. ``captured`` is the claimed
    capture; ``captured_how`` says where it comes from. Set aside means ended with ``set_aside``.
    """

    job = models.ForeignKey(
        "jobs.Job", on_delete=models.PROTECT, null=True, blank=True, related_name="evidences"
    )
    number = models.PositiveIntegerField(null=True, blank=True)
    kind = models.CharField(max_length=20)
    stage = models.CharField(max_length=20)
    shows = models.JSONField(default=list, blank=True)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    media_type = models.CharField(max_length=80)
    file_name = models.CharField(max_length=200, blank=True, default="")
    session = models.ForeignKey(
        Session, on_delete=models.PROTECT, null=True, blank=True, related_name="evidence_files"
    )
    sessions = models.JSONField(default=list, blank=True)
    instrument = models.ForeignKey(
        "jobs.Equipment", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    device = models.ForeignKey(
        "jobs.Device", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    captured_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    captured = MomentField()
    captured_how = models.CharField(max_length=40)
    lat = models.FloatField(null=True, blank=True)
    lon = models.FloatField(null=True, blank=True)
    accuracy_m = models.FloatField(null=True, blank=True)
    slip_code = models.CharField(max_length=200, blank=True, default="")
    decoded = models.JSONField(default=dict, blank=True)
    transcribed = models.JSONField(default=list, blank=True)
    readable = models.CharField(max_length=10, default="not_judged")
    thumbnail_sha256 = models.CharField(max_length=64, blank=True, default="")
    working_copy_sha256 = models.CharField(max_length=64, blank=True, default="")
    redaction_of = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="redactions"
    )

    class Meta(Record.Meta):
        constraints: ClassVar = [
            *Record.Meta.constraints,
            models.UniqueConstraint(
                fields=("organisation", "job", "number"),
                condition=models.Q(job__isnull=False),
                name="evidence_number_once",
            ),
            models.UniqueConstraint(
                fields=("organisation", "job", "sha256"),
                condition=models.Q(job__isnull=False),
                name="evidence_bytes_once_per_job",
            ),
            models.CheckConstraint(
                condition=models.Q(job__isnull=True, number__isnull=True)
                | models.Q(job__isnull=False, number__gte=1),
                name="evidence_number_with_job",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=("organisation", "sha256"), name="evidence_bytes")]


class PhotoHash(TenantModel):
    """The 64-bit difference hash of a photo, as 16 hex digits."""

    evidence = models.OneToOneField(
        Evidence, on_delete=models.PROTECT, primary_key=True, related_name="photo_hash"
    )
    dhash64 = models.CharField(max_length=16)


class PhotoHashBand(TenantModel):
    """One of seven bands of a photo hash: two hashes within six bits share at least one band."""

    photo = models.ForeignKey(PhotoHash, on_delete=models.PROTECT, related_name="bands")
    band = models.PositiveSmallIntegerField()
    value = models.PositiveIntegerField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "photo", "band"), name="photo_band_once")
        ]
        indexes: ClassVar = [models.Index(fields=("organisation", "band", "value"), name="photo_band")]


class PhotoDecision(Record):
    """A person looked at two pictures side by side: ``same picture`` or ``different``."""

    photo = models.ForeignKey(Evidence, on_delete=models.PROTECT, related_name="reuse_decisions")
    other = models.ForeignKey(Evidence, on_delete=models.PROTECT, related_name="+")
    decision = models.CharField(max_length=12)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")


class SlipCode(TenantModel):
    """A one-time code issued for a job at server time, to be photographed with the work."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    job = models.ForeignKey("jobs.Job", on_delete=models.PROTECT, related_name="slip_codes")
    code = models.CharField(max_length=200)
    issued_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    issued_to = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "code"), name="slip_code_once")
        ]
