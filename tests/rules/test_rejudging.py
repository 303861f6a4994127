"""Judging many jobs again: what is left out would have come out the same, and nothing else is left out."""

from dataclasses import replace
from datetime import date

import pytest

from rules.assess import assess
from rules.packs.model import PackSet
from rules.record_bytes import record_bytes
from rules.rejudging import Held, can_differ, rejudged
from tests.rules.builders import at
from tests.rules.packs_on_file import packs_on_file
from tests.rules.windshield_job import unsigned_job, windshield_job

GATE = at("11:50")
PACKS = packs_on_file()
# Packs of the invented world for cars that are not the job's.
FOREIGN = replace(PACKS.editions[1], pack="kestmoor", makes=("Kestmoor",), sha256="f" * 64)
LATER = replace(PACKS.editions[1], edition=9, in_force_from=date(2026, 5, 1), sha256="e" * 64, z=3.0)


def with_edition(edition: object) -> PackSet:
    return replace(PACKS, editions=(*PACKS.editions, edition))  # type: ignore[arg-type]


def test_jobs_are_judged_as_one_by_one() -> None:
    jobs = [Held(facts=facts, gate_at=GATE) for facts in (windshield_job(), unsigned_job())]
    again = [record_bytes(one) for one in rejudged(jobs, PACKS)]
    assert again == [record_bytes(assess(PACKS, job.facts, as_of=GATE)) for job in jobs]


def test_a_text_for_other_cars_changes_nothing_and_is_not_judged_again() -> None:
    after = with_edition(FOREIGN)
    job = Held(facts=windshield_job(), gate_at=GATE)
    assert list(rejudged([job], after, judged_by=PACKS)) == [None]
    unchanged = assess(PACKS, job.facts, as_of=GATE)
    assert record_bytes(assess(after, job.facts, as_of=GATE)) == record_bytes(unchanged)


@pytest.mark.parametrize(
    "after",
    [
        with_edition(LATER),
        replace(PACKS, editions=PACKS.editions[:1]),
        replace(PACKS, withdrawn_on={("orrinvale", 7): date(2026, 5, 1)}),
        # An edition that no longer covers the car ends the one before it all the same.
        with_edition(replace(LATER, makes=("Kestmoor",))),
        with_edition(replace(LATER, model_years=(1990, 1991))),
    ],
    ids=["later", "taken_out", "withdrawn", "other_make", "other_years"],
)
def test_what_can_have_a_say_is_judged_again(after: PackSet) -> None:
    job = Held(facts=windshield_job(), gate_at=GATE)
    assert can_differ(job.facts, PACKS, after)
    (found,) = rejudged([job], after, judged_by=PACKS)
    assert found is not None
    assert record_bytes(found) != record_bytes(assess(PACKS, job.facts, as_of=GATE))
