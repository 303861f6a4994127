"""Keys of people: drawn when a packet first needs one, handed to building, destroyed to erase a person."""

import secrets
from collections.abc import Iterable
from datetime import datetime
from typing import Final

from django.db import transaction

from jobs.access import Actor
from jobs.errors import Conflict
from jobs.ledger.append import append
from jobs.models import Organisation, PersonKey, scope
from jobs.packets.people import subjects_of
from jobs.packets.source import PacketSource

KEY_BYTES: Final = 32
PROGRAM: Final = "privacy"


def keys_for(*, organisation: Organisation, subjects: Iterable[str], as_of: datetime) -> dict[str, bytes]:
    """The key of each subject (see ``jobs.packets.people``), drawn now where there is none yet.

    Raises:
        Conflict: ``person_key_destroyed``: one of them was erased; nothing new is made about that person.
    """
    wanted = sorted(set(subjects))
    with scope(organisation.pk), transaction.atomic():
        known = set(PersonKey.objects.filter(subject__in=wanted).values_list("subject", flat=True))
        PersonKey.objects.bulk_create(
            (
                PersonKey(
                    organisation=organisation,
                    subject=subject,
                    key=secrets.token_bytes(KEY_BYTES),
                    created_at=as_of,
                )
                for subject in wanted
                if subject not in known
            ),
            # Another worker may draw the same key at this moment: the first one counts, for both.
            ignore_conflicts=True,
        )
        rows = {row.subject: row for row in PersonKey.objects.filter(subject__in=wanted)}
    gone = [subject for subject in wanted if rows[subject].key is None]
    if gone:
        raise Conflict(
            "person_key_destroyed",
            "A person of this record was erased; no packet can be made of it any more.",
            subjects=gone,
        )
    return {subject: bytes(rows[subject].key or b"") for subject in wanted}


def keys_of_source(
    *, organisation: Organisation, source: PacketSource, as_of: datetime
) -> dict[str, bytes] | None:
    """The keys that building this packet needs; None where it needs none (redacted, or of the first form).

    Raises:
        Conflict: ``person_key_destroyed``.
    """
    if source.form < 2 or source.redaction is not None:
        return None
    return keys_for(organisation=organisation, subjects=subjects_of(source), as_of=as_of)


def is_destroyed(*, organisation: Organisation, subject: str) -> bool:
    """Whether the subject was erased."""
    with scope(organisation.pk):
        return PersonKey.objects.filter(subject=subject, destroyed_at__isnull=False).exists()


@transaction.atomic
def destroy(*, organisation: Organisation, subject: str, as_of: datetime, actor: Actor | None = None) -> bool:
    """Destroys a key for ever, logged; a subject that has none yet gets none from now on.

    What packets hold about the person can no longer be guessed from leaves; roots and the log still check.

    Returns:
        False where it was destroyed before.
    """
    with scope(organisation.pk):
        PersonKey.objects.bulk_create(
            [
                PersonKey(
                    organisation=organisation,
                    subject=subject,
                    key=secrets.token_bytes(KEY_BYTES),
                    created_at=as_of,
                )
            ],
            ignore_conflicts=True,
        )
        moved = PersonKey.objects.filter(subject=subject, destroyed_at__isnull=True).update(
            key=None, destroyed_at=as_of
        )
    if moved != 1:
        return False
    append(
        organisation=organisation,
        at=as_of,
        who=actor.person.login if actor is not None else PROGRAM,
        device=str(actor.device.pk) if actor is not None and actor.device is not None else "",
        what="person_key.destroyed",
        target=subject,
        detail={"subject": subject},
    )
    return True
