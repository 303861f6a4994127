"""Cautions of ``manage.py check --deploy`` about signing keys: who has none, whose certificate ends soon."""

from collections.abc import Iterable, Iterator
from datetime import timedelta
from typing import Any, Final

from cryptography import x509
from django.apps import apps
from django.core.checks import CheckMessage, Tags, register
from django.core.checks import Warning as Caution
from django.db import DatabaseError

from jobs.moment import now

# Organisations of these kinds seal packets.
SEALING_KINDS: Final = ("repair_group", "single_shop", "sublet")
SOON: Final = timedelta(days=60)


@register(Tags.security, deploy=True)
def check_signing_keys(app_configs: Any, **options: Any) -> list[CheckMessage]:
    """``jobs.W001``: no signing key; ``jobs.W002``: its certificate ends within 60 days or has ended."""
    try:
        return list(_cautions())
    except DatabaseError:
        # Without a database (an image that is being built) there is nobody to ask for.
        return []


def _cautions() -> Iterator[CheckMessage]:
    identities: Any = apps.get_model("jobs", "SigningIdentity")
    organisations: Iterable[Any] = apps.get_model("jobs", "Organisation").objects.filter(
        kind__in=SEALING_KINDS
    )
    in_use = {row.organisation_id: row for row in identities._base_manager.filter(retired_at__isnull=True)}
    for organisation in organisations:
        row = in_use.get(organisation.pk)
        if row is None:
            yield Caution(
                f"{organisation.name} has no signing key: its packets are sealed without a signature.",
                hint="manage.py signing_key add, or signing_key token",
                id="jobs.W001",
            )
            continue
        ends = x509.load_der_x509_certificate(bytes(row.certificate)).not_valid_after_utc
        if ends <= now() + SOON:
            yield Caution(
                f"The certificate of {organisation.name}'s signing key ends on {ends:%Y-%m-%d}.",
                hint="Put a new key in use before that day.",
                id="jobs.W002",
            )
