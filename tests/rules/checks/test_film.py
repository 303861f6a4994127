"""film_build: the mean of five points, single points, what the certificate adds, and whose film it is."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.checks.film import film_build
from rules.facts import Reading
from rules.quantities import to_program_unit
from rules.verdict import Outcome
from tests.rules.builders import certificate, equipment
from tests.rules.checks.standing import numbers, outcome, read, said, sitting

WHERE = "OV-FR-STILL/film"  # 5 points, at most 180 um


def film(*values: float, u: float | None = 3.5, **fields: Any) -> list[Reading]:
    points = enumerate(values, 1)
    return [read("film_build", f"film_{n}", value, "um", u, **fields) for n, value in points]


def judged(readings: list[Reading], **facts: Any) -> Outcome:
    return outcome(film_build, WHERE, *readings, **facts)


@pytest.mark.parametrize(
    ("values", "verdict"),
    [
        # u of the mean sqrt(3.5^2/5) = 1.565 um, guard 2.575: accept up to 177.43, reject above 182.57.
        ((177.4,) * 5, "met"),
        ((177.42,) * 5, "met"),
        ((177.44,) * 5, "not_shown"),
        ((180.0,) * 5, "not_shown"),
        ((182.56,) * 5, "not_shown"),
        ((182.58,) * 5, "not_met"),
        # A single point is outside above 185.76, whatever the mean.
        ((185.75, 150.0, 150.0, 150.0, 150.0), "met"),
        ((185.77, 150.0, 150.0, 150.0, 150.0), "not_met"),
        ((150.0, 150.0, 150.0, 150.0, 190.0), "not_met"),
    ],
)
def test_worked_film(values: tuple[float, ...], verdict: str) -> None:
    found = judged(film(*values))
    assert found.verdict == verdict
    mean = next(number for number in found.numbers if number.name == "mean")
    assert mean.u == pytest.approx(1.565, abs=5e-4)


def test_single_points_in_doubt_keep_nobody_up() -> None:
    assert judged(film(184.0, 150.0, 150.0, 150.0, 150.0)).verdict == "met"


def gauge(expanded: float, *, confirmed: bool = True) -> tuple[Any, ...]:
    paper = certificate("X-001", "um", ((50, expanded), (250, expanded)), date(2026, 1, 12))
    return (equipment("X-001", "film_gauge", "um", replace(paper, confirmed=confirmed)),)


def test_what_the_certificate_leaves_open_is_not_averaged_away() -> None:
    # U 4 um, k 2: u = sqrt(3.5^2/5 + 2^2) = 2.540 um, accept up to 175.82.
    assert judged(film(*(175.81,) * 5), equipment=gauge(4.0)).verdict == "met"
    assert judged(film(*(175.83,) * 5), equipment=gauge(4.0)).verdict == "not_shown"


def test_a_correction_is_one_amount_for_all_points() -> None:
    readings = film(*(176.0,) * 5, u_added=2.0)
    mean = next(number for number in judged(readings).numbers if number.name == "mean")
    assert mean.u == pytest.approx((3.5 * 3.5 / 5 + 4.0) ** 0.5)


@pytest.mark.parametrize("count", [0, 1, 4])
def test_too_few_points(count: int) -> None:
    found = judged(film(*(150.0,) * count))
    assert said(found) == ("not_shown", ("missing",))
    assert "mean" not in numbers(found)


def test_whoever_reads_more_points_leaves_none_out() -> None:
    assert judged(film(150.0, 150.0, 150.0, 150.0, 150.0, 190.0)).verdict == "not_met"
    six = judged(film(*(175.0,) * 5, 184.0))
    assert numbers(six)["mean"] == pytest.approx(176.5)


def test_without_a_gauge() -> None:
    assert said(judged(film(*(150.0,) * 5, instrument=None))) == ("not_shown", ("uncertainty_unknown",))


def test_what_is_no_number() -> None:
    found = judged(film(150.0, 150.0, float("nan"), 150.0, 150.0))
    assert said(found) == ("not_shown", ("unreadable",))


# ------------------------------------------------------------------ whose film it is

BOTH = (sitting("OV-FR-STILL"), sitting("OV-RC-STILL", "11:00", "11:20"))


def of_two(readings: list[Reading], where: str = WHERE) -> Outcome:
    other = "OV-RC-STILL" if where == WHERE else "OV-FR-STILL"
    return outcome(film_build, where, *readings, sessions=BOTH, also=(other,))


def test_the_film_of_one_radar_says_nothing_of_the_other() -> None:
    front = film(*(150.0,) * 5, procedure_id="OV-FR-STILL")
    assert of_two(front).verdict == "met"
    assert said(of_two(front, "OV-RC-STILL/film")) == ("not_shown", ("missing",))


def test_a_film_that_names_no_procedure_means_the_session_that_comes_next() -> None:
    early, between = film(*(150.0,) * 5, when="10:00"), film(*(150.0,) * 5, when="10:55")
    assert of_two(early).verdict == "met"
    assert said(of_two(early, "OV-RC-STILL/film")) == ("not_shown", ("missing",))
    assert of_two(between, "OV-RC-STILL/film").verdict == "met"


def test_readings_of_another_session_are_of_another_radar() -> None:
    front = film(*(150.0,) * 5, when="10:00", session="session-OV-FR-STILL")
    assert said(of_two(front, "OV-RC-STILL/film")) == ("not_shown", ("missing",))


# ------------------------------------------------------------------ properties

thickness = st.floats(140, 200)


@given(st.lists(thickness, min_size=5, max_size=5), st.floats(0.2, 6), st.floats(1, 4))
def test_more_uncertainty_never_decides_what_was_undecided(
    values: list[float], u: float, factor: float
) -> None:
    if judged(film(*values, u=u)).verdict == "not_shown":
        assert judged(film(*values, u=u * factor)).verdict == "not_shown"


@given(st.lists(st.integers(55, 79), min_size=5, max_size=5))
def test_mils_and_micrometres_give_one_verdict(tenths: list[int]) -> None:
    in_um = [round(value * 2.54, 6) for value in tenths]
    converted = [to_program_unit(value / 10, "mil")[0] for value in tenths]
    assert judged(film(*in_um)).verdict == judged(film(*converted)).verdict
