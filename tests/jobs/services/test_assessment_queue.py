"""Records that come in while a job is being judged: each request is answered, whatever the order."""

from datetime import timedelta

from jobs import outbox
from jobs.models import AssessmentRun, Job, OutboxEntry
from jobs.moment import machine_now
from jobs.services.assessment import perform_assessment
from jobs.services.assessment_queue import judge_soon
from jobs.tasks import ASSESS_JOB, assess_job
from tests.jobs.shop import Shop


def _waiting() -> list[OutboxEntry]:
    return list(OutboxEntry.objects.filter(task=ASSESS_JOB, state="waiting").order_by("pk"))


def _ask(shop: Shop, job: Job, hhmm: str) -> AssessmentRun:
    return judge_soon(job=job, actor=shop.actor("itolvaar"), as_of=shop.at(hhmm))


def _let_workers_empty_the_queue() -> None:
    for _ in range(10):
        OutboxEntry.objects.filter(state="waiting").update(available_at=None)
        for entry in _waiting():
            assess_job.apply(args=(entry.pk,), throw=True)


def test_requests_that_wait_are_one(shop: Shop, job: Job) -> None:
    first = AssessmentRun.objects.get(job=job)
    assert _ask(shop, job, "08:00") == first
    assert len(_waiting()) == 1
    _let_workers_empty_the_queue()
    first.refresh_from_db()
    assert (first.state, _waiting()) == ("done", [])


def test_a_record_between_lease_and_begin_does_not_swallow_the_next_request(shop: Shop, job: Job) -> None:
    """A worker has the lease and has not begun; a record joins its run; it begins; another record comes.

    The last request must get a run of its own and a row that carries it.
    """
    (row,) = _waiting()
    held = outbox.lease(row.pk, at=machine_now() + timedelta(hours=1))
    assert held is not None
    first = AssessmentRun.objects.get(job=job)
    assert _ask(shop, job, "08:00") == first
    with outbox.held(held):
        perform_assessment(run_id=first.pk, as_of=shop.at("08:01"))
    second = _ask(shop, job, "08:02")
    assert second != first
    _let_workers_empty_the_queue()
    runs = AssessmentRun.objects.filter(job=job).order_by("requested_at")
    assert [run.state for run in runs] == ["done", "done"]
    assert not OutboxEntry.objects.filter(task=ASSESS_JOB).exclude(state="done").exists()


def test_a_record_while_the_job_is_judged_gets_a_judgement_of_its_own(shop: Shop, job: Job) -> None:
    (row,) = _waiting()
    held = outbox.lease(row.pk, at=machine_now() + timedelta(hours=1))
    assert held is not None
    first = AssessmentRun.objects.get(job=job)
    AssessmentRun.objects.filter(pk=first.pk).update(state="running", gate_at=shop.at("08:00"))
    second = _ask(shop, job, "08:01")
    assert second != first
    with outbox.held(held):
        perform_assessment(run_id=first.pk, as_of=shop.at("08:02"))
    _let_workers_empty_the_queue()
    second.refresh_from_db()
    assert second.state == "done"
    assert second.assessment_id != AssessmentRun.objects.get(pk=first.pk).assessment_id
