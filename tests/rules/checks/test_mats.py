"""mat_positions: distance from the drawn place one-sided, turns, and mats that were read only in part."""

from dataclasses import replace
from typing import Any

import pytest

from rules.checks.mats import mat_positions
from rules.facts import Reading
from rules.verdict import Outcome
from tests.rules.checks.standing import edge_cases, numbers, outcome, read, said

WHERE = "OV-SV-STILL/mats"  # 4 mats, each centre 0 mm ± 12 mm, each turn 0 deg ± 0.5 deg


def mats(
    centres: tuple[float, ...] = (4.0, 5.0, 5.0, 3.0),
    turns: tuple[float, ...] = (0.1, 0.1, 0.1, 0.1),
    **fields: Any,
) -> list[Reading]:
    """Centres off by these distances, to the left or towards the car by turns."""
    found = []
    for number, (off, turn) in enumerate(zip(centres, turns, strict=True), 1):
        dx, dy = (off, 0.0) if number % 2 else (0.0, -off)
        place = f"mats_{number}"
        found += [
            read("mat_dx", place, dx, "mm", 1.06, **fields),
            read("mat_dy", place, dy, "mm", 1.06, **fields),
            read("mat_turn", place, turn, "deg", 0.05, **fields),
        ]
    return found


def judged(readings: list[Reading], **facts: Any) -> Outcome:
    return outcome(mat_positions, WHERE, *readings, **facts)


def test_the_worked_mat_out_of_place() -> None:
    # 16 > 12 + 1.745; set again at 5 it is met.
    found = judged(mats((4.0, 5.0, 16.0, 3.0)))
    assert said(found) == ("not_met", ("outside_limit",))
    assert numbers(found)["mat_3"] == 16.0
    assert judged(mats((4.0, 5.0, 5.0, 3.0))).verdict == "met"


@pytest.mark.parametrize(("distance", "verdict"), edge_cases(None, 12.0, 1.06))
def test_every_edge_of_the_distance(distance: float, verdict: str) -> None:
    assert judged(mats((distance, 5.0, 5.0, 3.0))).verdict == verdict


@pytest.mark.parametrize("distance", [0.0, 0.1])
def test_a_mat_on_its_spot_is_met(distance: float) -> None:
    """A distance has no lower limit: near nothing is as good as it gets."""
    assert judged(mats((distance, 0.0, 0.0, 0.0))).verdict == "met"


@pytest.mark.parametrize(("turn", "verdict"), edge_cases(-0.5, 0.5, 0.05))
def test_every_edge_of_the_turn(turn: float, verdict: str) -> None:
    assert judged(mats(turns=(0.1, turn, 0.1, 0.1))).verdict == verdict


def test_a_distance_is_judged_against_its_upper_limit_alone() -> None:
    number = next(item for item in judged(mats()).numbers if item.name == "mat_1")
    assert (number.lower, number.upper) == (None, 12.0)


def test_both_directions_count_together() -> None:
    # 8 and 8 mm are 11.314 mm apart, above 12 - 1.744.
    readings = [
        replace(item, value=8.0) if item.place == "mats_1" and item.unit == "mm" else item for item in mats()
    ]
    found = judged(readings)
    assert found.verdict == "not_shown"
    assert numbers(found)["mat_1"] == pytest.approx(11.313708)


@pytest.mark.parametrize("quantity", ["mat_dx", "mat_dy", "mat_turn"])
def test_one_reading_missing(quantity: str) -> None:
    readings = [item for item in mats() if (item.quantity, item.place) != (quantity, "mats_4")]
    assert said(judged(readings)) == ("not_shown", ("missing",))


def test_parts_of_two_sets_are_not_put_together() -> None:
    first = mats((0.0, 16.0, 0.0, 0.0), set_no=1)
    again = [
        item for item in mats(when="09:45", set_no=2) if (item.quantity, item.place) == ("mat_dy", "mats_2")
    ]
    assert said(judged([*first, *again])) == ("not_shown", ("conflict",))


def test_without_an_instrument() -> None:
    assert said(judged(mats(instrument=None))) == ("not_shown", ("uncertainty_unknown",))


def test_the_worse_of_two_uncertainties_counts() -> None:
    readings = [
        replace(item, u=4.0) if (item.quantity, item.place) == ("mat_dy", "mats_1") else item
        for item in mats((9.0, 5.0, 5.0, 3.0))
    ]
    assert judged(readings).verdict == "not_shown"


def test_what_is_no_number() -> None:
    readings = [replace(item, value=float("nan")) if item.place == "mats_1" else item for item in mats()]
    found = judged(readings)
    assert found.verdict == "not_shown"
    assert "unreadable" in found.reasons
