"""Recomputes a log from its rows alone and says the first thing that is wrong; imports no writer."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from jobs.ledger.chain import START, link
from jobs.ledger.entry import Entry
from jobs.models import LedgerHead, LogEntry, Organisation, unscoped
from rules.canonical import CanonicalError

PIECE = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What checking one organisation's log gave.

    ``fault`` is empty, or gap, prev, hash, unreadable, or head (head row and last entry disagree: entries
    were cut off); ``at_n`` is the number of the entry where it shows.
    """

    organisation: str
    name: str
    entries: int
    head: str
    fault: str = ""
    at_n: int | None = None

    @property
    def is_whole(self) -> bool:
        return not self.fault


def verify_organisation(organisation: Organisation) -> Report:
    """Checks numbers, chain and head of one organisation's log."""
    with unscoped():
        head = LedgerHead.objects.filter(pk=organisation.pk).first()
        rows = LogEntry.objects.filter(organisation=organisation).order_by("n").iterator(PIECE)
        last_n, last_hash, fault, at_n = _walk(rows)
    expected = (head.n, head.hash or START) if head is not None else (0, START)
    if not fault and (last_n, last_hash) != expected:
        fault, at_n = "head", last_n
    return Report(
        organisation=str(organisation.pk),
        name=organisation.name,
        entries=last_n,
        head=last_hash,
        fault=fault,
        at_n=at_n,
    )


def verify_all(only: UUID | None = None) -> tuple[Report, ...]:
    """Checks every organisation's log, or the one named."""
    organisations = Organisation.objects.order_by("name", "pk")
    if only is not None:
        organisations = organisations.filter(pk=only)
    return tuple(verify_organisation(organisation) for organisation in organisations)


def _walk(rows: Iterable[LogEntry]) -> tuple[int, str, str, int | None]:
    """Last good number and hash, then the fault and where; stops at the first fault."""
    n, prev = 0, START
    for row in rows:
        if row.n != n + 1:
            return n, prev, "gap", n + 1
        if row.prev != prev:
            return n, prev, "prev", row.n
        try:
            expected = link(prev, _entry(row).content())
        except (ValueError, CanonicalError):
            return n, prev, "unreadable", row.n
        if row.hash != expected:
            return n, prev, "hash", row.n
        n, prev = row.n, row.hash
    return n, prev, "", None


def _entry(row: LogEntry) -> Entry:
    return Entry(
        organisation=str(row.organisation_id),
        n=row.n,
        at=row.at,
        who=row.who,
        device=row.device,
        what=row.what,
        target=row.target,
        detail=row.detail,
    )
