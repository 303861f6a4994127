"""API tokens: shown once, stored as a prefix and a hash; and the record of answers for repeated requests."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.device import Device
from jobs.models.places import Location
from jobs.models.tenancy import TenantModel


class ApiToken(TenantModel):
    """A credential bound to an organisation, a person, scopes, and optionally one location and one device.

    ``prefix`` finds the row, ``sha256`` of the whole token proves it.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=120)
    prefix = models.CharField(max_length=16, unique=True)
    sha256 = models.CharField(max_length=64)
    scopes = models.JSONField(default=list)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="api_tokens")
    location = models.ForeignKey(Location, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    device = models.ForeignKey(Device, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    def __str__(self) -> str:
        return self.prefix


class IdempotencyRecord(TenantModel):
    """The answer to one request of one caller under one key; ``status`` is empty while the first still runs.

    ``request_sha256`` covers method, path and body: the same key with another request is refused.
    """

    id = models.BigAutoField(primary_key=True)
    caller = models.CharField(max_length=80)
    key = models.CharField(max_length=200)
    method = models.CharField(max_length=8)
    path = models.CharField(max_length=300)
    request_sha256 = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True, blank=True)
    headers = models.JSONField(default=dict, blank=True)
    body = models.BinaryField(default=b"", blank=True)
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=("organisation", "caller", "key"), name="idempotency_key_once_per_caller"
            )
        ]
        indexes: ClassVar = [models.Index(fields=("started_at",), name="idempotency_by_age")]
