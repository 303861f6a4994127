"""The heads of the log as they are handed outside and listed, and the comparison with one that was kept."""

from dataclasses import dataclass
from typing import Literal
from uuid import UUID

from jobs.ledger.tree import LogTree, size_of
from jobs.models import Organisation, TreeHead, unscoped

LISTED = 60
Verdict = Literal["same", "differs", "shorter"]


def daily_heads(organisation_id: UUID, limit: int = LISTED) -> tuple[TreeHead, ...]:
    """The last daily heads of one organisation, the newest first; of no organisation: none."""
    with unscoped():
        rows = TreeHead.objects.filter(organisation_id=organisation_id, is_daily=True)
        return tuple(rows.select_related("previous").order_by("-pk")[:limit])


def published_size(organisation_id: UUID) -> int:
    """How many entries the newest head handed outside covers; 0 before the first."""
    with unscoped():
        rows = TreeHead.objects.filter(organisation_id=organisation_id, is_daily=True)
        newest = rows.order_by("-pk").first()
    return 0 if newest is None else newest.size


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """``same``: the log gives this root at this size; ``differs``: another; ``shorter``: fewer entries."""

    verdict: Verdict
    size: int
    entries: int


def compare(organisation: Organisation, *, size: int, root: str) -> Comparison:
    """Compares a head that somebody kept with the log as it stands now.

    Args:
        organisation: whose log.
        size: entries, 1 or more.
        root: 64 hex digits.
    """
    entries = size_of(organisation.pk)
    if size > entries:
        return Comparison(verdict="shorter", size=size, entries=entries)
    found = LogTree(organisation.pk, size).root().hex()
    verdict: Verdict = "same" if found == root else "differs"
    return Comparison(verdict=verdict, size=size, entries=entries)
