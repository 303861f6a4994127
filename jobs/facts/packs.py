"""The packs an organisation has on file, read from their exact bytes."""

from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache

from django.db.models import Q

from jobs.models import Organisation, PackEditionOnFile
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
    return _set_of(_published(organisation))


def pack_set_at(organisation: Organisation, at: datetime) -> PackSet:
    """The same as it stood at ``at``: without what was published or withdrawn later.

    Where no instant of a withdrawal is stored, its day is all that is known of it, and it counts.
    """
    rows = [row for row in _published(organisation) if row.published_at is None or row.published_at <= at]
    return _set_of(rows, withdrawn_by=at)


def _published(organisation: Organisation) -> Iterable[PackEditionOnFile]:
    rows = PackEditionOnFile.objects.filter(~Q(state="draft"), organisation=organisation)
    return rows.order_by("pack", "edition")


def _set_of(rows: Iterable[PackEditionOnFile], withdrawn_by: datetime | None = None) -> PackSet:
    kept = list(rows)
    return PackSet(
        editions=tuple(edition_of(row) for row in kept),
        withdrawn_on={
            (row.pack, row.edition): row.withdrawn_on
            for row in kept
            if row.withdrawn_on is not None
            and (withdrawn_by is None or row.withdrawn_at is None or row.withdrawn_at <= withdrawn_by)
        },
    )
