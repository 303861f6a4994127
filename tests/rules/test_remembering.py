"""What is kept beside a snapshot: computed once, in no comparison, copy or stored form."""

import copy
import pickle
from dataclasses import replace

from rules.canonical import to_plain
from rules.facts import JobFacts, once
from tests.rules.windshield_job import unsigned_job

CALLS: list[tuple[str, str]] = []


@once
def greeting(job: JobFacts, word: str) -> str:
    CALLS.append((job.order_number, word))
    return f"{word} {job.order_number}"


def test_computed_once_for_each_snapshot_and_argument() -> None:
    CALLS.clear()
    first = unsigned_job()
    second = replace(first, order_number="EM-2")
    said = [greeting(job, word) for job in (first, second, first) for word in ("a", "b", "a")]
    assert said == [f"{word} {job.order_number}" for job in (first, second, first) for word in "aba"]
    assert [
        (first.order_number, "a"), (first.order_number, "b"), ("EM-2", "a"), ("EM-2", "b"),
    ] == CALLS  # fmt: skip


def test_what_is_kept_is_no_part_of_the_snapshot() -> None:
    job, fresh = unsigned_job(), unsigned_job()
    greeting(job, "a")
    assert job == fresh
    assert to_plain(job) == to_plain(fresh)
    for other in (copy.copy(job), pickle.loads(pickle.dumps(job)), replace(job)):  # noqa: S301
        CALLS.clear()
        greeting(other, "a")
        assert len(CALLS) == 1
