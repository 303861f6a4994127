"""Order and distance of events by interval and by the shared offset of one clock."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.facts import Moment
from rules.science.clocks import (
    MIXED_CLOCK,
    WEEK_ROLLOVER,
    OffsetBounds,
    Span,
    answered_offset,
    both,
    earliest,
    exchange_offset,
    fresh,
    happened_before,
    intersected,
    latest,
    possibly_last,
    screen_offset,
    shown_strictly_before,
    span,
    weeks_turned_over,
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


# ------------------------------------------------------------------ what a comparison of clocks gives


def seconds(value: float) -> datetime:
    return NOON + timedelta(seconds=value)


def test_one_exchange_gives_offset_and_half_delay_as_rfc_5905_does():
    """T1 10.000, T2 72.480, T3 72.500, T4 10.260: offset 62.36 s, delay 0.24 s (RFC 5905 section 8)."""
    t1, t2, t3, t4 = 10.000, 72.480, 72.500, 10.260
    found = exchange_offset(
        server_sent=seconds(t1),
        device_received=seconds(t2),
        device_sent=seconds(t3),
        server_received=seconds(t4),
    )
    offset, delay = ((t2 - t1) + (t3 - t4)) / 2, (t4 - t1) - (t3 - t2)
    assert (round(offset, 6), round(delay, 6)) == (62.36, 0.24)
    assert found == OffsetBounds(low=timedelta(seconds=62.24), high=timedelta(seconds=62.48))
    assert (found.low + found.high) / 2 == timedelta(seconds=62.36)
    assert (found.high - found.low) / 2 == timedelta(seconds=0.12)


@given(
    t1=st.integers(0, 10**9),
    there=st.integers(0, 10**7),
    held=st.integers(0, 10**7),
    back=st.integers(0, 10**7),
    offset=st.integers(-(10**11), 10**11),
)
def test_the_true_offset_lies_within_whatever_way_took_longer(t1, there, held, back, offset):
    """True times in microseconds; the device is ``offset`` ahead."""

    def us(value):
        return NOON + timedelta(microseconds=value)

    found = exchange_offset(
        server_sent=us(t1),
        device_received=us(t1 + there + offset),
        device_sent=us(t1 + there + held + offset),
        server_received=us(t1 + there + held + back),
    )
    assert found.low <= timedelta(microseconds=offset) <= found.high
    assert found.high - found.low == timedelta(microseconds=there + back)
    assert not found.high_open


@pytest.mark.parametrize(
    ("t1", "t2", "t3", "t4"),
    [(10, 72.5, 72.48, 10.26), (10.26, 72.48, 72.5, 10), (10, 72, 73, 10.5)],
)
def test_an_exchange_that_cannot_be_is_refused(t1, t2, t3, t4):
    with pytest.raises(ValueError, match=r"."):
        exchange_offset(
            server_sent=seconds(t1),
            device_received=seconds(t2),
            device_sent=seconds(t3),
            server_received=seconds(t4),
        )


def test_an_exchange_without_any_delay_is_exact():
    found = exchange_offset(
        server_sent=NOON, device_received=seconds(5), device_sent=seconds(5), server_received=NOON
    )
    assert found == OffsetBounds(low=timedelta(seconds=5), high=timedelta(seconds=5))
    assert answered_offset(
        device_sent=seconds(5), server_at=NOON, device_received=seconds(5)
    ) == OffsetBounds(low=timedelta(seconds=5), high=timedelta(seconds=5))


def test_a_device_that_asks_is_bounded_by_its_question_and_its_answer():
    found = answered_offset(device_sent=seconds(62.24), server_at=NOON, device_received=seconds(62.48))
    assert found == OffsetBounds(low=timedelta(seconds=62.24), high=timedelta(seconds=62.48))
    with pytest.raises(ValueError, match="before the question"):
        answered_offset(device_sent=seconds(1), server_at=NOON, device_received=seconds(0.999999))


def test_a_display_of_minutes_leaves_the_whole_minute_open():
    """True 14:06:20, the screen shows 13:11: the offset lies in [-55:20, -54:20)."""
    true, shows = NOON.replace(hour=14, minute=6, second=20), NOON.replace(hour=13, minute=11)
    found = screen_offset(shows=shows, resolution=timedelta(minutes=1), seen_low=true, seen_high=true)
    assert found == OffsetBounds(
        low=-timedelta(minutes=55, seconds=20), high=-timedelta(minutes=54, seconds=20), high_open=True
    )
    half = timedelta(seconds=0.2)
    wide = screen_offset(shows=shows, resolution=timedelta(0), seen_low=true - half, seen_high=true + half)
    assert (wide.low, wide.high, wide.high_open) == (
        shows - true - half,
        shows - true + half,
        False,
    )


@pytest.mark.parametrize(
    ("late_s", "turned"),
    [(0, True), (-86_400, True), (-86_401, False), (604_800, True), (604_801, False)],
)
def test_a_week_count_that_began_anew_is_known_by_its_age(late_s, turned):
    """1024 weeks are 7168 days, 19.6 years (IS-GPS-200, ten bits of week number)."""
    assert timedelta(days=7168) == WEEK_ROLLOVER
    reading = NOON - WEEK_ROLLOVER - timedelta(seconds=late_s)
    assert weeks_turned_over(reading, received_at=NOON, within=timedelta(days=7)) is turned
    assert not weeks_turned_over(NOON, received_at=NOON, within=timedelta(days=7))


# ------------------------------------------------------------------ spans

S = timedelta(seconds=1)


@pytest.mark.parametrize(
    ("low", "high", "is_open", "truth"),
    [
        (0, 0, False, "true"),
        (1, 2, True, "true"),
        (-1, 0, False, "unknown"),
        (-1, 0, True, "false"),
        (-2, -1, False, "false"),
        (-1, 1, True, "unknown"),
        (0, 5, True, "true"),
    ],
)
def test_whether_a_difference_is_shown_not_to_be_negative(low, high, is_open, truth):
    assert Span(low=low * S, high=high * S, high_open=is_open).is_not_negative == truth


@pytest.mark.parametrize(
    ("limit", "truth"), [(4, "false"), (5, "unknown"), (6, "unknown"), (7, "true"), (8, "true")]
)
def test_whether_a_difference_is_shown_to_be_within_a_limit(limit, truth):
    assert Span(low=5 * S, high=7 * S).at_most(limit * S) == truth


@pytest.mark.parametrize(
    ("low", "high", "is_open", "expected"),
    [
        (None, None, False, (0, 10, True)),
        (1, None, False, (1, 10, True)),
        (-1, 11, False, (0, 10, True)),
        (None, 9, False, (0, 9, False)),
        (None, 9, True, (0, 9, True)),
        (None, 10, False, (0, 10, True)),
        (None, 11, True, (0, 10, True)),
    ],
)
def test_a_span_is_narrowed_by_further_bounds(low, high, is_open, expected):
    known = Span(low=0 * S, high=10 * S, high_open=True)
    found = intersected(
        known,
        low=None if low is None else low * S,
        high=None if high is None else high * S,
        high_open=is_open,
    )
    assert (found.low / S, found.high / S, found.high_open) == expected


def test_a_closed_bound_of_the_same_size_closes_nothing_and_an_open_one_opens():
    closed = Span(low=0 * S, high=10 * S)
    assert intersected(closed, low=None, high=10 * S, high_open=True).high_open
    assert not intersected(closed, low=None, high=10 * S).high_open


def test_bounds_of_one_clock_and_of_true_time_both_hold():
    """Readings 29 to 31 minutes apart, true intervals 30 to 40: 30 to 31 remain."""
    first = Moment(low=NOON, high=NOON, reading=NOON, clock="device:x", resolution_s=60.0)
    second = Moment(
        low=NOON + 1800 * S,
        high=NOON + 2400 * S,
        reading=NOON + 1800 * S,
        clock="device:x",
        resolution_s=60.0,
    )
    assert span(first, second) == Span(low=1800 * S, high=1860 * S, high_open=True)
    tight = replace(second, high=NOON + 1830 * S)
    assert span(first, tight) == Span(low=1800 * S, high=1830 * S)
    exact = replace(first, resolution_s=0.0), replace(second, resolution_s=0.0)
    assert span(*exact) == Span(low=1800 * S, high=1800 * S)


def test_bounds_that_exclude_each_other_are_both_given_up():
    first = Moment(low=NOON, high=NOON, reading=NOON, clock="device:x")
    for low, high, expected in ((3600, 3600, (60, 3600)), (-3600, -3600, (-3600, 60))):
        second = Moment(low=NOON + low * S, high=NOON + high * S, reading=NOON + 60 * S, clock="device:x")
        found = span(first, second)
        assert (found.low / S, found.high / S, found.high_open) == (*expected, False)


@pytest.mark.parametrize(
    ("truths", "expected"),
    [
        (("true", "true"), "true"),
        (("true", "unknown"), "unknown"),
        (("unknown", "false"), "false"),
        ((), "true"),
    ],
)
def test_conjunction_in_three_values(truths, expected):
    assert both(*truths) == expected


# ------------------------------------------------------------------ first and last


def test_every_item_that_may_be_the_last_is_kept():
    early, late = Moment.exact(NOON), Moment.exact(NOON + S)
    vague = Moment(low=NOON - S, high=NOON + 5 * S, reading=NOON, clock="device:x")
    assert possibly_last([late, early], lambda item: item) == (late,)
    assert possibly_last([early, vague, late], lambda item: item) == (vague, late)
    assert possibly_last([vague], lambda item: item) == (vague,)
    assert possibly_last([], lambda item: item) == ()


def test_of_equal_times_each_may_be_the_last_however_they_are_listed():
    items = [("a", Moment.exact(NOON)), ("b", Moment.exact(NOON))]
    assert [name for name, _ in possibly_last(items, lambda item: item[1])] == ["a", "b"]
    assert [name for name, _ in possibly_last(items[::-1], lambda item: item[1])] == ["b", "a"]


def test_a_moment_put_together_reaches_from_the_extreme_low_to_the_extreme_high():
    a = Moment(low=NOON, high=NOON + 10 * S, reading=NOON + 2 * S, clock="device:x")
    b = Moment(low=NOON + 1 * S, high=NOON + 5 * S, reading=NOON + 4 * S, clock="device:y")
    last, first = latest((a, b)), earliest((a, b))
    assert last == Moment(low=NOON + 1 * S, high=NOON + 10 * S, reading=NOON + 4 * S, clock=MIXED_CLOCK)
    assert first == Moment(low=NOON, high=NOON + 5 * S, reading=NOON + 2 * S, clock=MIXED_CLOCK)
    assert latest((a,)) is a
    assert earliest((b,)) is b
    assert latest(()) is None
