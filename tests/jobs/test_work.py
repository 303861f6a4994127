"""How one piece of work is carried out: result and end of the row stand or fall together."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import transaction
from django.db.transaction import TransactionManagementError

from jobs import outbox, work
from jobs.ledger.append import append
from jobs.models import Organisation, OutboxEntry, Person, TreeHead, WorkerBeat, unscoped
from jobs.models.tenancy import current_organisation_id
from tests.jobs import rows
from tests.jobs.rows import NOON

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def entry() -> OutboxEntry:
    owner = rows.organisation()
    with transaction.atomic():
        return outbox.enqueue(organisation=owner, task="t", arguments={"run_id": "a"}, key="k", at=NOON)


def now_of(entry: OutboxEntry) -> OutboxEntry:
    with unscoped():
        return OutboxEntry.objects.get(pk=entry.pk)


def again(entry: OutboxEntry) -> None:
    """Lets the wait after a failure be over."""
    with unscoped():
        OutboxEntry.objects.filter(pk=entry.pk).update(available_at=None)


def write_result(login: str) -> None:
    Person.objects.create_person(login=login, organisation=Organisation.objects.get(), name=login)


def test_the_service_runs_once_in_the_scope_of_its_organisation(entry: OutboxEntry) -> None:
    seen: list[object] = []

    def act(given: OutboxEntry) -> None:
        seen.append((given.arguments["run_id"], current_organisation_id()))

    assert work.carry_out(entry.pk, act) == "done"
    assert work.carry_out(entry.pk, act) == "not_leased"
    assert seen == [("a", entry.organisation_id)]
    assert current_organisation_id() is None
    assert now_of(entry).state == "done"


def test_a_message_for_a_row_that_is_not_there_does_nothing() -> None:
    assert work.carry_out(4711, lambda given: pytest.fail("must not run")) == "not_leased"


def test_result_and_end_are_committed_together(entry: OutboxEntry) -> None:
    def act(given: OutboxEntry) -> None:
        with transaction.atomic():
            write_result("itolvaar")
            outbox.finish_here()
            assert now_of(entry).state == "done"
            raise ZeroDivisionError

    assert work.carry_out(entry.pk, act) == "waiting"
    assert not Person.objects.exists()
    assert now_of(entry).state == "waiting"
    assert now_of(entry).last_error.startswith("ZeroDivisionError")


def test_a_worker_that_lost_its_lease_leaves_nothing_behind(entry: OutboxEntry) -> None:
    """It was stopped for longer than its lease, another one took over, and then it woke up."""

    def act(given: OutboxEntry) -> None:
        outbox.take_back_all(at=NOON)
        again(entry)
        assert work.carry_out(entry.pk, quick) == "done"
        with transaction.atomic():
            write_result("slow")
            outbox.finish_here()

    def quick(given: OutboxEntry) -> None:
        with transaction.atomic():
            write_result("quick")
            outbox.finish_here()

    assert work.carry_out(entry.pk, act) == "lost"
    assert list(Person.objects.values_list("login", flat=True)) == ["quick"]
    assert now_of(entry).state == "done"


def test_after_the_last_attempt_the_service_is_told(entry: OutboxEntry) -> None:
    buried: list[tuple[Mapping[str, Any], str]] = []

    def act(given: OutboxEntry) -> None:
        raise MemoryError("too big")

    def bury(arguments: Mapping[str, Any], error: str) -> None:
        assert current_organisation_id() == entry.organisation_id
        buried.append((arguments, error))

    for expected in ("waiting", "waiting", "dead"):
        assert work.carry_out(entry.pk, act, bury=bury) == expected
        again(entry)
    assert buried == [({"run_id": "a"}, "MemoryError: too big")]
    assert work.carry_out(entry.pk, act, bury=bury) == "not_leased"


def test_a_sweep_tells_only_of_what_it_buried(entry: OutboxEntry) -> None:
    told: list[str] = []
    swept, at = [], NOON
    for _ in range(3):
        again(entry)
        assert outbox.lease(entry.pk, at=at) is not None
        at += outbox.lease_length()
        found = outbox.sweep(at=at)
        swept.append([row.state for row in found])
        work.note_buried(found, {"t": lambda arguments, error: told.append(arguments["run_id"])})
    assert swept == [["waiting"], ["waiting"], ["dead"]]
    assert told == ["a"]


def test_the_look_ahead_is_asked_for_once_a_day_and_not_for_days_missed() -> None:
    rows.organisation()
    rows.organisation("Sallowfield", default_tz="America/Denver")
    assert work.schedule_look_ahead(as_of=NOON) == 2
    assert work.schedule_look_ahead(as_of=NOON + timedelta(minutes=1)) == 0
    assert work.schedule_look_ahead(as_of=NOON + timedelta(days=3)) == 2
    # 05:30 UTC is the next day in Chicago and still the same in Denver.
    assert work.schedule_look_ahead(as_of=datetime(2026, 5, 16, 5, 30, tzinfo=UTC)) == 1
    with unscoped():
        assert OutboxEntry.objects.filter(task=work.LOOK_AHEAD).count() == 5


def test_a_head_is_asked_for_once_an_hour_until_the_day_has_one() -> None:
    owner, other = rows.organisation(), rows.organisation("Sallowfield")
    with unscoped(), transaction.atomic():
        append(
            organisation=owner, at=NOON, who="itolvaar", device="", what="job.opened", target="j", detail={}
        )
    # The other log has no entry, and so no head.
    assert other.pk != owner.pk
    assert work.schedule_heads(as_of=NOON) == 1
    assert work.schedule_heads(as_of=NOON + timedelta(minutes=59)) == 0
    assert work.schedule_heads(as_of=NOON + timedelta(minutes=60)) == 1
    with unscoped():
        day = NOON.date()
        TreeHead.objects.create(
            organisation=owner, size=1, root="0" * 64, at="2026-05-12T17:00:00Z", is_daily=True, day=day
        )
    assert work.schedule_heads(as_of=NOON + timedelta(hours=5)) == 0
    # 05:30 UTC is the next day in Chicago.
    assert work.schedule_heads(as_of=datetime(2026, 5, 13, 4, 59, tzinfo=UTC)) == 0
    assert work.schedule_heads(as_of=datetime(2026, 5, 13, 5, 0, tzinfo=UTC)) == 1
    with unscoped():
        keys = list(
            OutboxEntry.objects.filter(task=work.PUBLISH_HEAD).order_by("pk").values_list("key", flat=True)
        )
    assert keys == ["2026-05-12T12", "2026-05-12T13", "2026-05-13T00"]


def test_work_cannot_be_asked_for_outside_a_transaction() -> None:
    with pytest.raises(TransactionManagementError):
        outbox.enqueue(organisation=rows.organisation(), task="t", arguments={}, key="k", at=NOON)


def test_a_sign_of_life_is_one_row_for_each_process() -> None:
    for minute in (0, 1):
        at = NOON + timedelta(minutes=minute)
        work.sign_of_life("host:1", "worker", started_at=NOON, at=at)
    beat = WorkerBeat.objects.get()
    assert (beat.started_at, beat.seen_at) == (NOON, NOON + timedelta(minutes=1))
    work.sign_of_life("host:2", "worker", started_at=NOON, at=NOON + timedelta(days=1))
    assert WorkerBeat.objects.count() == 2
    work.sign_of_life("host:2", "worker", started_at=NOON, at=NOON + timedelta(days=1, minutes=2))
    assert list(WorkerBeat.objects.values_list("name", flat=True)) == ["host:2"]
