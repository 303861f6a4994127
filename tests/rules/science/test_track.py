"""Which seconds of a drive count: worked drives, every rule at its boundary, gaps, edges, sun, columns."""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from rules.facts import Fix
from rules.science.motion import motion, speed_column_conflicts
from rules.science.track import Analysis, DriveLimits, DriveTime, analyse, counted_between
from tests.drive_notation import fixes

START = datetime(2026, 5, 5, 15, 34, tzinfo=UTC)
T0 = START.timestamp()
LIMITS = DriveLimits(
    v_min_kph=65.0,
    v_max_kph=110.0,
    speed_change_mps2=1.0,
    turn_rate_dps=5.0,
    longest_gap_s=3.0,
    shortest_counted_s=30.0,
    sun_above_deg=5.0,
)
ALL_DAY = DriveTime(
    start=(T0 - 600, T0 - 600), end=(T0 + 7200, T0 + 7200), offset_low_s=-1.0, offset_high_s=1.0
)
DRIVE_A = "to 45 25; hold 110; to 78 22; hold 240; to 0 25; hold 40; to 78 30; hold 185; " + (
    "turn 70 10; hold 150; to 0 26"
)
DRIVE_B = "to 45 25; hold 110; to 78 22; hold 240; lost 55; hold 190; turn 70 10; hold 150; to 0 26"
DRIVE_MET = "to 40 22; hold 95; to 82 28; hold 330; turn 60 10; hold 225; " + (
    "to 50 16; hold 40; to 80 20; hold 130; to 0 27"
)
DRIVE_KEY_OFF = "to 40 22; hold 60; to 80 25; hold 400; to 0 27; hold 60; to 80 45; hold 420; to 0 27"


def runs(analysis: Analysis) -> list[tuple[float, float]]:
    return [(run.start_s - T0, run.end_s - T0) for run in analysis.runs]


def test_worked_drive_a_lasts_fourteen_minutes_and_counts_under_ten() -> None:
    track = fixes(DRIVE_A, START)
    found = analyse(track, LIMITS, ALL_DAY)
    assert track[-1].t - T0 == 863
    assert runs(found) == [(149, 401), (487, 677), (687, 841)]
    assert (found.counted_s, found.high_s) == (596.0, 596.0)
    assert found.distance_m / 1000 == pytest.approx(12.88, abs=5e-3)
    assert found.track_m / 1000 == pytest.approx(15.46, abs=5e-3)


def test_worked_drive_b_a_gap_could_hide_the_missing_time() -> None:
    found = analyse(fixes(DRIVE_B, START), LIMITS, ALL_DAY)
    assert (found.counted_s, found.high_s) == (592.0, 647.0)
    assert found.gap_s == 55.0
    assert dict(found.uncounted)["gap"] == 55.0


def test_the_drive_that_is_enough() -> None:
    track = fixes(DRIVE_MET, START)
    found = analyse(track, LIMITS, ALL_DAY)
    assert track[-1].t - T0 == 943
    assert [run.seconds for run in found.runs] == [341.0, 233.0, 145.0]
    assert (found.counted_s, found.longest_s) == (719.0, 341.0)
    assert found.track_m / 1000 == pytest.approx(18.92, abs=5e-3)


def test_counted_before_and_after_the_key_was_off() -> None:
    off = (T0 + 554, T0 + 554), (T0 + 569, T0 + 569)
    found = analyse(fixes(DRIVE_KEY_OFF, START), LIMITS, replace(ALL_DAY, key_off=(off,)))
    assert found.counted_s == 847.0
    assert counted_between(found, -math.inf, T0 + 554) == 414.0
    assert counted_between(found, T0 + 569, math.inf) == 433.0
    assert dict(found.uncounted)["key_off"] == 15.0


def test_positions_alone_tell_the_same_story() -> None:
    for text in (DRIVE_A, DRIVE_B, DRIVE_MET, DRIVE_KEY_OFF):
        by_column = analyse(fixes(text, START), LIMITS, ALL_DAY)
        by_place = analyse(fixes(text, START, columns=False), LIMITS, ALL_DAY)
        assert by_place.counted_s == pytest.approx(by_column.counted_s, abs=3)
        assert by_place.track_m == pytest.approx(by_column.track_m, rel=1e-6)


# ------------------------------------------------------------------ one step at its boundaries


def pair(v1: float, v2: float, course: float = 0.0, seconds: float = 1.0) -> tuple[Fix, ...]:
    """Two fixes whose positions fit the mean speed."""
    north = math.degrees((v1 + v2) / 2 / 3.6 * seconds / 6371008.8)
    return (
        Fix(t=T0, lat=43.1, lon=-98.2, speed_kph=v1, course_deg=0.0),
        Fix(t=T0 + seconds, lat=43.1 + north, lon=-98.2, speed_kph=v2, course_deg=course % 360),
    )


@pytest.mark.parametrize(
    ("track", "reason"),
    [
        (pair(65.0, 65.0), "counts"),
        (pair(64.999999, 65.0), "slow"),
        (pair(110.0, 110.0), "counts"),
        (pair(110.0, 110.000001), "fast"),
        (pair(80.0, 83.6), "counts"),
        (pair(80.0, 83.600004), "uneven"),
        (pair(83.600004, 80.0), "uneven"),
        (pair(80.0, 80.0, 5.0), "counts"),
        (pair(80.0, 80.0, -5.0), "counts"),
        (pair(80.0, 80.0, 5.000001), "turning"),
        (pair(80.0, 80.0, -5.000001), "turning"),
        (pair(80.0, 80.0, 355.5), "counts"),
        (pair(80.0, 80.0, 0.0, 3.0), "counts"),
        (pair(80.0, 80.0, 0.0, 3.000002), "gap"),
        (pair(20.0, 130.0), "slow"),
        (pair(20.0, 20.0, 90.0, 4.0), "gap"),
    ],
)
def test_each_rule_at_its_limit(track: tuple[Fix, ...], reason: str) -> None:
    found = analyse(track, replace(LIMITS, shortest_counted_s=0.0), ALL_DAY)
    assert found.steps[0].reason == reason


def test_limits_that_a_pack_leaves_out_exclude_nothing() -> None:
    nothing = replace(
        LIMITS, v_min_kph=None, v_max_kph=None, speed_change_mps2=None, turn_rate_dps=None,
        sun_above_deg=None, shortest_counted_s=0.0,
    )  # fmt: skip
    assert analyse(pair(3.0, 190.0, 170.0), nothing, ALL_DAY).steps[0].reason == "counts"


def test_more_than_leaves_the_limit_itself_out() -> None:
    strict = replace(LIMITS, v_min_included=False, v_max_included=False, shortest_counted_s=0.0)
    assert analyse(pair(65.0, 65.0), strict, ALL_DAY).steps[0].reason == "slow"
    assert analyse(pair(65.000001, 65.000001), strict, ALL_DAY).steps[0].reason == "counts"
    assert analyse(pair(110.0, 110.0), strict, ALL_DAY).steps[0].reason == "fast"


@pytest.mark.parametrize(("hold", "counted"), [(29, 0.0), (30, 30.0)])
def test_a_run_shorter_than_asked_is_dropped(hold: int, counted: float) -> None:
    limits = replace(LIMITS, speed_change_mps2=0.5)
    found = analyse(fixes(f"to 80 10; hold {hold}; to 0 10", START), limits, ALL_DAY)
    assert found.counted_s == counted
    assert ("short_run" in dict(found.uncounted)) is (counted == 0.0)


# ------------------------------------------------------------------ session edges, key, clocks

STEADY = "to 80 30; hold 300; to 0 30"


def steady(time: DriveTime) -> Analysis:
    return analyse(fixes(STEADY, START), LIMITS, time)


def test_steps_must_lie_wholly_inside_the_session() -> None:
    whole = steady(ALL_DAY).counted_s
    cut = steady(replace(ALL_DAY, start=(T0 + 100, T0 + 100), end=(T0 + 200, T0 + 200)))
    assert whole == 310.0  # 65 km/h are reached within the ramps
    assert (cut.counted_s, cut.high_s) == (100.0, 100.0)
    halfway = steady(replace(ALL_DAY, start=(T0 + 100.5,) * 2, end=(T0 + 200.5,) * 2))
    assert (halfway.counted_s, halfway.high_s) == (99.0, 99.0)


def test_what_only_the_clocks_leave_open_counts_in_the_second_pass_alone() -> None:
    found = steady(replace(ALL_DAY, start=(T0 + 100, T0 + 110), end=(T0 + 200, T0 + 220)))
    assert (found.counted_s, found.high_s) == (90.0, 120.0)
    assert dict(found.uncounted)["clock_open"] == 30.0


def test_a_session_that_runs_has_no_end() -> None:
    assert steady(replace(ALL_DAY, end=None)).counted_s == 310.0


def test_key_off_whose_bounds_are_open() -> None:
    off = (T0 + 100, T0 + 105), (T0 + 120, T0 + 130)
    found = steady(replace(ALL_DAY, key_off=(off,)))
    assert found.counted_s == 280.0
    assert found.high_s == 295.0


def test_a_key_that_stays_off() -> None:
    off = (T0 + 200, T0 + 200), (math.inf, math.inf)
    found = steady(replace(ALL_DAY, key_off=(off,)))
    assert found.counted_s == found.high_s == 175.0


def test_time_before_the_first_and_after_the_last_fix() -> None:
    track = fixes(STEADY, START)
    window = replace(ALL_DAY, start=(T0 - 40, T0 - 40), end=(track[-1].t + 50,) * 2)
    without = analyse(track, LIMITS, window)
    with_edges = analyse(track, LIMITS, replace(window, edges_are_gaps=True))
    assert without.high_s == 310.0
    assert (with_edges.counted_s, with_edges.high_s) == (310.0, 400.0)


def test_a_gap_over_the_edge_of_the_session_is_cut_to_it() -> None:
    track = fixes("to 80 30; hold 60; lost 100; hold 60; to 0 30", START)
    found = analyse(track, LIMITS, replace(ALL_DAY, end=(T0 + 120, T0 + 120)))
    assert found.counted_s == 65.0
    assert found.high_s == 95.0
    outside = analyse(track, LIMITS, replace(ALL_DAY, start=(T0 + 200, T0 + 200)))
    assert outside.steps[0].reason == "outside"


def test_nothing_counts_without_fixes_or_with_one() -> None:
    for track in ((), fixes(STEADY, START)[:1]):
        found = analyse(track, LIMITS, ALL_DAY)
        assert (found.counted_s, found.high_s, found.runs) == (0.0, 0.0, ())


def test_a_phone_that_writes_every_ten_seconds_shows_gaps_only() -> None:
    track = fixes(STEADY, START)[::10]
    found = analyse(track, LIMITS, ALL_DAY)
    assert found.counted_s == 0.0
    assert found.high_s == 360.0


@pytest.mark.parametrize("shift", [0.0, -1.0])
def test_time_that_stands_still_or_runs_back_is_refused(shift: float) -> None:
    track = list(fixes(STEADY, START))
    track[50] = replace(track[50], t=track[49].t + shift)
    with pytest.raises(ValueError, match="strictly increase"):
        analyse(track, LIMITS, ALL_DAY)


# ------------------------------------------------------------------ sun

EVENING = datetime(2026, 10, 20, 18, 0, tzinfo=timezone(timedelta(hours=-5)))


def test_no_second_counts_once_the_sun_is_below_the_limit() -> None:
    # The geometric elevation falls through 5 degrees at 18:08:30 (worked value, accuracy 0.1 degree).
    track = fixes("to 80 30; hold 900; to 0 30", EVENING)
    t0 = EVENING.timestamp()
    window = DriveTime(start=(t0, t0), end=(track[-1].t, track[-1].t), offset_low_s=-1.0, offset_high_s=1.0)
    found = analyse(track, LIMITS, window)
    assert [run.end_s - t0 for run in found.runs] == [pytest.approx(510, abs=40)]
    assert dict(found.uncounted)["low_sun"] > 350
    assert found.counted_s == found.high_s or found.high_s - found.counted_s <= 2
    assert analyse(track, replace(LIMITS, sun_above_deg=None), window).counted_s == 910.0


def test_gap_steps_obey_the_sun_too() -> None:
    track = fixes("to 80 30; hold 400; lost 400; hold 60; to 0 30", EVENING)
    t0 = EVENING.timestamp()
    found = analyse(track, LIMITS, DriveTime(start=(t0, t0), end=(track[-1].t,) * 2))
    assert found.high_s == found.counted_s
    assert dict(found.uncounted)["low_sun"] >= 400


def test_with_an_unknown_clock_the_sun_is_not_shown() -> None:
    unknown = replace(ALL_DAY, offset_low_s=-86_400.0, offset_high_s=86_400.0)
    found = analyse(fixes(STEADY, START), LIMITS, unknown)
    assert (found.counted_s, found.high_s) == (0.0, 310.0)


def test_driving_into_a_low_sun_is_counted_and_told() -> None:
    # At 18:00 the sun stands near 249 degrees, 6.5 degrees high.
    west = tuple(replace(fix, course_deg=250.0) for fix in fixes(STEADY, EVENING))
    t0 = EVENING.timestamp()
    window = DriveTime(start=(t0, t0), end=(t0 + 400, t0 + 400))
    assert analyse(west, LIMITS, window).glare_s == pytest.approx(310, abs=1)
    assert analyse(fixes(STEADY, EVENING), LIMITS, window).glare_s == 0.0


# ------------------------------------------------------------------ columns


@pytest.mark.parametrize(
    ("factor", "conflict"),
    [(1.0, False), (1.149, False), (1.151, True), (0.85, False), (0.84, True), (1 / 3.6, True)],
)
def test_a_speed_column_that_the_positions_deny(factor: float, conflict: bool) -> None:
    track = tuple(replace(fix, speed_kph=(fix.speed_kph or 0) * factor) for fix in fixes(STEADY, START))
    assert speed_column_conflicts(track, 3.0) is conflict
    assert analyse(track, LIMITS, ALL_DAY).speed_conflict is conflict


def test_a_standing_car_whose_column_says_eighty() -> None:
    track = tuple(Fix(t=T0 + s, lat=43.1, lon=-98.2, speed_kph=80.0) for s in range(100))
    assert speed_column_conflicts(track, 3.0)


def test_noise_at_walking_pace_says_nothing_about_the_column() -> None:
    track = tuple(
        Fix(t=T0 + s, lat=43.1 + (s % 2) * 1e-5, lon=-98.2, speed_kph=0.0, course_deg=None)
        for s in range(100)
    )
    assert not speed_column_conflicts(track, 3.0)
    assert analyse(track, LIMITS, ALL_DAY).uncounted == (("slow", 99.0),)


def test_a_course_is_kept_while_the_car_stands() -> None:
    track = fixes("to 30 10; hold 5; to 0 10; hold 20; to 30 10", START, columns=False)
    found = motion(track, 3.0)
    assert max(min(course, 360 - course) for course in found.courses_deg) < 0.01


def test_a_column_with_holes_is_not_used() -> None:
    track = list(fixes(STEADY, START))
    track[100] = replace(track[100], speed_kph=None)
    assert analyse(track, LIMITS, ALL_DAY).counted_s == pytest.approx(310, abs=1)


def test_the_same_drive_gives_the_same_numbers_again() -> None:
    assert analyse(fixes(DRIVE_A, START), LIMITS, ALL_DAY) == analyse(fixes(DRIVE_A, START), LIMITS, ALL_DAY)


def test_common_practice_ten_minutes_above_forty_miles_an_hour() -> None:
    # Common practice, no source: about ten minutes above 40 mph (64.4 km/h) on good roads.
    limits = replace(LIMITS, v_min_kph=64.37376, v_max_kph=None, v_min_included=False, sun_above_deg=None)
    found = analyse(fixes("to 64.4 40; hold 600; to 0 40", START), limits, ALL_DAY)
    assert found.counted_s == 600.0
    exactly = analyse(fixes("to 64.37376 40; hold 600; to 0 40", START), limits, ALL_DAY)
    assert exactly.counted_s == 0.0
