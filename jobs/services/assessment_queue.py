"""Asking for a job to be judged: one waiting request per job, however many records come in."""

from datetime import datetime, timedelta
from typing import Final

from django.db import transaction

from jobs import outbox
from jobs.access import Actor
from jobs.models import AssessmentRun, Job

TASK: Final = "jobs.assess_job"
# Records that come in together are judged together (project default).
DEBOUNCE: Final = timedelta(seconds=2)


def judge_soon(*, job: Job, actor: Actor, as_of: datetime) -> AssessmentRun:
    """Asks for a judgement shortly after ``as_of``; one that still waits is joined."""
    return ask(job=job, actor=actor, as_of=as_of, after=DEBOUNCE)


@transaction.atomic
def ask(*, job: Job, actor: Actor, as_of: datetime, after: timedelta) -> AssessmentRun:
    """The waiting request of this job, made if there is none, with its work in the outbox.

    The row is locked until the caller commits: a worker that begins this run waits for that, and so sees the
    record that asked. Without the lock a run could begin, read, and miss a record that relied on it.
    """
    run = (
        AssessmentRun.objects.select_for_update()
        .filter(job=job, state="waiting")
        .order_by("requested_at", "id")
        .first()
    )
    if run is None:
        run = AssessmentRun(
            organisation=actor.organisation, job=job, requested_at=as_of, requested_by=actor.person
        )
        run.save(force_insert=True)
    elif run.requested_at < as_of:
        AssessmentRun.objects.filter(pk=run.pk).update(requested_at=as_of)
        run.requested_at = as_of
    outbox.enqueue(
        organisation=actor.organisation,
        task=TASK,
        arguments={"run_id": str(run.pk)},
        # One row per run: under a key per job this run could join a row that carries an earlier run.s id.
        key=f"run/{run.pk}",
        at=as_of,
        after=after,
    )
    return run
