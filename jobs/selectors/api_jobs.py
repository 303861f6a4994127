"""Lists that the API pages through: orders, jobs, and the sessions and estimate lines of one job."""

from typing import Final

from django.db.models import Prefetch, QuerySet

from jobs.access import Actor, jobs_for, orders_for
from jobs.models import CLOSED_STATES, OPEN_STATES, EstimateLine, EstimateMapping, Job, RepairOrder, Session

JOB_STATES: Final = (*OPEN_STATES, *CLOSED_STATES)


def list_orders(actor: Actor) -> QuerySet[RepairOrder]:
    """Repair orders that the actor may see and whose job is open or was."""
    return orders_for(actor).filter(job__isnull=False)


def list_jobs(
    actor: Actor, *, state: str | None = None, location_code: str | None = None, number: str | None = None
) -> QuerySet[Job]:
    """Jobs that the actor may see, narrowed by state, location code and order number."""
    rows = jobs_for(actor)
    if state is not None:
        rows = rows.filter(state=state)
    if location_code is not None:
        rows = rows.filter(location__code=location_code)
    if number is not None:
        rows = rows.filter(number=number)
    return rows


def list_sessions(job: Job) -> QuerySet[Session]:
    """Sessions of a job with people, bay and tool joined; those that were ended as records are left out."""
    rows = Session.objects.filter(job=job, ended_at__isnull=True)
    return rows.select_related("bay", "tool", "performed_by", "observer")


def list_lines(job: Job) -> QuerySet[EstimateLine]:
    """Live estimate lines of a job, each with its mappings fetched, the oldest first."""
    mappings = EstimateMapping.objects.filter(ended_at__isnull=True).order_by("version")
    rows = EstimateLine.objects.filter(job=job, ended_at__isnull=True)
    return rows.prefetch_related(Prefetch("mappings", queryset=mappings))
