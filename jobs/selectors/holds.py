"""Which jobs a legal hold covers now: those it names, and those that fit its query, later ones too."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from jobs.access import Actor, jobs_for
from jobs.models import Job, LegalHold, Location, Organisation, scope

QUERY_FIELDS = ("vin", "claim_number", "locations", "opened_from", "opened_to")


def standing_holds(organisation: Organisation) -> QuerySet[LegalHold]:
    """Holds that were not lifted, the oldest first; the organisation's scope is open."""
    rows = LegalHold.objects.filter(organisation=organisation, released_at__isnull=True)
    return rows.select_related("placed_by", "lift_asked_by").order_by("placed_at", "pk")


def covered_jobs(hold: LegalHold) -> QuerySet[Job]:
    """Every job that this hold covers now, lifted or not."""
    named = Q(pk__in=hold.jobs.values("pk"))
    rows = Job.objects.filter(organisation_id=hold.organisation_id)
    if not hold.query:
        return rows.filter(named)
    return rows.filter(named | fits(hold.query, hold.organisation))


def fits(query: Mapping[str, Any], organisation: Organisation) -> Q:
    """The jobs that a query means; each of its fields narrows it. Days are those of each job's own place."""
    found = Q()
    if "vin" in query:
        found &= Q(order__vehicle__vin=query["vin"])
    if "claim_number" in query:
        found &= Q(claim_number=query["claim_number"])
    if "locations" in query:
        found &= Q(location__code__in=query["locations"])
    if "opened_from" in query or "opened_to" in query:
        found &= _opened(query, organisation)
    return found


def _opened(query: Mapping[str, Any], organisation: Organisation) -> Q:
    """By zone: midnight is another instant in each."""
    zones = Location.objects.filter(organisation=organisation).values_list("tz", flat=True).distinct()
    found = Q(pk__in=[])
    for tz in zones:
        here = Q(location__tz=tz)
        if "opened_from" in query:
            here &= Q(opened_at__gte=_midnight(date.fromisoformat(query["opened_from"]), tz))
        if "opened_to" in query:
            after = date.fromisoformat(query["opened_to"]) + timedelta(days=1)
            here &= Q(opened_at__lt=_midnight(after, tz))
        found |= here
    return found


def _midnight(day: date, tz: str) -> datetime:
    return datetime.combine(day, time(), tzinfo=ZoneInfo(tz))


def held_jobs(organisation: Organisation) -> dict[UUID, tuple[UUID, ...]]:
    """Ids of all jobs under a standing hold, each with the holds that cover it."""
    found: dict[UUID, list[UUID]] = {}
    for hold in standing_holds(organisation):
        for job_id in covered_jobs(hold).values_list("pk", flat=True):
            found.setdefault(job_id, []).append(hold.pk)
    return {job_id: tuple(holds) for job_id, holds in found.items()}


def holds_over(jobs: Iterable[UUID], organisation: Organisation) -> tuple[LegalHold, ...]:
    """Standing holds that cover any of these jobs."""
    wanted = list(jobs)
    return tuple(
        hold for hold in standing_holds(organisation) if covered_jobs(hold).filter(pk__in=wanted).exists()
    )


def holds_for(actor: Actor, *, lifted: bool = True) -> tuple[LegalHold, ...]:
    """Holds that the actor may see, the newest first: all of the organisation, or those over own jobs.

    Outsiders see none.
    """
    if actor.is_outsider:
        return ()
    with scope(actor.organisation_id):
        rows = LegalHold.objects.select_related("placed_by", "lift_asked_by", "released_by")
        if not lifted:
            rows = rows.filter(released_at__isnull=True)
        listed = tuple(rows.order_by("-placed_at", "pk"))
        if actor.location_ids is None:
            return listed
        own = jobs_for(actor).values("pk")
        return tuple(
            hold
            for hold in listed
            if hold.placed_by_id == actor.person.pk or covered_jobs(hold).filter(pk__in=own).exists()
        )


def jobs_shown(actor: Actor, hold: LegalHold, *, most: int = 200) -> tuple[Job, ...]:
    """Covered jobs that the actor may see, at most so many."""
    with scope(actor.organisation_id):
        own = jobs_for(actor).filter(pk__in=covered_jobs(hold).values("pk"))
        return tuple(own.order_by("-opened_at", "pk")[:most])
