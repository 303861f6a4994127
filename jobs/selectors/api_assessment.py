"""The latest judgement of a job, and whether a newer one is under way."""

import json

from jobs.errors import NotFound
from jobs.models import Assessment, AssessmentRun, Job
from rules.canonical import from_plain
from rules.result import Assessment as Judgement


def latest_assessment(job: Job) -> Assessment:
    """The finished judgement with the latest gate instant.

    Raises:
        NotFound: the job was never judged.
    """
    found = Assessment.objects.filter(job=job).order_by("-gate_at", "-computed_at").first()
    if found is None:
        raise NotFound()
    return found


def judged(row: Assessment) -> Judgement:
    """The stored judgement read back."""
    return from_plain(Judgement, json.loads(row.result))


def is_pending(job: Job) -> bool:
    """Whether a request for judgement waits or is being worked on: what is shown may soon be replaced."""
    return AssessmentRun.objects.filter(job=job, state__in=("waiting", "running")).exists()
