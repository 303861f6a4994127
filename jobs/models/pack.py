"""Rule packs an organisation has on file, and which functions use which sensor of a model."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.tenancy import TenantModel


class PackEditionOnFile(TenantModel):
    """One edition of one pack: ``source`` is its exact text in bytes, unchangeable once it is not a draft."""

    STATES: ClassVar = ("draft", "published", "superseded", "withdrawn")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    pack = models.CharField(max_length=80)
    edition = models.PositiveIntegerField()
    title = models.CharField(max_length=200, blank=True, default="")
    source = models.BinaryField()
    sha256 = models.CharField(max_length=64)
    state = models.CharField(max_length=10, default="draft")
    in_force_from = models.DateField()
    in_force_until = models.DateField(null=True, blank=True)
    withdrawn_on = models.DateField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_reason = models.TextField(blank=True, default="")
    withdrawn_severity = models.CharField(max_length=12, blank=True, default="")
    approved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    published_at = models.DateTimeField(null=True, blank=True)
    written_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    written_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "pack", "edition"), name="pack_edition_once"),
            models.CheckConstraint(
                condition=models.Q(state__in=("draft", "published", "superseded", "withdrawn")),
                name="pack_edition_state",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pack} {self.edition}"


class PackAcknowledgement(TenantModel):
    """Somebody read one warning about one text of an edition and lets it stand.

    It belongs to ``sha256``: a draft whose text changes has to be read again.
    """

    id = models.BigAutoField(primary_key=True)
    edition_on_file = models.ForeignKey(
        PackEditionOnFile, on_delete=models.PROTECT, related_name="acknowledgements"
    )
    sha256 = models.CharField(max_length=64)
    name = models.CharField(max_length=300)
    words = models.TextField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=("organisation", "edition_on_file", "sha256", "name"), name="pack_warning_once"
            ),
        ]


class FunctionUsesSensor(TenantModel):
    """On these model years of a model, ``function`` (SAE J3063 words) needs every sensor in ``sensors``."""

    id = models.BigAutoField(primary_key=True)
    make = models.CharField(max_length=60)
    model = models.CharField(max_length=60)
    year_from = models.PositiveSmallIntegerField()
    year_to = models.PositiveSmallIntegerField()
    function = models.CharField(max_length=60)
    sensors = models.JSONField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=("organisation", "make", "model", "year_from", "function"), name="function_use_once"
            ),
            models.CheckConstraint(
                condition=models.Q(year_from__lte=models.F("year_to")), name="function_use_years"
            ),
        ]
