"""light_level: five points with a meter of 4 %, their ratio compared plainly, light of the session's bay."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.checks.light import light_level
from rules.facts import Reading
from rules.verdict import Outcome
from tests.rules.checks.standing import numbers, outcome, read, said, sitting

WHERE = "OV-FC-STILL/light"  # between 400 lx and 2500 lx, brightest at most 2.0 times the darkest


def light(*values: float, **fields: Any) -> list[Reading]:
    base: dict[str, Any] = {"bay": "EM-B2"}
    return [
        read("light_level", f"light_{n}", value, "lx", 0.04 * value, **{**base, **fields})
        for n, value in enumerate(values, 1)
    ]


def judged(readings: list[Reading], **facts: Any) -> Outcome:
    return outcome(light_level, WHERE, *readings, **facts)


@pytest.mark.parametrize(
    ("value", "verdict"),
    # Accept from 400/(1 - 1.645 * 0.04) = 428.17 to 2500/(1 + 0.0658) = 2345.66.
    # Reject below 400/(1 + 0.0658) = 375.31, above 2500/(1 - 0.0658) = 2676.09.
    [
        (428.18, "met"),
        (428.16, "not_shown"),
        (400.0, "not_shown"),
        (375.32, "not_shown"),
        (375.30, "not_met"),
        (2345.6, "met"),
        (2345.7, "not_shown"),
        (2676.0, "not_shown"),
        (2676.2, "not_met"),
    ],
)
def test_every_edge_with_a_meter_of_four_percent(value: float, verdict: str) -> None:
    assert judged(light(*(value,) * 5)).verdict == verdict


@pytest.mark.parametrize(
    ("brightest", "verdict"), [(1200.0, "met"), (1200.01, "not_met"), (1199.9, "met"), (2000.0, "not_met")]
)
def test_brightest_over_darkest_is_compared_plainly(brightest: float, verdict: str) -> None:
    found = judged(light(600.0, 700.0, brightest, 900.0, 1000.0))
    assert found.verdict == verdict
    assert numbers(found)["brightest_over_darkest"] == pytest.approx(brightest / 600.0)


@pytest.mark.parametrize("count", [0, 1, 4])
def test_too_few_points(count: int) -> None:
    assert said(judged(light(*(800.0,) * count))) == ("not_shown", ("missing",))


def test_points_still_missing_take_back_no_ratio() -> None:
    assert said(judged(light(600.0, 1300.0))) == ("not_met", ("outside_limit", "missing"))


def test_a_sixth_point_counts_too() -> None:
    assert judged(light(*(800.0,) * 5, 1700.0)).verdict == "not_met"


def test_darkness_is_never_divided_by() -> None:
    found = judged(light(800.0, 800.0, 0.0, 800.0, 800.0))
    assert found.verdict != "met"
    assert "unreadable" in found.reasons


def test_without_a_meter() -> None:
    assert said(judged(light(*(800.0,) * 5, instrument=None))) == ("not_shown", ("uncertainty_unknown",))


# ------------------------------------------------------------------ bound to the bay


def test_light_of_another_bay_does_not_count() -> None:
    assert said(judged(light(*(800.0,) * 5, bay="EM-B1"))) == ("not_shown", ("missing",))


def test_light_of_no_bay_does_not_count() -> None:
    found = judged(light(*(800.0,) * 5, bay=None))
    assert said(found) == ("not_shown", ("missing",))
    assert "names no bay" in found.sentence


def test_a_session_without_a_bay_has_no_light() -> None:
    nowhere = (sitting("OV-FC-STILL", bay=None),)
    assert judged(light(*(800.0,) * 5), sessions=nowhere).verdict == "not_shown"


def test_bad_light_of_this_bay_counts_beside_good_light_of_another() -> None:
    readings = [*light(*(800.0,) * 5, bay="EM-B1", when="10:00"), *light(*(300.0,) * 5, when="09:40")]
    assert judged(readings).verdict == "not_met"


def test_later_light_of_no_bay_is_not_passed_over() -> None:
    later = replace(light(300.0, when="10:00", bay=None)[0], id="later")
    assert judged([*light(*(800.0,) * 5), later]).verdict == "not_shown"


@given(st.lists(st.floats(350, 2800), min_size=5, max_size=5), st.floats(1, 3))
def test_more_uncertainty_never_makes_a_verdict_met(values: list[float], factor: float) -> None:
    readings = light(*values)
    blunt = [replace(item, u=(item.u or 0.0) * factor) for item in readings]
    if judged(readings).verdict != "met":
        assert judged(blunt).verdict != "met"
