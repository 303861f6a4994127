"""Keys of people: without a person's key nobody can tell what a withheld leaf about him or her holds."""

import uuid
from typing import ClassVar

from django.db import models

from jobs.models.tenancy import TenantModel


class PersonKey(TenantModel):
    """32 random bytes for one subject (``customer/<job id>`` or ``person/<person id>``).

    Drawn once, when a packet first needs it, and never changed. Destroyed: ``key`` is None for ever and
    ``destroyed_at`` says since when; the row stays, so that no new key is drawn for the same subject.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    subject = models.CharField(max_length=80)
    key = models.BinaryField(max_length=32, null=True, blank=True)
    created_at = models.DateTimeField()
    destroyed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "subject"), name="person_key_once"),
            models.CheckConstraint(
                condition=models.Q(key__isnull=False, destroyed_at__isnull=True)
                | models.Q(key__isnull=True, destroyed_at__isnull=False),
                name="person_key_there_or_destroyed",
            ),
        ]

    def __str__(self) -> str:
        return self.subject
