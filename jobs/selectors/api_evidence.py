"""Evidence of one job as the API lists it."""

from django.db.models import QuerySet

from jobs.models import Evidence, Job


def list_evidence(job: Job, *, kind: str | None = None, stage: str | None = None) -> QuerySet[Evidence]:
    """Evidence rows of a job, set-aside ones among them, with instrument, person and session joined."""
    rows = Evidence.objects.filter(job=job).select_related("instrument", "captured_by", "session")
    if kind is not None:
        rows = rows.filter(kind=kind)
    if stage is not None:
        rows = rows.filter(stage=stage)
    return rows
