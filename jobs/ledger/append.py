"""The only writer of the log: one entry at its end, inside the caller's transaction."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import IntegrityError, connection, transaction
from django.db.transaction import TransactionManagementError

from jobs.ledger.chain import START, link_bytes
from jobs.ledger.entry import Entry, detail_text, instant_text
from jobs.models import LedgerHead, LogEntry, Organisation, unscoped


def append(  # noqa: PLR0913 - these seven are the entry itself; a dataclass would only repeat their names
    *,
    organisation: Organisation,
    at: datetime,
    who: str,
    device: str,
    what: str,
    target: str,
    detail: Mapping[str, Any],
) -> LogEntry:
    """Adds one entry to the organisation's log; it is committed or undone together with the caller's work.

    Writers of one organisation queue on its head row (SQLite: on the database), so ``n`` has no gap and the
    chain no fork. The lock is held until the caller's transaction ends: call it last.

    Args:
        organisation: whose log.
        at: server time of the act (UTC).
        who: login of the person, or the name of the program's own part.
        device: id of the device the act came from; empty for the program itself.
        what: ``noun.verb`` in the past tense, for example ``evidence.added``.
        target: what it was done to, for example a job number or a row id.
        detail: JSON-able facts; ids and hashes rather than personal data.

    Raises:
        rules.canonical.CanonicalError: ``detail`` has no canonical form.
        django.db.transaction.TransactionManagementError: called outside a transaction.
    """
    if not connection.in_atomic_block:
        raise TransactionManagementError("an entry is appended inside the transaction of what it tells")
    with unscoped():
        head = _locked_head(organisation)
        entry = Entry(
            organisation=str(organisation.pk),
            n=head.n + 1,
            at=instant_text(at),
            who=who,
            device=device,
            what=what,
            target=target,
            detail=detail_text(detail),
        )
        prev = head.hash or START
        row = LogEntry(
            organisation=organisation,
            n=entry.n,
            at=entry.at,
            who=entry.who,
            device=entry.device,
            what=entry.what,
            target=entry.target,
            detail=entry.detail,
            prev=prev,
            hash=link_bytes(prev, entry.canonical()),
        )
        row.save(force_insert=True)
        LedgerHead.objects.filter(pk=organisation.pk).update(n=row.n, hash=row.hash)
    return row


def _locked_head(organisation: Organisation) -> LedgerHead:
    locked = LedgerHead.objects.select_for_update().filter(pk=organisation.pk)
    head = locked.first()
    if head is None:
        try:
            # A savepoint of its own: of two first writers one loses here and then waits for the other's row.
            with transaction.atomic():
                LedgerHead(organisation=organisation, n=0, hash="").save(force_insert=True)
        except IntegrityError:
            pass
        head = locked.get()
    return head
