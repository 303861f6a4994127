"""The shop's own ratio of trip time to counted time, from the numbers of its judged drives."""

import pytest

from jobs.selectors.own_drives import _ratio, middle


def numbers(**values: float | None) -> list[dict[str, object]]:
    return [{"name": name, "value": value} for name, value in values.items()]


def test_863_seconds_of_trip_with_596_counted() -> None:
    """The worked drive: 596 s count of 863 s."""
    drive = numbers(
        counted_s=596.0, uncounted_slow_s=230.0, uncounted_turning_s=10.0, uncounted_short_run_s=27.0
    )
    assert _ratio(drive) == pytest.approx(863 / 596)
    assert _ratio([*drive, {"name": "uncounted_outside_s", "value": 400.0}]) == pytest.approx(863 / 596)


@pytest.mark.parametrize("values", [{}, {"counted_s": None}, {"counted_s": 0.0}, {"counted_s": 59.0}])
def test_a_drive_that_was_broken_off_tells_nothing(values: dict[str, float | None]) -> None:
    assert _ratio(numbers(**values)) is None


def test_the_middle_is_the_longer_of_two() -> None:
    assert middle([]) is None
    assert middle([1.2, 1.5, 2.0]) == 1.5
    assert middle([1.2, 1.5]) == 1.5
