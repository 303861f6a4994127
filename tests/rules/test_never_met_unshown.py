"""Weakening any one record never makes a proof met that was not, and never opens a gate that was shut."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.facts import RECORD_FIELDS
from tests.rules.contradictions import CASES, Case
from tests.rules.weakening import (
    WAYS,
    by_lost_clock,
    judged,
    places,
    short_of_met,
    weakened,
    without,
)
from tests.rules.windshield_job import windshield_job

# The typed VIN stands in the vehicle's own row too; work that was done needs no line that planned it; and the
# gate is open before somebody signs the release.
NOT_NEEDED = {
    ("identity_readings", "vin-typed"),
    ("estimate_lines", "line-1"),
    ("sign_offs", "sign-release"),
}
# What these say holds for the whole visit, or for the session they name, whenever it was written down; the
# server itself times sign-offs.
TIMELESS = {"identity_readings", "fitted_ways", "closings", "statements", "sign_offs"}
# Of the ways a sensor was found every one stands as an example for the others.
ALIKE = ("fitted-forward", "fitted-lidar")


def tried(place: tuple[str, str]) -> bool:
    return place[0] != "fitted_ways" or place[1].startswith(ALIKE)


JOB = windshield_job()
PLACES = tuple(place for place in places(JOB) if tried(place))


def test_the_finished_job_is_released() -> None:
    result = judged(JOB)
    assert (result.verdict, result.disposition) == ("met", "release")


@pytest.mark.parametrize("field", [name for name in RECORD_FIELDS if getattr(JOB, name)])
def test_without_any_one_record_the_car_is_held(field: str) -> None:
    for place in PLACES:
        if place[0] == field and place not in NOT_NEEDED:
            assert judged(without(JOB, place)).disposition == "hold", place


@pytest.mark.parametrize("field", [name for name in RECORD_FIELDS if getattr(JOB, name)])
def test_a_lost_clock_holds_the_car_wherever_time_matters(field: str) -> None:
    for place in PLACES:
        if place[0] != field or field in TIMELESS:
            continue
        for name, facts in by_lost_clock(JOB, place):
            assert judged(facts).disposition == "hold", (place, name)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_what_speaks_against_the_job_opens_its_proof(case: Case) -> None:
    result = judged(case.facts())
    assert short_of_met(result)[case.proof] == (case.verdict, case.reasons)
    assert result.disposition == "hold"


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_lost_clock_does_not_take_it_out_of_the_way(case: Case) -> None:
    facts = case.facts()
    for place in case.against:
        result = judged(weakened(facts, place, "lost_clock"))
        assert case.proof[0] in {procedure for procedure, _proof in short_of_met(result)}, place
        assert result.disposition == "hold"


@settings(max_examples=50, deadline=None, derandomize=True)
@given(
    case=st.sampled_from(CASES),
    first=st.sampled_from(PLACES),
    second=st.sampled_from(PLACES),
    hows=st.tuples(st.sampled_from(WAYS), st.sampled_from(WAYS)),
)
def test_weakening_other_records_never_opens_the_gate(
    case: Case, first: tuple[str, str], second: tuple[str, str], hows: tuple[str, str]
) -> None:
    facts = case.facts()
    for place, how in zip(dict.fromkeys((first, second)), hows, strict=False):
        if place not in case.against:
            facts = weakened(facts, place, how)
    result = judged(facts)
    assert result.disposition == "hold"
    assert result.verdict != "met"


@settings(max_examples=30, deadline=None, derandomize=True)
@given(place=st.sampled_from(PLACES), how=st.sampled_from(WAYS), again=st.sampled_from(PLACES))
def test_what_is_short_of_met_stays_short_when_more_is_lost(
    place: tuple[str, str], how: str, again: tuple[str, str]
) -> None:
    once = weakened(JOB, place, how)
    before = short_of_met(judged(once))
    twice = without(once, again) if again != place else once
    after = judged(twice)
    asked = {(item.procedure_id, item.proof_id) for item in after.findings}
    for proof in before:
        # A proof may vanish with the work that called for it, never turn to met.
        assert proof in short_of_met(after) or proof not in asked, (proof, place, how, again)
    assert after.disposition == "hold" or not before
