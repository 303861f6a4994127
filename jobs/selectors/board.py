"""The morning board: for each location, which jobs are open, which are held and why, worst first."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db.models import Count, Q

from jobs.access import Actor, jobs_for, locations_for
from jobs.models import OPEN_STATES

# Left against hold first, then what is shown to be wrong, then what is not shown.
_VERDICT_ORDER: Final = {"not_met": 0, "not_shown": 1, "": 2, "met": 3}


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardJob:
    """One open job, or one that left against hold."""

    id: UUID
    number: str
    vehicle: str
    state: str
    verdict: str
    disposition: str
    held_because: tuple[str, ...]
    ready_at: datetime | None
    opened_at: datetime
    left_against_hold: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardLocation:
    """One location with its counts; ``reasons`` counts open jobs by the first reason that holds them."""

    code: str
    name: str
    tz: str
    open_count: int
    held_count: int
    left_against_hold_count: int
    reasons: tuple[tuple[str, int], ...]
    jobs: tuple[BoardJob, ...]


def board_for(actor: Actor, *, jobs_per_location: int = 50) -> tuple[BoardLocation, ...]:
    """The board of the actor's locations, by code, in three queries whatever their number.

    Args:
        jobs_per_location: so many of a location's jobs are listed, the most serious first; counts are of all.
    """
    here = jobs_for(actor).filter(Q(state__in=OPEN_STATES) | Q(left_against_hold=True, state="delivered"))
    by_reason = (
        here.filter(state__in=OPEN_STATES)
        .order_by()
        .values("location_id", "disposition", "hold_reason")
        .annotate(count=Count("pk"))
    )
    counts: dict[UUID, list[tuple[str, str, int]]] = {}
    for row in by_reason:
        entry = (row["disposition"], row["hold_reason"], row["count"])
        counts.setdefault(row["location_id"], []).append(entry)
    listed: dict[UUID, list[BoardJob]] = {}
    for job in here.order_by("opened_at", "pk"):
        vehicle = job.order.vehicle
        listed.setdefault(job.location_id, []).append(
            BoardJob(
                id=job.pk,
                number=job.number,
                vehicle=f"{vehicle.make} {vehicle.model} {vehicle.model_year}",
                state=job.state,
                verdict=job.verdict,
                disposition=job.disposition,
                held_because=tuple(job.held_because),
                ready_at=job.ready_at,
                opened_at=job.opened_at,
                left_against_hold=job.left_against_hold,
            )
        )
    return tuple(
        _location(
            location.code,
            location.name,
            location.tz,
            counts.get(location.pk, []),
            sorted(listed.get(location.pk, []), key=_consequence),
            jobs_per_location,
        )
        for location in locations_for(actor)
    )


def _location(
    code: str,
    name: str,
    tz: str,
    counts: list[tuple[str, str, int]],
    jobs: list[BoardJob],
    limit: int,
) -> BoardLocation:
    reasons: dict[str, int] = {}
    for disposition, reason, count in counts:
        if disposition == "hold":
            reasons[reason] = reasons.get(reason, 0) + count
    return BoardLocation(
        code=code,
        name=name,
        tz=tz,
        open_count=sum(count for _, _, count in counts),
        held_count=sum(reasons.values()),
        left_against_hold_count=sum(1 for job in jobs if job.left_against_hold),
        reasons=tuple(sorted(reasons.items(), key=lambda item: (-item[1], item[0]))),
        jobs=tuple(jobs[:limit]),
    )


def _consequence(job: BoardJob) -> tuple[bool, int, datetime]:
    return not job.left_against_hold, _VERDICT_ORDER[job.verdict], job.opened_at
