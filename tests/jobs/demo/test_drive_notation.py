"""The drive notation: seconds, gaps, and positions that agree with the speeds."""

from datetime import UTC, datetime
from itertools import pairwise

import pytest

from jobs.demo.drive_notation import NotationError, drive
from rules.science.geodesy import distance_m

START = datetime(2026, 5, 5, 15, 34, tzinfo=UTC)


def test_one_fix_a_second_from_rest() -> None:
    found = drive("to 36 10; hold 5.", START, 43.1, -98.2)
    assert len(found) == 16
    assert found[0] == (START.timestamp(), 43.1, -98.2, 0.0, 0.0)
    assert [fix[0] - START.timestamp() for fix in found] == list(range(16))
    assert found[5][3] == pytest.approx(18.0)
    assert found[-1][3] == 36.0
    assert all(fix[2] == pytest.approx(-98.2) for fix in found)


def test_positions_follow_the_speeds() -> None:
    found = drive("to 72 20; hold 30; turn 90 10; hold 20; to 0 20", START, 43.1, -98.2)
    for a, b in pairwise(found):
        way = distance_m(a[1], a[2], b[1], b[2])
        assert way == pytest.approx((a[3] + b[3]) / 2 / 3.6, abs=1e-6)


def test_lost_leaves_a_gap_of_exactly_so_many_seconds_and_the_car_drives_on() -> None:
    found = drive("to 36 10; lost 7; hold 3", START, 43.1, -98.2)
    steps = [b[0] - a[0] for a, b in pairwise(found)]
    assert steps == [1.0] * 10 + [7.0] + [1.0] * 3
    assert distance_m(*found[10][1:3], *found[11][1:3]) == pytest.approx(70.0, abs=1e-6)


def test_turn_is_even_and_wraps() -> None:
    found = drive("to 36 10; turn 70 10; turn -90 9", START, 43.1, -98.2)
    assert found[15][4] == pytest.approx(35.0)
    assert found[20][4] == pytest.approx(70.0)
    assert found[-1][4] == pytest.approx(340.0)


@pytest.mark.parametrize(
    "text",
    ["", "to 45", "hold", "fly 3 4", "hold 0", "hold 2.5", "to 10 20 30", "to x 5", "turn 5", "to -5 10"],
)
def test_what_is_no_drive_is_refused(text: str) -> None:
    with pytest.raises(NotationError):
        drive(text, START, 43.1, -98.2)
