"""Judging: joined requests, the gate instant, lost workers, buried runs, and what boards repeat."""

from datetime import timedelta
from typing import Any

import pytest

from jobs import outbox
from jobs.errors import Conflict, NotAllowed, Refused
from jobs.models import Assessment, AssessmentRun, Delivery, FindingRow, Job, OutboxEntry, RepairOrder
from jobs.services import assessment, delivery, estimate, fitted, release
from jobs.services.odometer import Odometer
from tests.factories import PIN, PersonFactory
from tests.jobs.shop import Shop, new_id


def ask(shop: Shop, job: Job, hhmm: str = "08:00") -> AssessmentRun:
    return assessment.request_assessment(job=job, actor=shop.actor("itolvaar"), as_of=shop.at(hhmm))


def test_who_may_ask(shop: Shop, job: Job) -> None:
    shop.people["jquell"] = PersonFactory.create(organisation=shop.organisation, roles=["auditor"])
    with pytest.raises(NotAllowed):
        assessment.request_assessment(job=job, actor=shop.actor("jquell"), as_of=shop.at("08:00"))
    assert ask(shop, job).state == "waiting"


def test_a_waiting_run_is_joined_and_a_running_one_is_not(shop: Shop, job: Job) -> None:
    first, second = ask(shop, job), ask(shop, job, "08:01")
    assert first.pk == second.pk
    AssessmentRun.objects.filter(pk=first.pk).update(state="running")
    third = ask(shop, job, "08:02")
    assert third.pk != first.pk


def test_no_run_is_left_without_work_of_its_own(shop: Shop, job: Job) -> None:
    """A record may come in after a worker took the row and before it began the run."""
    OutboxEntry.objects.update(state="done")
    AssessmentRun.objects.update(state="dead")
    first = ask(shop, job)
    (taken,) = OutboxEntry.objects.filter(state="waiting")
    assert outbox.lease(taken.pk, at=shop.at("08:00:01")) is not None
    assert ask(shop, job, "08:01").pk == first.pk
    AssessmentRun.objects.filter(pk=first.pk).update(state="running")
    later = ask(shop, job, "08:02")
    waiting = OutboxEntry.objects.filter(state="waiting")
    assert {str(first.pk), str(later.pk)} == {entry.arguments["run_id"] for entry in waiting}


def test_the_gate_is_never_before_the_last_record_that_asked(shop: Shop, job: Job) -> None:
    shop.publish("common-practice.3.yaml")
    entry = fitted.FittedEntry(id=new_id(), sensor="lidar", state="no", way="sight", at=shop.text("08:00"))
    fitted.record_fitted(job=job, actor=shop.actor("itolvaar"), as_of=shop.at("08:00:01"), entry=entry)
    run = AssessmentRun.objects.get(job=job, state="waiting")
    # The worker's clock is half a second behind the web server's.
    done = assessment.perform_assessment(run_id=run.pk, as_of=shop.at("08:00:01") - timedelta(seconds=0.5))
    assert done.gate_at == shop.at("08:00:01")


def test_a_finished_run_names_its_inputs(shop: Shop, job: Job) -> None:
    shop.publish("common-practice.3.yaml")
    run = ask(shop, job)
    done = assessment.perform_assessment(run_id=run.pk, as_of=shop.at("08:00:05"))
    kept = done.assessment
    assert kept is not None
    assert (done.state, done.progress, done.attempts) == ("done", 100, 1)
    assert (done.facts_sha256, done.packs_sha256) == (kept.facts_sha256, kept.packs_sha256)
    assert [pack[:2] for pack in kept.packs] == [["common-practice", 3]]
    places = FindingRow.objects.filter(assessment=kept).values_list("place", flat=True)
    assert sorted(places) == list(range(len(places)))
    job.refresh_from_db()
    assert (job.verdict, job.disposition, job.state) == ("not_shown", "hold", "open")
    assert job.held_because
    assert job.hold_reason


def test_an_earlier_gate_never_replaces_a_later_one(shop: Shop, job: Job) -> None:
    shop.publish("common-practice.3.yaml")
    early = ask(shop, job)
    AssessmentRun.objects.filter(pk=early.pk).update(state="running", gate_at=shop.at("08:00"))
    late = ask(shop, job, "09:00")
    done = assessment.perform_assessment(run_id=late.pk, as_of=shop.at("09:00"))
    assessment.perform_assessment(run_id=early.pk, as_of=shop.at("09:01"))
    job.refresh_from_db()
    assert job.current_assessment_id == done.assessment_id
    assert Assessment.objects.filter(job=job).count() == 2


def test_a_buried_run_stays_dead(shop: Shop, job: Job) -> None:
    run = ask(shop, job)
    assessment.bury_run(run_id=run.pk, error="x" * 3000, as_of=shop.at("08:10"))
    run.refresh_from_db()
    assert (run.state, len(run.last_error)) == ("dead", 2000)
    job.refresh_from_db()
    assert (job.verdict, job.disposition, job.hold_reason) == ("not_shown", "hold", "judging_failed")
    assert assessment.perform_assessment(run_id=run.pk, as_of=shop.at("08:11")).state == "dead"
    assert ask(shop, job, "08:12").pk != run.pk


def test_without_any_pack_nothing_is_released(shop: Shop, job: Job) -> None:
    entry = release.ReleaseEntry(id=new_id(), pin=PIN)
    with pytest.raises(Conflict) as conflict:
        release.release_job(job=job, actor=shop.actor("tachterly"), as_of=shop.at("09:00"), entry=entry)
    assert conflict.value.code == "release_not_open"


def deliver(shop: Shop, job: Job, **fields: Any) -> Delivery:
    given: dict[str, Any] = {
        "id": new_id(), "delivered_at": shop.text("10:00"), "device": shop.tablet.pk,
        "odometer_out": Odometer(value="21026", unit="km"),
    } | fields  # fmt: skip
    return delivery.deliver(
        job=job, actor=shop.actor("tachterly"), as_of=shop.at("10:01"),
        entry=delivery.DeliveryEntry(**given),
    )  # fmt: skip


def test_a_car_is_delivered_once_and_released_no_more(shop: Shop, job: Job) -> None:
    kept = deliver(shop, job)
    job.refresh_from_db()
    assert (job.state, job.delivered_at) == ("delivered", shop.at("10:00"))
    assert RepairOrder.objects.get(pk=job.order_id).odometer_out == {
        "value": "21026",
        "unit": "km",
        "resolution": "1",
    }
    runs = AssessmentRun.objects.count()
    assert deliver(shop, job, id=kept.pk).pk == kept.pk
    assert AssessmentRun.objects.count() == runs
    with pytest.raises(Conflict) as conflict:
        deliver(shop, job)
    assert conflict.value.code == "already_delivered"
    with pytest.raises(Conflict) as gone:
        release.release_job(
            job=job, actor=shop.actor("tachterly"), as_of=shop.at("10:05"),
            entry=release.ReleaseEntry(id=new_id(), pin=PIN),
        )  # fmt: skip
    assert gone.value.code == "job_gone"


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"delivered_at": "2026-05-07T10:00:00Z"}, "instant_in_future"),
        ({"odometer_out": Odometer(value="21,026", unit="km")}, "bad_number"),
    ],
)
def test_faulty_deliveries(shop: Shop, job: Job, fields: dict[str, Any], code: str) -> None:
    with pytest.raises(Refused) as refusal:
        deliver(shop, job, **fields)
    assert refusal.value.code == code
    assert not Delivery.objects.exists()


def test_where_a_job_stands(shop: Shop, job: Job) -> None:
    shop.publish("common-practice.3.yaml")
    actor = shop.actor("tachterly")

    def state(hhmm: str) -> str:
        assessment.perform_assessment(run_id=ask(shop, job, hhmm).pk, as_of=shop.at(hhmm))
        job.refresh_from_db()
        return job.state

    assert state("08:00") == "open"
    estimate.close_operations(
        job=job, actor=actor, as_of=shop.at("08:01"), entry=estimate.ClosingEntry(id=new_id())
    )
    assert state("08:02") == "planned"
    estimate.record_operation(
        job=job, actor=actor, as_of=shop.at("08:03"),
        entry=estimate.OperationEntry(
            id=new_id(), operation="battery.disconnected", done_at=shop.text("08:03"), device=shop.tablet.pk
        ),
    )  # fmt: skip
    assert state("08:04") == "working"
