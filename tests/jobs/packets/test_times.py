"""Instants in print name their zone, their day and what is not known of them."""

from datetime import UTC, date, datetime, timedelta

import pytest

from jobs.packets.pages import times
from rules.facts import Moment, OffsetFrom, Place
from tests.rules.builders import EASTMARCH, at, loose, moment


def test_an_instant_names_day_time_and_zone() -> None:
    assert times.instant(EASTMARCH, at("13:31:40"), seconds=True) == "Tue 5 May 2026, 13:31:40 CDT (UTC−5)"
    winter = datetime(2026, 1, 15, 18, 0, tzinfo=UTC)
    assert times.instant(EASTMARCH, winter) == "Thu 15 Jan 2026, 12:00 CST (UTC−6)"


@pytest.mark.parametrize(
    ("tz", "minutes", "text"), [("Asia/Kathmandu", 345, "UTC+5:45"), ("No/Such", -300, "UTC−5")]
)
def test_a_zone_without_letters_is_its_offset(tz: str, minutes: int, text: str) -> None:
    offset = OffsetFrom(at=datetime(2020, 1, 1, tzinfo=UTC), minutes=minutes)
    place = Place(code="X", name="X", tz=tz, lat=0.0, lon=0.0, photo_radius_m=1.0, offsets=(offset,))
    assert times.zone_text(place, at("12:00")) == text


def test_spans() -> None:
    assert times.span(EASTMARCH, at("10:30"), at("10:52")) == "5 May, 10:30 to 10:52"
    assert times.span(EASTMARCH, at("23:50"), at("2026-05-06 00:10")) == "5 May, 23:50 to 6 May, 00:10"
    assert times.span(EASTMARCH, at("10:30"), None) == "5 May, 10:30, not ended"


def test_an_uncertain_time_is_a_bracket_with_the_raw_clock_beside_it() -> None:
    unsure = loose("15:59:30", 60)
    assert times.bracket(EASTMARCH, unsure) == "5 May 2026, between 15:58:30 and 16:00:30"
    assert times.raw_clock(EASTMARCH, unsure) == "device tablet said 15:59:30"
    assert times.bracket(EASTMARCH, moment("09:00")) == "5 May 2026, 09:00:00"
    assert times.raw_clock(EASTMARCH, moment("09:00")) == ""


def test_a_bracket_over_midnight_names_both_days() -> None:
    low, high = at("23:59"), at("2026-05-06 00:01")
    unsure = Moment(low=low, high=high, reading=low + timedelta(minutes=1), clock="device:t")
    assert times.bracket(EASTMARCH, unsure) == "between 5 May 2026, 23:59:00 and 6 May 2026, 00:01:00"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 s"),
        (119, "119 s"),
        (120, "2 min"),
        (596, "9 min 56 s"),
        (3600, "1 h 00 min"),
        (7500, "2 h 05 min"),
    ],
)
def test_durations(seconds: float, text: str) -> None:
    assert times.duration(seconds) == text


def test_local_days_are_never_numbers_only() -> None:
    assert times.day_text(date(2026, 8, 12)) == "12 Aug 2026"
    assert times.utc(at("13:31:40")) == "2026-05-05 18:31:40 UTC"


@pytest.mark.parametrize(
    ("clock", "up"),
    [("10:08:00", "10:08"), ("10:08:01", "10:09"), ("10:08:57", "10:09"), ("23:59:30", "00:00")],
)
def test_nothing_is_ready_before_a_begun_minute_is_over(clock: str, up: str) -> None:
    assert times.clock_text_up(EASTMARCH, at(clock)) == up


def test_parts_of_a_second_begin_no_minute() -> None:
    assert times.clock_text_up(EASTMARCH, at("10:08") + timedelta(seconds=0.4)) == "10:08"
    assert times.clock_text_up(EASTMARCH, at("10:07") + timedelta(seconds=59.6)) == "10:08"


def test_a_time_that_comes_twice_in_one_night_has_its_offset() -> None:
    """United States 2026: clocks go back on 1 November at 07:00 UTC in the Central zone (15 U.S.C. 260a)."""
    first, second = datetime(2026, 11, 1, 6, 30, tzinfo=UTC), datetime(2026, 11, 1, 7, 30, tzinfo=UTC)
    assert times.clock_text(EASTMARCH, first) == "01:30 UTC−5"
    assert times.clock_text(EASTMARCH, second, True) == "01:30:00 UTC−6"
    assert times.clock_text(EASTMARCH, datetime(2026, 11, 1, 8, 0, tzinfo=UTC)) == "02:00"
    assert times.clock_text(EASTMARCH, datetime(2026, 11, 1, 5, 59, tzinfo=UTC)) == "00:59"
    # In spring an hour is left out and none comes twice.
    assert times.clock_text(EASTMARCH, datetime(2026, 3, 8, 8, 30, tzinfo=UTC)) == "03:30"


def test_utc_and_local_time_name_the_same_second() -> None:
    near = datetime(2026, 5, 5, 13, 38, 57, 700000, tzinfo=UTC)
    assert times.utc(near) == "2026-05-05 13:38:58 UTC"
    assert times.clock_text(EASTMARCH, near, True) == "08:38:58"
