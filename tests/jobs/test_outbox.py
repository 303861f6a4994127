"""The queue in the database: what waits once, who may lease, what a failure and a dead worker lead to."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import transaction

from jobs import outbox
from jobs.models import Organisation, OutboxEntry, unscoped
from tests.jobs import rows
from tests.jobs.rows import NOON

pytestmark = pytest.mark.django_db

LATER = NOON + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _open() -> Iterator[None]:
    with unscoped():
        yield


@pytest.fixture
def owner() -> Organisation:
    return rows.organisation()


def ask(
    owner: Organisation, key: str = "job/1", task: str = "jobs.assess_job", **arguments: Any
) -> OutboxEntry:
    return outbox.enqueue(organisation=owner, task=task, arguments=arguments, key=key, at=NOON)


def leased(entry: OutboxEntry, at: datetime = NOON) -> OutboxEntry:
    held = outbox.lease(entry.pk, at=at)
    assert held is not None
    return held


def now_of(entry: OutboxEntry) -> OutboxEntry:
    return OutboxEntry.objects.get(pk=entry.pk)


def test_what_waits_is_asked_for_once(owner: Organisation) -> None:
    first = ask(owner, run_id="a")
    assert ask(owner, run_id="b").pk == first.pk
    assert now_of(first).arguments == {"run_id": "a"}
    for other in (
        ask(owner, key="job/2"),
        ask(owner, task="jobs.build_packet"),
        ask(rows.organisation("Sallowfield")),
    ):
        assert other.pk != first.pk


def test_while_one_is_worked_on_a_new_one_waits_and_both_are_done_in_turn(owner: Organisation) -> None:
    """The worker may have read its input before the second caller wrote: the same row would lose that."""
    first = leased(ask(owner))
    second = ask(owner)
    assert second.pk != first.pk
    assert ask(owner).pk == second.pk
    assert outbox.next_ready(at=LATER) is None
    assert outbox.lease(second.pk, at=LATER) is None
    outbox.complete(first, at=LATER)
    assert outbox.next_ready(at=LATER) == second
    assert leased(second, LATER).attempts == 1


def test_without_a_commit_there_is_no_work(owner: Organisation) -> None:
    def fail() -> None:
        with transaction.atomic():
            ask(owner)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert outbox.next_ready(at=LATER) is None


def test_work_that_is_to_wait_waits_by_the_machines_clock(owner: Organisation) -> None:
    """The record's time may be a shifted one; it must neither delay nor hasten."""
    far = NOON + timedelta(days=3650)
    outbox.enqueue(organisation=owner, task="t", arguments={}, key="k", at=far)
    assert outbox.next_ready(at=NOON) is not None
    waits = outbox.enqueue(
        organisation=owner, task="t", arguments={}, key="k2", at=NOON, after=timedelta(hours=1)
    )
    assert waits.available_at is not None
    assert outbox.lease(waits.pk, at=waits.available_at - timedelta(seconds=1)) is None
    assert outbox.lease(waits.pk, at=waits.available_at) is not None


def test_one_lease_at_a_time_and_only_its_holder_finishes(owner: Organisation) -> None:
    entry = ask(owner)
    held = leased(entry)
    assert outbox.lease(entry.pk, at=NOON) is None
    thief = now_of(entry)
    thief.owner = "0" * 32
    with pytest.raises(outbox.LeaseLostError):
        outbox.complete(thief, at=NOON)
    assert outbox.fail(thief, error="x", at=NOON) == "lost"
    assert not outbox.heartbeat(thief, at=NOON)
    assert not outbox.is_done(held)
    outbox.complete(held, at=NOON)
    assert outbox.is_done(held)
    assert outbox.lease(entry.pk, at=LATER) is None
    with pytest.raises(outbox.LeaseLostError):
        outbox.complete(held, at=NOON)


def test_three_failures_bury_with_growing_waits(owner: Organisation) -> None:
    entry, at = ask(owner), NOON
    for attempt, wait_s, state in ((1, 2, "waiting"), (2, 20, "waiting"), (3, None, "dead")):
        held = leased(entry, at)
        assert held.attempts == attempt
        assert outbox.fail(held, error="no memory", at=at) == state
        kept = now_of(entry)
        assert (kept.state, kept.last_error, kept.lease_until, kept.owner) == (state, "no memory", None, "")
        if wait_s is None:
            break
        ready = at + timedelta(seconds=wait_s)
        assert outbox.lease(entry.pk, at=ready - timedelta(microseconds=1)) is None
        at = ready
    assert outbox.next_ready(at=LATER) is None
    assert ask(owner).pk != entry.pk


@pytest.mark.parametrize(
    ("after_s", "taken"), [(-1, False), (-0.001, False), (0, True), (1, True), (3600, True)]
)
def test_a_lease_is_taken_back_when_it_has_run_out(owner: Organisation, after_s: float, taken: bool) -> None:
    held = leased(ask(owner))
    at = NOON + outbox.lease_length() + timedelta(seconds=after_s)
    assert [entry.pk for entry in outbox.sweep(at=at)] == ([held.pk] if taken else [])
    assert now_of(held).state == ("waiting" if taken else "leased")
    if taken:
        # The worker was only slow: what it does now must be undone.
        with pytest.raises(outbox.LeaseLostError):
            outbox.complete(held, at=at)


def test_a_sign_of_life_lengthens_the_lease(owner: Organisation) -> None:
    held = leased(ask(owner))
    almost = NOON + outbox.lease_length() - timedelta(seconds=1)
    assert outbox.heartbeat(held, at=almost)
    assert outbox.sweep(at=NOON + outbox.lease_length()) == ()
    assert len(outbox.sweep(at=almost + outbox.lease_length())) == 1


def test_a_sign_of_life_between_a_sweeps_look_and_its_grip_keeps_the_lease(owner: Organisation) -> None:
    held = leased(ask(owner))
    over = NOON + outbox.lease_length()
    seen_by_the_sweep = [now_of(held)]
    assert outbox.heartbeat(held, at=over)
    assert outbox._take_back(seen_by_the_sweep, over) == ()
    assert now_of(held).state == "leased"


def test_a_worker_that_dies_each_time_is_buried_and_its_row_named(owner: Organisation) -> None:
    entry, at = ask(owner, run_id="a"), NOON
    for expected in ("waiting", "waiting", "dead"):
        leased(entry, at)
        at += outbox.lease_length()
        (swept,) = outbox.sweep(at=at)
        assert (swept.pk, swept.state, swept.arguments) == (entry.pk, expected, {"run_id": "a"})
        at += timedelta(minutes=1)
    assert now_of(entry).state == "dead"


def test_a_tried_row_may_wait_beside_a_fresh_one(owner: Organisation) -> None:
    tried = leased(ask(owner))
    fresh = ask(owner)
    assert outbox.fail(tried, error="x", at=NOON) == "waiting"
    assert {now_of(tried).state, now_of(fresh).state} == {"waiting"}
    assert outbox.next_ready(at=LATER) == tried


def test_an_embedded_worker_takes_back_everything_when_it_starts(owner: Organisation) -> None:
    held = leased(ask(owner))
    assert [entry.pk for entry in outbox.take_back_all(at=NOON)] == [held.pk]
    assert outbox.take_back_all(at=NOON) == ()
    again = leased(held, NOON + outbox.BACKOFF[0])
    assert again.attempts == 2


def test_a_buried_row_can_be_tried_again_and_no_other(owner: Organisation) -> None:
    entry, at = ask(owner), NOON
    assert not outbox.requeue_dead(entry.pk, at=NOON)
    for _ in range(outbox.MAX_ATTEMPTS):
        outbox.fail(leased(entry, at), error="x", at=at)
        at += timedelta(minutes=1)
    fresh = ask(owner)
    assert outbox.requeue_dead(entry.pk, at=at)
    assert not outbox.requeue_dead(entry.pk, at=at)
    assert now_of(fresh).state == "waiting"
    outbox.complete(leased(entry, at), at=at)


def test_what_is_due_once_is_asked_for_once_even_when_it_is_done(owner: Organisation) -> None:
    def once() -> OutboxEntry | None:
        return outbox.enqueue_once(organisation=owner, task="t", arguments={}, key="2026-05-12", at=NOON)

    made = once()
    assert made is not None
    assert once() is None
    outbox.complete(leased(made), at=NOON)
    assert once() is None


def test_the_relay_hands_each_row_and_hands_it_again_when_nothing_came_of_it(owner: Organisation) -> None:
    first, second = ask(owner), ask(owner, key="job/2")
    assert [row.pk for row in outbox.rows_to_hand(at=NOON, limit=1)] == [first.pk]
    outbox.mark_handed(first.pk, at=NOON)
    assert [row.pk for row in outbox.rows_to_hand(at=NOON, limit=9)] == [second.pk]
    again = NOON + outbox.HANDED_AGAIN_AFTER
    assert [row.pk for row in outbox.rows_to_hand(at=again, limit=9)] == [first.pk, second.pk]
    held = leased(first)
    assert [row.pk for row in outbox.rows_to_hand(at=again, limit=9)] == [second.pk]
    outbox.fail(held, error="x", at=NOON)
    assert first.pk in [row.pk for row in outbox.rows_to_hand(at=NOON + outbox.BACKOFF[0], limit=9)]


def test_a_service_outside_a_task_finishes_nothing(owner: Organisation) -> None:
    held = leased(ask(owner))
    outbox.finish_here()
    assert not outbox.is_done(held)
    with outbox.held(held):
        outbox.finish_here()
    assert outbox.is_done(held)
