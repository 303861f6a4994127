"""The heads of the log as they are handed outside and listed, and the comparison with one that was kept."""

from dataclasses import dataclass
from datetime import date
from typing import Final, Literal
from uuid import UUID

from jobs.ledger.tree import LogTree, size_of
from jobs.models import Organisation, OutboxEntry, TreeHead, unscoped
from jobs.work import PUBLISH_HEAD

LISTED = 60
MAIL_HEAD: Final = "jobs.mail_head"
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


def not_delivered(organisation: Organisation, head: TreeHead) -> tuple[UUID, ...]:
    """Ids of the people whom this head did not reach after all tries."""
    rows = OutboxEntry.objects.filter(
        organisation=organisation, task=MAIL_HEAD, key__startswith=f"{head.pk}/", state="dead"
    )
    return tuple(UUID(row.arguments["person"]) for row in rows.order_by("pk"))


def last_failure(organisation: Organisation, day: date) -> str:
    """Why the day's head could not be made at the last try; empty where no try failed."""
    tries = OutboxEntry.objects.filter(
        organisation=organisation, task=PUBLISH_HEAD, key__startswith=day.isoformat()
    )
    last = tries.exclude(last_error="").order_by("-pk").first()
    return "" if last is None else last.last_error
