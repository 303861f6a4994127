"""floor_survey: the worked floors, every guarded edge, age, voided surveys, how far a survey must reach."""

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.checks.equipment import equipment_valid
from rules.checks.floor import floor_survey
from rules.facts import FloorSurvey, facts_held_at
from rules.science.floor import floor_of
from rules.verdict import Number, Outcome
from tests.rules.builders import CORRAN, at, ended, equipment, loose, moment
from tests.rules.checks.standing import (
    GRID,
    Z,
    context,
    edge_cases,
    floor,
    numbers,
    outcome,
    said,
    sitting,
    tilted,
)

WHERE = "OV-FC-STILL/floor"  # slope at most 0.50 deg, flatness at most 8 mm, 12 months; target at 3200 mm


def judged(*surveys: FloorSurvey, where: str = WHERE, **facts: Any) -> Outcome:
    return outcome(floor_survey, where, floor_surveys=surveys, **facts)


def number(found: Outcome, name: str) -> Number:
    return next(item for item in found.numbers if item.name == name)


def test_the_worked_floor() -> None:
    found = judged(floor())
    assert said(found) == ("met", ())
    values = numbers(found)
    assert values["slope"] == pytest.approx(0.177, abs=5e-4)
    assert values["flatness"] == pytest.approx(1.413, abs=5e-4)
    assert values["standard_deviation"] == pytest.approx(0.381, abs=5e-4)
    assert values["uphill_direction"] == pytest.approx(math.degrees(math.atan2(0.694, 3.019)), abs=0.05)
    assert number(found, "flatness").u == pytest.approx(0.3 * math.sqrt(2), abs=1e-6)
    assert found.instruments == ("FL-001",)
    assert any("Farthest from the plane" in note for note in found.notes)
    assert any("to the left of the direction in which x runs" in note for note in found.notes)


def test_the_worked_floor_that_is_too_steep() -> None:
    # 9.25 mm/m = 0.530 deg with u 0.002; flatness about 5.1 mm.
    steep = floor(points=tilted(0.530, trough_mm=5.1))
    found = judged(steep)
    assert said(found) == ("not_met", ("outside_limit",))
    assert number(found, "slope").value == pytest.approx(0.530)
    assert number(found, "slope").u == pytest.approx(0.002, abs=6e-4)
    assert number(found, "flatness").value == pytest.approx(5.1)


def slope_u() -> float:
    return floor_of(tilted(0.5), 0.3).u_slope_deg


@pytest.mark.parametrize(("slope", "verdict"), edge_cases(None, 0.5, slope_u()))
def test_every_edge_of_the_slope(slope: float, verdict: str) -> None:
    assert judged(floor(points=tilted(slope))).verdict == verdict


@pytest.mark.parametrize(("flatness", "verdict"), edge_cases(None, 8.0, 0.3 * math.sqrt(2)))
def test_every_edge_of_the_flatness(flatness: float, verdict: str) -> None:
    found = judged(floor(points=tilted(0.0, flatness)))
    assert number(found, "flatness").value == pytest.approx(flatness, abs=1e-6)
    assert found.verdict == verdict


def test_which_way_the_floor_slopes_makes_no_difference() -> None:
    turned = tuple((x, y, z - 2 * 0.003098 * x) for x, y, z in GRID)
    assert judged(floor(points=turned)).verdict == "met"
    across = tuple((x, y, math.tan(math.radians(0.6)) * y) for x, y, _ in GRID)
    assert judged(floor(points=across)).verdict == "not_met"


# ------------------------------------------------------------------ which survey


def test_no_survey_of_this_bay() -> None:
    assert said(judged()) == ("not_shown", ("missing",))
    assert said(judged(floor(bay="EM-B1"))) == ("not_shown", ("missing",))
    assert said(judged(floor(), sessions=(sitting("OV-FC-STILL", bay=None),))) == ("not_shown", ("missing",))


def test_a_survey_made_after_the_session_serves_no_earlier_one() -> None:
    assert said(judged(floor("2026-05-05 10:31"))) == ("not_shown", ("missing",))
    assert judged(floor("2026-05-05 10:30")).verdict == "met"


def test_the_last_survey_before_the_session_counts() -> None:
    steep = floor("2026-03-16 09:00", points=tilted(0.9))
    assert judged(floor(), steep).verdict == "not_met"
    assert judged(steep, floor("2026-04-16 09:00")).verdict == "met"
    assert judged(floor(), ended(steep, "2026-03-17 09:00")).verdict == "met"


def test_a_survey_with_a_vague_time_is_not_passed_over() -> None:
    vague = replace(
        floor("2026-02-15 09:00", points=tilted(0.9)), surveyed=loose("2026-02-16 08:00", 86400.0)
    )
    assert said(judged(floor(), vague)) == ("not_shown", ("conflict",))


@pytest.mark.parametrize(
    ("when", "reasons"),
    [
        ("2025-05-05 09:00", ()),
        ("2025-05-04 23:59", ("survey_old",)),
        ("2024-02-16 09:00", ("survey_old",)),
    ],
)
def test_twelve_months(when: str, reasons: tuple[str, ...]) -> None:
    assert judged(floor(when)).reasons == reasons
    assert (judged(floor(when)).verdict == "met") == (reasons == ())


def test_the_shorter_of_both_periods_counts() -> None:
    assert said(judged(floor("2025-11-05 09:00", valid_months=5))) == ("not_shown", ("survey_old",))
    assert judged(floor("2025-11-05 09:00", valid_months=6)).verdict == "met"
    assert said(judged(floor("2025-05-04 09:00", valid_months=60))) == ("not_shown", ("survey_old",))


def test_an_old_survey_is_not_judged_against_its_limit() -> None:
    old = judged(floor("2024-02-16 09:00", points=tilted(3.0)))
    assert said(old) == ("not_shown", ("survey_old",))
    assert "slope" not in numbers(old)


@pytest.mark.parametrize(
    ("changed", "reasons"),
    [("2026-03-01 08:00", ("survey_old",)), ("2026-05-05 10:52", ("survey_old",)), ("2026-05-05 10:53", ())],
)
def test_a_floor_that_was_changed_since(changed: str, reasons: tuple[str, ...]) -> None:
    voided = floor(voided_at=at(changed), void_held_at=at("2026-05-05 11:00"), void_reason="Lift installed")
    assert judged(voided).reasons == reasons


def test_a_voiding_that_the_server_learned_of_later_is_not_there_yet() -> None:
    voided = floor(voided_at=at("2026-03-01 08:00"), void_held_at=at("2026-06-01 08:00"), void_reason="Lift")
    facts = context("OV-FC-STILL", "floor", floor_surveys=(voided,)).facts
    earlier, later = (facts_held_at(facts, at(when)) for when in ("2026-05-31 08:00", "2026-06-01 08:00"))
    assert earlier.floor_surveys[0].voided_at is None
    assert later.floor_surveys[0].voided_at is not None


def test_while_the_session_runs_a_voided_survey_does_not_serve() -> None:
    running = (sitting("OV-FC-STILL", end=None),)  # type: ignore[arg-type]
    voided = floor(voided_at=at("2026-05-05 12:00"), void_held_at=at("2026-05-05 12:00"))
    assert said(judged(voided, sessions=running)) == ("not_shown", ("survey_old",))


# ------------------------------------------------------------------ is it enough


def test_fewer_than_nine_places() -> None:
    eight = judged(floor(points=GRID[:8]), where="OV-SV-STILL/floor")
    assert said(eight) == ("not_shown", ("missing",))
    assert "has 8 places" in eight.sentence
    assert judged(floor(points=GRID[:9]), where="OV-SV-STILL/floor").verdict == "met"


def test_one_place_read_nine_times_is_one_place() -> None:
    again = (*GRID[:8], *GRID[:3])
    assert said(judged(floor(points=again), where="OV-SV-STILL/floor")) == ("not_shown", ("missing",))


def test_points_on_one_line_are_refused() -> None:
    line = tuple((1000.0 * i, 500.0 * i, 0.0) for i in range(10))
    assert said(judged(floor(points=line), where="OV-SV-STILL/floor")) == ("not_shown", ("missing",))


@pytest.mark.parametrize(
    ("wheelbase", "track", "verdict"),
    # The grid spans 7000 by 2400 mm; the target stands at 3200 mm.
    [(3800.0, 2400.0, "met"), (3800.001, 1580.0, "not_shown"), (2760.0, 2400.001, "not_shown")],
)
def test_around_the_car_and_the_target(wheelbase: float, track: float, verdict: str) -> None:
    vehicle = replace(CORRAN, wheelbase_mm=wheelbase, front_track_mm=track)
    found = judged(floor(), vehicle=vehicle)
    assert found.verdict == verdict
    assert found.reasons == (() if verdict == "met" else ("missing",))
    # Without a target in the procedure nine places are enough.
    assert judged(floor(), where="OV-SV-STILL/floor", vehicle=vehicle).verdict == "met"


@pytest.mark.parametrize("field", ["wheelbase_mm", "front_track_mm"])
def test_a_vehicle_without_its_measures(field: str) -> None:
    bare = replace(CORRAN, **{field: None})
    assert said(judged(floor(), vehicle=bare)) == ("not_shown", ("missing",))


@pytest.mark.parametrize("u_z", [None, 0.0, -0.3, float("nan")])
def test_without_uncertainty(u_z: float | None) -> None:
    assert said(judged(floor(u_z=u_z))) == ("not_shown", ("uncertainty_unknown",))


def test_without_an_instrument() -> None:
    assert said(judged(floor(instrument=None))) == ("not_shown", ("uncertainty_unknown",))


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_what_is_no_number(bad: float) -> None:
    assert said(judged(floor(points=(*GRID, (0.0, 500.0, bad))))) == ("not_shown", ("unreadable",))


def test_a_drain_is_named() -> None:
    holed = tuple((x, y, z - (6.0 if (x, y) == (1400.0, 0.0) else 0.0)) for x, y, z in GRID)
    found = judged(floor(points=holed))
    assert any("Standing out" in note and "x 1400 mm, y 0 mm" in note for note in found.notes)
    assert not any("Standing out" in note for note in judged(floor()).notes)


def test_the_level_must_have_been_in_date_on_the_day_of_the_survey() -> None:
    current = context("OV-FC-STILL", "floor", floor_surveys=(floor(),))
    level = equipment("FL-001", "level", "mm", interval_months=12, needs_certificate=True)
    facts = replace(current.facts, equipment=(level,))
    judged_floor = floor_survey(replace(current, facts=facts))
    outcomes = {("OV-FC-STILL", "floor"): judged_floor}
    tools = replace(current.proof, id="tools", check="equipment_valid")
    found = equipment_valid(replace(current, facts=facts, proof=tools, outcomes=outcomes))
    assert "FL-001, used on 2026-02-16" in found.sentence
    assert said(found) == ("not_shown", ("instrument_no_certificate",))


# ------------------------------------------------------------------ properties


@settings(max_examples=40)
@given(st.floats(0.0, 1.0), st.floats(0.0, 12.0), st.floats(0.01, 2.0), st.floats(1.0, 5.0))
def test_more_uncertainty_never_makes_a_verdict_met(
    slope: float, bump: float, u_z: float, factor: float
) -> None:
    points = tilted(slope, bump)
    if judged(floor(points=points, u_z=u_z)).verdict != "met":
        assert judged(floor(points=points, u_z=u_z * factor)).verdict != "met"


@settings(max_examples=40)
@given(st.floats(0.0, 1.0), st.floats(0.0, 12.0), st.integers(0, 5), st.integers(-200, 200))
def test_turned_or_shifted_the_floor_is_the_same(slope: float, bump: float, turns: int, shift: int) -> None:
    cos, sin = math.cos(turns), math.sin(turns)
    points = tilted(slope, bump)
    moved = tuple(
        (cos * x - sin * y + 1000 * shift, sin * x + cos * y - 1000 * shift, z + shift) for x, y, z in points
    )
    one = judged(floor(points=points), where="OV-SV-STILL/floor")
    other = judged(floor(points=moved), where="OV-SV-STILL/floor")
    assert number(other, "slope").value == pytest.approx(number(one, "slope").value, abs=2e-5)
    assert number(other, "flatness").value == pytest.approx(number(one, "flatness").value, abs=2e-5)


def test_the_guard_is_z_times_u() -> None:
    assert number(judged(floor()), "flatness").guard == pytest.approx(Z * 0.3 * math.sqrt(2), abs=1e-6)
    assert moment("2026-02-16 09:00") == floor().surveyed
