"""Pass phrases of links: kept as Argon2id, tries counted before they are compared, shut in the end."""

from datetime import datetime, timedelta
from functools import cache
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError
from django.db import transaction
from django.db.models import F

from jobs.errors import NotAllowed
from jobs.ledger.append import append
from jobs.models import AccessGrant, ShareLink
from jobs.services.values import refused

# Project defaults: five tries, then a quarter of an hour; a link at which 50 were wrong is shut for good.
MOST_TRIES: Final = 5
LOCKED_FOR: Final = timedelta(minutes=15)
MOST_IN_ALL: Final = 50
SHORTEST: Final = 8
LONGEST: Final = 200
# A small machine must bear several at once: 19 MiB, two passes, one lane (OWASP's least for Argon2id, from
# memory).
MEMORY_KIB: Final = 19_456


@cache
def _hasher() -> PasswordHasher:
    return PasswordHasher(time_cost=2, memory_cost=MEMORY_KIB, parallelism=1)


def hash_passphrase(phrase: str) -> str:
    """The Argon2id hash in its usual text form. ``Refused`` ``passphrase_short`` (8 to 200 characters)."""
    if not SHORTEST <= len(phrase) <= LONGEST:
        raise refused(
            "passphrase_short", "passphrase", f"A pass phrase has {SHORTEST} to {LONGEST} characters."
        )
    return _hasher().hash(phrase)


def check_passphrase(*, link: ShareLink, as_of: datetime, phrase: str) -> None:
    """Lets a holder of the link go on if the pass phrase is right.

    A try is counted in a transaction of its own before it is compared, so that tries sent at the same moment
    cannot share one count.

    Raises:
        NotAllowed: ``passphrase_wrong`` (extra ``tries_left``) or ``passphrase_locked`` (extra ``until``).
    """
    counted = _count_try(link, as_of)
    if counted is None:
        raise NotAllowed("passphrase_locked", "Too many wrong tries. Wait a quarter of an hour.")
    try:
        _hasher().verify(counted.passphrase_hash, phrase[: LONGEST + 1])
    except VerificationError as error:
        _tell_of_wrong_tries(counted, as_of)
        left = max(MOST_TRIES - counted.wrong_tries, 0)
        raise NotAllowed("passphrase_wrong", "That is not the pass phrase.", tries_left=left) from error
    ShareLink.objects.filter(pk=link.pk).update(
        wrong_tries=0, all_wrong_tries=F("all_wrong_tries") - 1, locked_until=None
    )


@transaction.atomic
def _count_try(link: ShareLink, as_of: datetime) -> ShareLink | None:
    """The link with this try counted as if it were wrong; None while it is locked."""
    row = ShareLink.objects.select_for_update().get(pk=link.pk)
    if row.locked_until is not None and row.locked_until > as_of:
        return None
    row.wrong_tries = (0 if row.locked_until is not None else row.wrong_tries) + 1
    row.all_wrong_tries += 1
    row.locked_until = as_of + LOCKED_FOR if row.wrong_tries >= MOST_TRIES else None
    row.save(update_fields=("wrong_tries", "all_wrong_tries", "locked_until"))
    return row


@transaction.atomic
def _tell_of_wrong_tries(row: ShareLink, as_of: datetime) -> None:
    """A log entry for each time of waiting; a link at which too many were wrong is shut."""
    if row.locked_until is None:
        return
    shut = row.all_wrong_tries >= MOST_IN_ALL
    if shut:
        ended = {"revoked_at": as_of, "revoked_why": "wrong_tries"}
        ShareLink.objects.filter(pk=row.pk, revoked_at__isnull=True).update(**ended)
        AccessGrant.objects.filter(link=row.pk, revoked_at__isnull=True).update(**ended)
    append(
        organisation=row.organisation,
        at=as_of,
        who=f"link/{row.pk}",
        device="",
        what="link.shut" if shut else "link.locked",
        target=f"link/{row.pk}",
        detail={"wrong_tries": row.all_wrong_tries},
    )
