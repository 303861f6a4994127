"""ride_heights: the worked differences, every guarded edge, attitude in words, readings that do not serve."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.checks.heights import ride_heights
from rules.facts import Reading, StateChange
from rules.quantities import difference_to_program_unit, to_program_unit
from rules.verdict import Outcome
from tests.rules.builders import CORRAN, ended, held, loose, moment
from tests.rules.checks.standing import edge_cases, numbers, outcome, read, replace_readings, said

CORNERS = ("front_left", "front_right", "rear_left", "rear_right")
WHERE = "OV-FC-STILL/height"  # front 452 ± 12 mm, rear 461 ± 12 mm, across at most 8 mm, 4 h


def heights(
    fl: float = 452.0,
    fr: float = 452.0,
    rl: float = 461.0,
    rr: float = 461.0,
    u: float | None = 0.80,
    **fields: Any,
) -> list[Reading]:
    values = zip(CORNERS, (fl, fr, rl, rr), strict=True)
    return [read("arch_height", place, value, "mm", u, **fields) for place, value in values]


def judged(readings: list[Reading], **facts: Any) -> Outcome:
    return outcome(ride_heights, WHERE, *readings, **facts)


def test_all_four_within() -> None:
    found = judged(heights())
    assert said(found) == ("met", ())
    assert found.instruments == ("X-001",)
    assert "front left 452.0 mm" in found.sentence


@pytest.mark.parametrize(
    ("left", "right", "u", "verdict"),
    [
        # u_diff = sqrt 2 * 0.80 = 1.131 mm, guard 1.861: accept up to 6.14, reject above 9.86.
        (455.0, 449.0, 0.80, "met"),
        (455.07, 448.94, 0.80, "met"),
        (455.07, 448.92, 0.80, "not_shown"),
        (456.92, 447.07, 0.80, "not_shown"),
        (456.94, 447.07, 0.80, "not_met"),
        (458.5, 445.5, 0.80, "not_met"),
        # u 1.2 each: guard 2.79, accept up to 5.21.
        (455.0, 449.0, 1.2, "not_shown"),
        (454.6, 449.4, 1.2, "met"),
        (454.62, 449.4, 1.2, "not_shown"),
    ],
)
def test_worked_differences_across_the_axle(left: float, right: float, u: float, verdict: str) -> None:
    found = judged(heights(fl=left, fr=right, u=u))
    assert found.verdict == verdict
    assert numbers(found)["front_difference"] == pytest.approx(left - right)


def test_both_directions_and_both_axles_count() -> None:
    assert judged(heights(fl=445.5, fr=458.5)).verdict == "not_met"
    assert judged(heights(rl=467.5, rr=454.5)).verdict == "not_met"


@pytest.mark.parametrize(("value", "verdict"), edge_cases(440.0, 464.0, 0.80))
def test_every_edge_of_the_front_limit(value: float, verdict: str) -> None:
    assert judged(heights(fl=value, fr=value)).verdict == verdict


@pytest.mark.parametrize(("value", "verdict"), edge_cases(449.0, 473.0, 0.80))
def test_every_edge_of_the_rear_limit(value: float, verdict: str) -> None:
    assert judged(heights(rl=value, rr=value)).verdict == verdict


@pytest.mark.parametrize("place", CORNERS)
def test_one_missing(place: str) -> None:
    found = judged([item for item in heights() if item.place != place])
    assert said(found) == ("not_shown", ("missing",))


def test_without_an_instrument_or_with_none_of_uncertainty() -> None:
    assert said(judged(heights(instrument=None))) == ("not_shown", ("uncertainty_unknown",))
    assert said(judged(heights(u=None))) == ("not_shown", ("uncertainty_unknown",))
    assert said(judged(heights(u=0.0))) == ("not_shown", ("uncertainty_unknown",))
    assert said(judged(heights(u=-0.8))) == ("not_shown", ("uncertainty_unknown",))


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), float("-inf")])
def test_what_is_no_number_is_unreadable(bad: float) -> None:
    assert judged(heights(fl=bad)).verdict == "not_shown"
    assert "unreadable" in judged(heights(fl=bad)).reasons
    assert judged(heights(u=bad)).verdict == "not_shown"


def test_another_unit_is_never_compared() -> None:
    found = judged(replace_readings(heights(), "front_left", unit="deg"))
    assert "unreadable" in found.reasons


def test_not_capable() -> None:
    found = judged(heights(u=8.0))
    assert found.verdict == "not_shown"
    assert "instrument_not_capable" in found.reasons


# ------------------------------------------------------------------ which readings serve


@pytest.mark.parametrize(
    ("when", "verdict"), [("06:29", "not_shown"), ("06:30", "met"), ("10:30", "met"), ("10:31", "not_shown")]
)
def test_four_hours(when: str, verdict: str) -> None:
    assert judged(heights(when=when), opened=moment("05:00")).verdict == verdict


@pytest.mark.parametrize("kind", ["vehicle_lifted", "load_changed"])
def test_what_spoils_the_heights(kind: str) -> None:
    event = StateChange(**held("event", "09:45"), kind=kind, at=moment("09:45"), by="x")
    assert said(judged(heights(), state_changes=(event,))) == ("not_shown", ("evidence_stale",))


def test_of_several_sets_the_last_counts() -> None:
    bad, good = heights(fl=480.0, when="09:00"), heights(when="09:30", set_no=2)
    assert judged([*bad, *good]).verdict == "met"
    assert judged([*good, *heights(fl=480.0, when="09:45", set_no=3)]).verdict == "not_met"


def test_sets_read_at_one_time_count_by_their_number_however_they_are_listed() -> None:
    first, second = heights(fl=480.0, set_no=1), heights(set_no=2)
    assert judged([*first, *second]).verdict == judged([*second, *first]).verdict == "met"
    first, second = heights(set_no=1), heights(fl=480.0, set_no=2)
    assert judged([*first, *second]).verdict == judged([*second, *first]).verdict == "not_met"


def test_two_values_of_one_set_contradict_each_other() -> None:
    other = replace(heights(fl=455.0)[0], id="other")
    assert said(judged([*heights(), other])) == ("not_shown", ("conflict",))


def test_a_vague_clock_never_takes_a_bad_reading_out_of_the_way() -> None:
    bad = replace(heights(fl=480.0)[0], id="bad", at=loose("09:20", 3600.0, "device:other"))
    assert judged([*heights(), bad]).verdict != "met"


def test_readings_set_aside_do_not_count() -> None:
    bad = replace(heights(fl=480.0, when="09:45")[0], id="bad")
    assert judged([*heights(), ended(bad, "10:00")]).verdict == "met"


# ------------------------------------------------------------------ attitude


def test_the_worked_attitude_is_told_in_words_and_never_judged() -> None:
    # Front -10, rear +4 against nominal, wheelbase 2760: -0.29 deg; 152 mm at 30 m.
    notes = judged(heights(fl=442.0, fr=442.0, rl=465.0, rr=465.0)).notes
    assert any("nose down by 0.29 deg" in note and "by 152 mm at 30 m" in note for note in notes)
    # 13 mm over 1580 mm: 0.47 deg, the left side higher.
    notes = judged(heights(fl=458.5, fr=445.5)).notes
    assert any("leaning to the right by 0.47 deg at the front axle" in note for note in notes)
    notes = judged(heights(fl=445.5, fr=458.5)).notes
    assert any("leaning to the left by 0.47 deg at the front axle" in note for note in notes)
    notes = judged(heights(fl=462.0, fr=462.0, rl=457.0, rr=457.0)).notes
    assert any("nose up by 0.29 deg" in note for note in notes)


def test_no_attitude_without_the_measures_of_the_vehicle() -> None:
    bare = replace(CORRAN, wheelbase_mm=None, front_track_mm=None)
    found = judged(heights(), vehicle=bare)
    assert said(found) == ("met", ())
    assert not any("Attitude" in note for note in found.notes)


# ------------------------------------------------------------------ properties


ORDER = {"not_met": 0, "not_shown": 1, "met": 2}


@given(st.floats(425, 480), st.floats(425, 480), st.floats(0.05, 4), st.floats(1.0, 4.0))
def test_more_uncertainty_never_makes_a_verdict_met(
    left: float, right: float, u: float, factor: float
) -> None:
    sharp = judged(heights(fl=left, fr=right, u=u)).verdict
    blunt = judged(heights(fl=left, fr=right, u=u * factor)).verdict
    assert not (blunt == "met" and sharp != "met")
    assert not (blunt == "not_met" and sharp != "not_met")


@given(st.integers(1680, 1890), st.integers(1680, 1890), st.floats(0.1, 2.0))
def test_inches_and_millimetres_give_one_verdict(left: int, right: int, u: float) -> None:
    """Read in hundredths of an inch and converted, or read in mm: the same verdict."""
    in_mm = [round(hundredths * 0.254, 6) for hundredths in (left, right)]
    converted = [to_program_unit(hundredths / 100, "in")[0] for hundredths in (left, right)]
    u_inch, _ = difference_to_program_unit(u / 25.4, "in")
    assert (
        judged(heights(fl=in_mm[0], fr=in_mm[1], u=u)).verdict
        == judged(heights(fl=converted[0], fr=converted[1], u=u_inch)).verdict
    )
