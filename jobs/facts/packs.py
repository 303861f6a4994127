"""The packs an organisation has on file, read from their exact bytes."""

from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache

from django.db.models import Q

from jobs.models import Organisation, PackEditionOnFile
from rules.departure import departure
from rules.facts import JobFacts, facts_held_at
from rules.packs.model import PackEdition, PackSet
from rules.packs.reader import read_pack


@lru_cache(maxsize=64)
def _read(sha256: str, source: bytes, name: str) -> PackEdition:
    """One edition, read once per process: the bytes and their hash are the key."""
    return read_pack(source, name=name)


def edition_of(row: PackEditionOnFile) -> PackEdition:
    """The edition in the bytes of the row; ``PackError`` where they are none (a draft may be anything)."""
    return _read(row.sha256, bytes(row.source), f"{row.pack} {row.edition}")


def pack_set(organisation: Organisation) -> PackSet:
    """All published editions, superseded and withdrawn ones too: each governs what it governed."""
    rows = list(_published(organisation))
    return _set_of(rows, rows)


def pack_set_at(organisation: Organisation, at: datetime) -> PackSet:
    """The same as it stood at ``at``: without what was published or withdrawn later."""
    return PackShelf(organisation).at(at)


def pack_set_for(
    organisation: Organisation, facts: JobFacts, gate_at: datetime, *, known_at: datetime | None = None
) -> PackSet:
    """The packs that judge a job at ``gate_at``: once its car has left, as they stood when it left.

    A text published or withdrawn after that, even on the same day, was nobody's to follow: it must not turn
    what was released into a car that left against hold.

    Args:
        known_at: as they stood then, for a car that is still here; None: as they stand now.
    """
    left = departure(facts_held_at(facts, gate_at))
    if left is not None:
        return pack_set_at(organisation, min(left.high, known_at or gate_at))
    return pack_set(organisation) if known_at is None else pack_set_at(organisation, known_at)


class PackShelf:
    """All published editions of one organisation, read once, as they stood at any instant."""

    def __init__(self, organisation: Organisation) -> None:
        self._rows = list(_published(organisation))
        self._made: dict[tuple[object, ...], PackSet] = {}

    def at(self, at: datetime) -> PackSet:
        """The packs as they stood then: the same object for the same state.

        Where no instant of a withdrawal is stored, its day is all that is known of it, and it counts.
        """
        rows = [row for row in self._rows if row.published_at is None or row.published_at <= at]
        withdrawn = [row for row in rows if row.withdrawn_at is None or row.withdrawn_at <= at]
        key = (*(row.pk for row in rows), None, *(row.pk for row in withdrawn))
        if key not in self._made:
            self._made[key] = _set_of(rows, withdrawn)
        return self._made[key]


def _published(organisation: Organisation) -> Iterable[PackEditionOnFile]:
    rows = PackEditionOnFile.objects.filter(~Q(state="draft"), organisation=organisation)
    return rows.order_by("pack", "edition")


def _set_of(rows: list[PackEditionOnFile], withdrawn: list[PackEditionOnFile]) -> PackSet:
    return PackSet(
        editions=tuple(edition_of(row) for row in rows),
        withdrawn_on={
            (row.pack, row.edition): row.withdrawn_on for row in withdrawn if row.withdrawn_on is not None
        },
    )
