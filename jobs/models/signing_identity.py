"""Which key an organisation signs with: where it lies and its certificate, never the key or its secret."""

import uuid
from typing import ClassVar

from django.db import models

from jobs.models.tenancy import TenantModel


class SigningIdentity(TenantModel):
    """One signing key of an organisation; at most one of them is in use, the others are retired.

    The key lies in a PKCS#12 file of the key folder (``home`` file, ``reference`` its name there) or in a
    PKCS#11 token (``home`` token, ``reference`` token label and key label with a slash between). ``secret``
    names the file that holds its pass phrase or PIN; empty for a demonstration key, which has none.
    ``certificate`` is DER, ``chain`` a list of DER certificates in hex, ``key_sha256`` the SHA-256 of the
    SubjectPublicKeyInfo. The database lets a row be retired, once, and nothing else.
    """

    HOMES: ClassVar = ("file", "token")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    home = models.CharField(max_length=5)
    reference = models.CharField(max_length=200)
    secret = models.CharField(max_length=40, blank=True, default="")
    certificate = models.BinaryField()
    chain = models.JSONField(default=list, blank=True)
    key_sha256 = models.CharField(max_length=64)
    is_demo = models.BooleanField(default=False)
    since = models.DateTimeField()
    retired_at = models.DateTimeField(null=True, blank=True)
    retired_reason = models.CharField(max_length=200, blank=True, default="")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=("organisation",),
                condition=models.Q(retired_at__isnull=True),
                name="signing_identity_one_in_use",
            ),
            models.CheckConstraint(
                condition=models.Q(home__in=("file", "token")), name="signing_identity_home"
            ),
            models.CheckConstraint(
                condition=models.Q(retired_at__isnull=True) | models.Q(retired_at__gte=models.F("since")),
                name="signing_identity_retired_after_it_began",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.home} {self.reference}"
