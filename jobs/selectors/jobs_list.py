"""The list of jobs with its one search box, paged by key: never by offset, and never counted."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db.models import Q, QuerySet

from jobs.access import Actor, jobs_for
from jobs.models import Job

PAGE_SIZE: Final = 50
LONGEST_SEARCH: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One page, newest first; ``after`` of the next call, or None at the end."""

    jobs: tuple[Job, ...]
    after: tuple[datetime, UUID] | None


def jobs_page(
    actor: Actor,
    *,
    search: str = "",
    state: str = "",
    after: tuple[datetime, UUID] | None = None,
    limit: int = PAGE_SIZE,
) -> Page:
    """A page of the jobs that the actor may see.

    Args:
        search: start of an order number or claim number, or the end of a VIN (at least four characters).
        state: one state of the job; empty for all.
        after: key of the last row seen.
    """
    rows = found_by(jobs_for(actor), search)
    if state:
        rows = rows.filter(state=state)
    if after is not None:
        opened_at, job_id = after
        rows = rows.filter(Q(opened_at__lt=opened_at) | Q(opened_at=opened_at, pk__lt=job_id))
    found = list(rows.order_by("-opened_at", "-pk")[: limit + 1])
    page = tuple(found[:limit])
    return Page(jobs=page, after=(page[-1].opened_at, page[-1].pk) if len(found) > limit else None)


def found_by(rows: QuerySet[Job], search: str) -> QuerySet[Job]:
    """Narrows to what one search box means; every branch is a prefix, so an index serves it."""
    text = search.strip().upper()[:LONGEST_SEARCH]
    if not text:
        return rows
    found = Q(number__startswith=text) | Q(claim_number__startswith=search.strip()[:LONGEST_SEARCH])
    if 4 <= len(text) <= 17:
        found |= Q(vin_reversed__startswith=text[::-1])
    return rows.filter(found)
