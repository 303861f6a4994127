"""Seconds of a drive at the edges: session, key, gaps, sun and clock, each where its rule just turns.

The invented drives and limits follow common practice, no source; the sun's height at a fix is taken from
``rules.science.sun``, whose own test compares it with published values.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from rules.facts import Fix
from rules.rounding import to_six
from rules.science import sun
from rules.science.track import Analysis, DriveLimits, DriveTime, analyse, counted_between

T0 = datetime(2026, 5, 5, 15, 34, tzinfo=UTC).timestamp()
# 2026-10-20 17:50 at UTC-5, an hour before sunset at the shop.
EVENING = datetime(2026, 10, 20, 22, 50, tzinfo=UTC).timestamp()
LIMITS = DriveLimits(
    v_min_kph=65.0,
    v_max_kph=110.0,
    speed_change_mps2=1.0,
    turn_rate_dps=5.0,
    longest_gap_s=3.0,
    shortest_counted_s=5.0,
)
LAT, LON = 43.1, -98.2


def time(start: float, end: float | None, **fields: object) -> DriveTime:
    """A session in seconds from T0 whose bounds are known exactly."""
    base = DriveTime(start=(T0 + start, T0 + start), end=None if end is None else (T0 + end, T0 + end))
    return replace(base, **fields)  # type: ignore[arg-type]


def steady(
    seconds: Sequence[float], *, speed: float = 80.0, base: float = T0, lon: float = LON
) -> tuple[Fix, ...]:
    """Fixes at those seconds, driving north at an even speed (places are right for a fast glance only)."""
    return tuple(
        Fix(t=base + s, lat=LAT + s * speed / 3.6 / 111_200.0, lon=lon, speed_kph=speed, course_deg=0.0)
        for s in seconds
    )


def told(analysis: Analysis) -> dict[str, float]:
    return {str(reason): seconds for reason, seconds in analysis.uncounted}


# ------------------------------------------------------------------ session


@pytest.mark.parametrize(
    ("start", "end", "expected"),
    [
        (0.0, 100.0, {"gap": 20.0}),
        (50.0, 100.0, {"outside": 40.0, "gap": 20.0}),  # the gap from 40 to 60 lies over the start
        (60.0, 100.0, {"outside": 60.0}),  # it ends where the session starts
        (0.0, 40.0, {"outside": 60.0}),  # it begins where the session ends
        (0.0, 50.0, {"outside": 40.0, "gap": 20.0}),
        (200.0, 300.0, {"outside": 100.0}),
    ],
)
def test_a_gap_belongs_to_the_session_it_overlaps(
    start: float, end: float, expected: dict[str, float]
) -> None:
    track = steady([*range(41), *range(60, 101)])
    assert told(analyse(track, LIMITS, time(start, end))) == expected


def test_a_step_without_a_gap_over_the_edge_lies_outside() -> None:
    found = analyse(steady(range(0, 60, 2)), LIMITS, time(11.0, 58.0))
    assert told(found) == {"outside": 12.0}
    assert found.counted_s == 46.0


def test_the_second_pass_is_cut_to_the_session_at_both_ends() -> None:
    track = steady([0, *range(20, 61), 80])
    found = analyse(track, LIMITS, time(10.0, 65.0))
    assert [(run.start_s - T0, run.end_s - T0) for run in found.runs_high] == [(10.0, 65.0)]
    assert (found.high_s, found.longest_high_s, found.counted_s) == (55.0, 55.0, 40.0)


def test_counted_between_takes_both_its_ends() -> None:
    found = analyse(steady(range(61)), LIMITS, time(0.0, 60.0))
    assert counted_between(found, T0 + 10, T0 + 20) == 10.0
    assert counted_between(found, T0 + 10.5, T0 + 20) == 9.0
    assert counted_between(found, T0 + 10, T0 + 19.5) == 9.0


def test_nothing_counted_is_zero_seconds() -> None:
    found = analyse(steady(range(61), speed=20.0), LIMITS, time(0.0, 60.0))
    assert (found.counted_s, found.longest_s, found.high_s, found.longest_high_s) == (0.0, 0.0, 0.0, 0.0)
    assert (found.runs, found.runs_high) == ((), ())


def test_times_that_do_not_increase_say_so() -> None:
    with pytest.raises(ValueError, match=r"^the times of the fixes do not strictly increase$"):
        analyse(steady([0, 1, 1, 2]), LIMITS, time(0.0, 60.0))


# ------------------------------------------------------------------ manner of driving


def test_rates_are_per_second_also_where_fixes_are_two_seconds_apart() -> None:
    """3 km/h within 2 s are 0.42 m/s2, and 8 deg within 2 s are 4 deg/s: both inside their limits."""
    fixes = tuple(
        Fix(
            t=T0 + 2 * n,
            lat=LAT + n * 0.0004,
            lon=LON,
            speed_kph=80.0 + 3.0 * (n % 2),
            course_deg=8.0 * (n % 2),
        )
        for n in range(30)
    )
    found = analyse(fixes, LIMITS, time(0.0, 58.0))
    assert told(found) == {}
    assert found.counted_s == 58.0


@pytest.mark.parametrize(
    ("speeds", "courses", "reason"),
    [
        ((80.0, 111.0), (0.0, 0.0), "fast"),
        ((64.0, 64.0), (0.0, 0.0), "slow"),
        ((80.0, 84.0), (0.0, 0.0), "uneven"),
        ((80.0, 80.0), (0.0, 6.0), "turning"),
    ],
)
def test_each_reason_is_told_under_its_own_name(
    speeds: tuple[float, float], courses: tuple[float, float], reason: str
) -> None:
    """One odd fix after ten even seconds; the half-second step shows that no sum is lost below a second."""
    even = [Fix(t=T0 + n, lat=LAT, lon=LON, speed_kph=speeds[0], course_deg=0.0) for n in range(11)]
    odd = Fix(t=T0 + 10.5, lat=LAT, lon=LON, speed_kph=speeds[1], course_deg=courses[1])
    found = analyse((*even, odd), LIMITS, time(0.0, 20.0))
    assert told(found)[reason] == (10.5 if reason == "slow" else 0.5)
    assert found.counted_s == (0.0 if reason == "slow" else 10.0)


def test_a_step_as_long_as_the_longest_gap_is_none() -> None:
    found = analyse(steady(range(0, 61, 3)), LIMITS, time(0.0, 60.0))
    assert (found.gap_s, found.counted_s) == (0.0, 60.0)


def test_reasons_are_told_in_the_order_of_the_rules() -> None:
    slow = steady(range(30, 40), speed=20.0)
    short = steady([40.0, 41.0])
    found = analyse((*steady([*range(10), *range(20, 30)]), *slow, *short), LIMITS, time(5.0, 60.0))
    assert [str(reason) for reason, _ in found.uncounted] == ["outside", "gap", "slow", "short_run"]


# ------------------------------------------------------------------ key


def test_a_key_whose_bounds_are_open_leaves_the_clocks_to_decide() -> None:
    """Off between 20 and 25, on again between 30 and 35: surely off only from 25 to 30."""
    key = (((T0 + 20, T0 + 25), (T0 + 30, T0 + 35)),)
    found = analyse(steady(range(61)), LIMITS, time(0.0, 60.0, key_off=key))
    assert told(found) == {"key_off": 5.0, "clock_open": 10.0}
    assert (found.counted_s, found.high_s) == (45.0, 55.0)


def test_a_slow_step_under_an_open_key_is_told_as_key_off() -> None:
    key = (((T0 + 20, T0 + 25), (T0 + 30, T0 + 35)),)
    found = analyse(steady(range(61), speed=20.0), LIMITS, time(0.0, 60.0, key_off=key))
    assert told(found) == {"slow": 45.0, "key_off": 15.0}


@pytest.mark.parametrize(
    ("off", "on", "high"),
    [
        ((20.0, 25.0), (25.0, 35.0), 60.0),  # perhaps off for no time at all
        ((20.0, 28.0), (24.0, 35.0), 60.0),  # the bounds overlap
        ((20.0, 24.0), (28.0, 35.0), 40.0),  # surely off inside the gap from 20 to 40
    ],
)
def test_a_gap_under_the_key_counts_in_the_second_pass_unless_it_was_surely_off(
    off: tuple[float, float], on: tuple[float, float], high: float
) -> None:
    key = (((T0 + off[0], T0 + off[1]), (T0 + on[0], T0 + on[1])),)
    found = analyse(steady([*range(21), *range(40, 61)]), LIMITS, time(0.0, 60.0, key_off=key))
    assert found.high_s == high


# ------------------------------------------------------------------ time of the session without fixes


@pytest.mark.parametrize(("end", "high"), [((T0 + 90.0, T0 + 100.0), 110.0), (None, 0.0)])
def test_a_session_without_any_fix_is_one_gap(end: tuple[float, float] | None, high: float) -> None:
    session = DriveTime(start=(T0 - 10.0, T0), end=end, edges_are_gaps=True)
    found = analyse((), LIMITS, session)
    assert (found.high_s, found.longest_high_s, found.counted_s) == (high, high, 0.0)


def test_edges_reach_to_the_widest_bounds_of_the_session() -> None:
    session = DriveTime(start=(T0 - 20.0, T0 - 10.0), end=(T0 + 70.0, T0 + 80.0), edges_are_gaps=True)
    track = steady(range(61))
    found = analyse(track, LIMITS, session)
    assert (found.counted_s, found.high_s) == (60.0, 100.0)
    assert len(found.runs_high) == 1
    assert found.runs_high[0].distance_m == found.runs[0].distance_m  # an edge has no length


def test_a_session_that_runs_has_no_edge_behind_the_last_fix() -> None:
    session = DriveTime(start=(T0 - 20.0, T0 - 20.0), end=None, edges_are_gaps=True)
    assert analyse(steady(range(61)), LIMITS, session).high_s == 80.0


def test_an_edge_with_the_key_surely_off_counts_in_no_pass() -> None:
    key = (((T0 - 15.0, T0 - 14.0), (T0 - 6.0, T0 - 5.0)),)
    session = time(-20.0, 60.0, key_off=key, edges_are_gaps=True)
    assert analyse(steady(range(61)), LIMITS, session).high_s == 60.0


# ------------------------------------------------------------------ sun


def height(t: float, lon: float = LON) -> float:
    return to_six(sun.position_deg(t, LAT, lon)[0])


def at_dusk(limit: float, **fields: object) -> tuple[DriveLimits, DriveTime]:
    session = DriveTime(start=(EVENING, EVENING), end=(EVENING + 60, EVENING + 60))
    return replace(LIMITS, sun_above_deg=limit), replace(session, **fields)  # type: ignore[arg-type]


def still(seconds: Sequence[float], base: float = EVENING) -> tuple[Fix, ...]:
    """As ``steady``, at one place, so that only time moves the sun."""
    return tuple(Fix(t=base + s, lat=LAT, lon=LON, speed_kph=80.0, course_deg=0.0) for s in seconds)


def test_without_a_limit_on_the_sun_both_passes_count() -> None:
    found = analyse(still(range(61)), LIMITS, at_dusk(0.0)[1])
    assert (found.counted_s, found.high_s) == (60.0, 60.0)


def test_the_limit_itself_belongs_to_counts() -> None:
    """The sun sinks, so the last fix is the lowest; a millionth of a degree more asks too much of it."""
    lowest = height(EVENING + 60)
    assert lowest < height(EVENING)
    limits, session = at_dusk(lowest)
    found = analyse(still(range(61)), limits, session)
    assert (found.counted_s, found.high_s) == (60.0, 60.0)
    limits, _ = at_dusk(lowest + 1e-6)
    found = analyse(still(range(61)), limits, session)
    assert (found.counted_s, found.high_s, told(found)) == (59.0, 59.0, {"low_sun": 1.0})


def test_a_clock_that_runs_ahead_has_seen_a_higher_sun() -> None:
    """Ten minutes ahead: at the log's 17:50 it was 17:40, with the sun higher than the log's time says."""
    limits, session = at_dusk(height(EVENING - 300), offset_low_s=600.0, offset_high_s=600.0)
    assert analyse(still(range(61)), limits, session).counted_s == 60.0
    limits, session = at_dusk(height(EVENING - 300), offset_low_s=-600.0, offset_high_s=-600.0)
    found = analyse(still(range(61)), limits, session)
    assert (found.counted_s, found.high_s) == (0.0, 0.0)


@pytest.mark.parametrize(("spread", "counted"), [(600.0, 60.0), (601.0, 0.0)])
def test_a_clock_open_by_more_than_ten_minutes_shows_no_sun(spread: float, counted: float) -> None:
    limits, session = at_dusk(0.5, offset_low_s=0.0, offset_high_s=spread)
    found = analyse(still(range(61)), limits, session)
    assert (found.counted_s, found.high_s) == (counted, 60.0)


def test_an_edge_is_judged_by_the_fix_next_to_it() -> None:
    """The first fix stands two degrees farther west than the last, where the sun is higher."""
    west, east = LON - 1.0, LON + 1.0
    fixes = (
        Fix(t=EVENING, lat=LAT, lon=west, speed_kph=80.0, course_deg=0.0),
        Fix(t=EVENING + 10, lat=LAT, lon=west, speed_kph=80.0, course_deg=0.0),
        Fix(t=EVENING + 20, lat=LAT, lon=east, speed_kph=80.0, course_deg=0.0),
    )
    between = (height(EVENING, LON - 1.0) + height(EVENING, LON + 1.0)) / 2
    limits = replace(LIMITS, sun_above_deg=between)
    bounds = {"start": (EVENING - 30, EVENING - 30), "end": (EVENING + 50, EVENING + 50)}
    found = analyse(fixes, limits, DriveTime(**bounds, edges_are_gaps=True))  # type: ignore[arg-type]
    # The edge before and the gap in the west count in the second pass; the gap east and the edge behind not.
    assert [(run.start_s - EVENING, run.end_s - EVENING) for run in found.runs_high] == [(-30.0, 10.0)]


def test_an_edge_needs_the_sun_at_both_its_ends() -> None:
    """At sunrise the early end of the edge is the low one."""
    morning = datetime(2026, 10, 20, 13, 10, tzinfo=UTC).timestamp()
    assert height(morning - 300) < height(morning)
    limits = replace(LIMITS, sun_above_deg=(height(morning - 300) + height(morning)) / 2)
    session = DriveTime(
        start=(morning - 300, morning - 300), end=(morning + 60, morning + 60), edges_are_gaps=True
    )
    assert analyse(still(range(61), morning), limits, session).high_s == 60.0


def test_glare_is_told_down_to_the_horizon() -> None:
    """2026-10-20 18:34:30 at UTC-5: the sun's centre stands half a degree high, ahead of the car."""
    late = datetime(2026, 10, 20, 23, 34, 30, tzinfo=UTC).timestamp()
    elevation, azimuth = sun.position_deg(late, LAT, LON)
    assert 0.0 < elevation < 1.0
    fixes = tuple(replace(fix, course_deg=azimuth) for fix in still(range(21), late))
    session = DriveTime(start=(late, late), end=(late + 20, late + 20))
    assert analyse(fixes, LIMITS, session).glare_s == 20.0
    away = tuple(replace(fix, course_deg=azimuth + 25.0) for fix in fixes)
    assert analyse(away, LIMITS, session).glare_s == 0.0
