"""Order and distance of events by interval and by the shared offset of one clock."""

from datetime import UTC, datetime, timedelta

import pytest

from rules.facts import Moment
from rules.science.clocks import (
    MIXED_CLOCK,
    earliest,
    fresh,
    happened_before,
    latest,
    shown_strictly_before,
    span,
)

NOON = datetime(2026, 5, 5, 12, tzinfo=UTC)
DAY_S = 86400.0


def reading(
    offset_s: float, half_width_s: float, clock: str = "device:scan", resolution_s: float = 0.0
) -> Moment:
    """A reading ``offset_s`` after noon whose true time is known to plus or minus ``half_width_s``."""
    shown = NOON + timedelta(seconds=offset_s)
    half = timedelta(seconds=half_width_s)
    high = shown + half + timedelta(seconds=resolution_s)
    return Moment(low=shown - half, high=high, reading=shown, clock=clock, resolution_s=resolution_s)


@pytest.mark.parametrize(
    ("a_s", "b_s", "half_s", "truth"),
    [
        (0, 0, 0, "true"),
        (0, 0.001, 0, "true"),
        (0.001, 0, 0, "false"),
        (0, 10, 5, "true"),
        (0, 9.999, 5, "unknown"),
        (0, -10, 5, "unknown"),
        (0, -10.001, 5, "false"),
    ],
)
def test_two_clocks_are_compared_by_their_intervals(a_s, b_s, half_s, truth):
    a, b = reading(a_s, half_s, "device:one"), reading(b_s, half_s, "device:two")
    assert happened_before(a, b) == truth


def test_one_device_with_unknown_offset_shows_order_but_not_time():
    """Scans at 09:10 and 09:40 by a display of minutes: 29 to 31 minutes apart, whatever the offset."""
    first, second = reading(0, DAY_S, resolution_s=60), reading(1800, DAY_S, resolution_s=60)
    apart = span(first, second)
    assert (apart.low, apart.high) == (timedelta(minutes=29), timedelta(minutes=31))
    assert apart.high_open
    assert happened_before(first, second) == "true"
    elsewhere = reading(1800, DAY_S, "device:tablet", 60)
    assert happened_before(first, elsewhere) == "unknown"


@pytest.mark.parametrize(
    ("b_s", "truth"), [(60, "true"), (59, "unknown"), (0, "unknown"), (-59, "unknown"), (-60, "false")]
)
def test_minute_displays_overlap_until_a_whole_minute_lies_between(b_s, truth):
    assert happened_before(reading(0, DAY_S, resolution_s=60), reading(b_s, DAY_S, resolution_s=60)) == truth


def test_a_slow_device_clock_may_turn_the_raw_order_round():
    """A scan shown at 15:20 by a clock that is 54:20 to 55:20 slow follows a session that ended 16:08:40."""
    end = Moment.exact(datetime(2026, 5, 5, 16, 8, 40, tzinfo=UTC))
    shown = datetime(2026, 5, 5, 15, 20, tzinfo=UTC)
    scan = Moment(
        low=shown + timedelta(minutes=54, seconds=20),
        high=shown + timedelta(minutes=56, seconds=20),
        reading=shown,
        clock="device:scan",
        resolution_s=60.0,
    )
    assert scan.low == datetime(2026, 5, 5, 16, 14, 20, tzinfo=UTC)
    assert happened_before(end, scan) == "true"


def test_server_brackets_are_never_compared_by_their_readings():
    """Two server brackets that overlap leave the order open, although their nominal readings differ."""
    first, second = reading(0, 60, "server"), reading(30, 60, "server")
    assert happened_before(first, second) == "unknown"


def test_claims_that_exclude_each_other_show_nothing():
    early = Moment(low=NOON, high=NOON, reading=NOON + timedelta(hours=2), clock="device:scan")
    late = Moment(
        low=NOON + timedelta(hours=1), high=NOON + timedelta(hours=1), reading=NOON, clock="device:scan"
    )
    assert happened_before(early, late) == "unknown"
    assert happened_before(late, early) == "unknown"


def test_strictly_before_leaves_the_same_instant_out():
    a, b = Moment.exact(NOON), Moment.exact(NOON + timedelta(microseconds=1))
    assert shown_strictly_before(a, b)
    assert not shown_strictly_before(a, a)


@pytest.mark.parametrize(
    ("age_s", "half_s", "truth"),
    [
        (14400, 0, "true"),
        (14400.000001, 0, "false"),
        (0, 0, "true"),
        (-0.000001, 0, "false"),
        (14398, 1, "true"),
        (14399, 1, "unknown"),
        (14402.1, 1, "false"),
        (1, 1, "unknown"),
    ],
)
def test_fresh_for_four_hours_includes_both_ends_and_straddling_is_open(age_s, half_s, truth):
    taken = reading(-age_s, half_s, "device:one")
    start = reading(0, half_s, "device:two")
    assert fresh(taken, start, 14400.0) == truth


def test_first_and_last_of_several_events():
    a, b = Moment.exact(NOON), Moment.exact(NOON + timedelta(seconds=5))
    assert earliest((b, a)) is a
    assert latest((a, b)) is b
    assert earliest(()) is None
    blurred = Moment(low=NOON - timedelta(1), high=NOON + timedelta(1), reading=NOON, clock="device:x")
    first = earliest((b, blurred))
    assert first is not None
    assert (first.low, first.high, first.clock) == (blurred.low, b.high, MIXED_CLOCK)
