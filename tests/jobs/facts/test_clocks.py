"""Device clocks: from what was shown to the interval of true time."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz

from jobs.facts import clocks
from jobs.facts.clock_book import ClockBook
from jobs.facts.clocks import LocalReading, Offset, SeenOffset
from rules.science.clocks import MIXED_CLOCK, happened_before

NOON = datetime(2026, 5, 5, 12, 0, tzinfo=UTC)
CHICAGO = ZoneInfo("America/Chicago")


def seen(low_s: float, high_s: float, reads: datetime = NOON) -> SeenOffset:
    return SeenOffset(reads=reads, low_s=low_s, high_s=high_s, received_at=reads)


def test_nothing_observed_is_a_day_either_way() -> None:
    offset = clocks.offset_near([], NOON)
    assert (offset.low_s, offset.high_s, offset.observed) == (-86_400.0, 86_400.0, False)


def test_observations_of_one_clock_are_intersected() -> None:
    offset = clocks.offset_near([seen(62.0, 63.0), seen(62.24, 62.48)], NOON)
    assert (offset.low_s, offset.high_s, offset.observed) == (62.24, 62.48, True)


def test_contradicting_observations_give_the_interval_that_holds_all() -> None:
    offset = clocks.offset_near([seen(1.0, 2.0), seen(100.0, 101.0)], NOON)
    assert (offset.low_s, offset.high_s) == (1.0, 101.0)


@pytest.mark.parametrize(
    ("hours", "observed"), [(24.0, True), (-24.0, True), (24.001, False), (-24.001, False)]
)
def test_an_observation_speaks_for_a_day_around_it(hours: float, observed: bool) -> None:
    offset = clocks.offset_near([seen(0.0, 0.0)], NOON + timedelta(hours=hours))
    assert offset.observed is observed
    if observed:
        # A hundred millionths of 24 hours, either way.
        assert (offset.low_s, offset.high_s) == (-8.64, 8.64)


def test_photo_of_a_screen_that_shows_minutes() -> None:
    """Scan device shows 13:11 while true time is 14:06:20; later it shows 15:20 for the final scan."""
    true = NOON.replace(hour=14, minute=6, second=20)
    shows = NOON.replace(hour=13, minute=11)
    low_s = (shows - true).total_seconds()
    high_s = (shows + timedelta(minutes=1) - true).total_seconds()
    assert (low_s, high_s) == (-55 * 60 - 20, -54 * 60 - 20)
    reading = NOON.replace(hour=15, minute=20)
    moment = clocks.moment_from(
        reading=reading,
        clock="device:x",
        offset=clocks.Offset(low_s=low_s, high_s=high_s, observed=True),
        received_at=NOON + timedelta(days=1),
        resolution_s=60.0,
    )
    assert moment.low == NOON.replace(hour=16, minute=14, second=20)
    assert moment.high == NOON.replace(hour=16, minute=16, second=20)


def test_never_later_than_receipt() -> None:
    received = NOON + timedelta(seconds=5)
    moment = clocks.moment_from(reading=NOON, clock="device:x", offset=clocks.UNKNOWN, received_at=received)
    assert (moment.low, moment.high) == (NOON - timedelta(days=1), received)


def test_a_clock_that_claims_a_time_after_receipt_is_not_believed() -> None:
    offset = clocks.Offset(low_s=-1.0, high_s=1.0, observed=True)
    moment = clocks.moment_from(
        reading=NOON + timedelta(hours=3), clock="device:x", offset=offset, received_at=NOON
    )
    assert (moment.low, moment.high) == (clocks.LONG_AGO, NOON)
    assert moment.clock.startswith("device:x@shows a time after receipt")


@pytest.mark.parametrize(
    ("wall", "first_utc", "resolution_s"),
    [
        # 1 Nov 2026 01:30 in Chicago happens twice: 06:30Z (daylight time) and 07:30Z.
        (datetime(2026, 11, 1, 1, 30), datetime(2026, 11, 1, 6, 30, tzinfo=UTC), 3600.0),  # noqa: DTZ001
        (datetime(2026, 11, 1, 0, 59), datetime(2026, 11, 1, 5, 59, tzinfo=UTC), 0.0),  # noqa: DTZ001
        (datetime(2026, 11, 1, 2, 0), datetime(2026, 11, 1, 8, 0, tzinfo=UTC), 0.0),  # noqa: DTZ001
        (datetime(2026, 5, 5, 9, 40), datetime(2026, 5, 5, 14, 40, tzinfo=UTC), 0.0),  # noqa: DTZ001
    ],
)
def test_the_repeated_hour_of_autumn_has_two_meanings(
    wall: datetime, first_utc: datetime, resolution_s: float
) -> None:
    local = clocks.read_local(wall, CHICAGO)
    assert (local.reading, local.resolution_s) == (first_utc, resolution_s)


def test_a_set_time_is_the_last_such_wall_time_before_the_record() -> None:
    zone = ZoneInfo("America/Denver")
    recorded = datetime(2026, 5, 6, 6, 10, tzinfo=UTC)  # 00:10 local
    assert clocks.read_set_time("23:50", recorded=recorded, zone=zone).reading == datetime(
        2026, 5, 6, 5, 50, tzinfo=UTC
    )
    assert clocks.read_set_time("00:10", recorded=recorded, zone=zone).reading == recorded


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("00:00", True),
        ("23:59", True),
        ("24:00", False),
        ("9:40", False),
        ("09:60", False),
        ("09:40 ", False),
    ],
)
def test_what_a_bare_time_looks_like(text: str, expected: bool) -> None:
    assert clocks.is_local_time(text) is expected


# ------------------------------------------------------------------ periods between settings of one clock

EVENING = NOON + timedelta(hours=12)


def set_by_an_hour() -> list[SeenOffset]:
    """Right at 08:00 and 10:00; an hour ahead when compared at 14:00 and 16:00 (true times)."""
    hour = timedelta(hours=1)
    rights = [seen(-0.1, 0.1, NOON + n * hour) for n in (-4, -2)]
    return rights + [seen(3599.9, 3600.1, NOON + (n + 1) * hour) for n in (2, 4)]


def test_a_clock_is_parted_where_its_offsets_exclude_each_other() -> None:
    rows = set_by_an_hour()
    assert clocks.periods(rows[::-1]) == (tuple(rows[:2]), tuple(rows[2:]))
    assert clocks.periods(rows[:2]) == (tuple(rows[:2]),)
    assert clocks.periods([]) == ()


@pytest.mark.parametrize(("apart_s", "parts"), [(0.6, 1), (1.4, 2)])
def test_drift_between_two_comparisons_is_no_setting(apart_s: float, parts: int) -> None:
    """Two hours allow 0.72 s."""
    rows = [seen(-0.1, 0.1), seen(apart_s - 0.1, apart_s + 0.1, NOON + timedelta(hours=2))]
    assert len(clocks.periods(rows)) == parts


@pytest.mark.parametrize(
    ("reads", "low_s", "period", "was_set"),
    [
        ("09:00", -0.1, 1, False),  # as an hour ahead it would be 08:00, when the clock was right
        ("09:59", -0.1, 1, False),
        ("12:00", -0.1, 0, True),  # true 12:00, or 11:00 after an early setting
        ("15:30", 3599.9, 2, False),  # as right it would be 15:30, when the clock was known to be ahead
        ("18:00", 3599.9, 2, False),
    ],
)
def test_a_reading_stands_in_the_period_in_which_it_can_lie(
    reads: str, low_s: float, period: int, was_set: bool
) -> None:
    hour, minute = (int(part) for part in reads.split(":"))
    offset = clocks.offset_at(set_by_an_hour(), NOON.replace(hour=hour, minute=minute), EVENING)
    assert (offset.period, offset.was_set) == (period, was_set)
    assert offset.low_s == pytest.approx(low_s, abs=1.2)
    assert offset.high_s == pytest.approx(3600.1 if was_set or period == 2 else 0.1, abs=1.2)


def test_readings_of_two_periods_share_no_offset_and_those_of_one_do() -> None:
    book = ClockBook(seen={"device:x": tuple(set_by_an_hour())}, zone=CHICAGO)
    morning, later_morning, evening = (
        book.shown(
            LocalReading(reading=NOON.replace(hour=hour), resolution_s=0.0),
            clock="device:x",
            received_at=EVENING,
        )
        for hour in (8, 9, 18)
    )
    assert morning.clock == later_morning.clock == "device:x@period 1"
    assert evening.clock == "device:x@period 2"
    assert happened_before(later_morning, evening) == "true"
    assert evening.high - evening.low < timedelta(seconds=2)


def test_a_scan_device_after_battery_loss_is_dated_by_a_photo_of_its_screen() -> None:
    """It counts from 2000-01-01 00:00 again; at true 14:00 its screen shows 00:40."""
    y2000 = datetime(2000, 1, 1, tzinfo=UTC)
    true = NOON.replace(hour=14)
    offset_s = (y2000 + timedelta(minutes=40) - true).total_seconds()
    rows = [
        seen(-0.1, 0.1, NOON - timedelta(days=1)),
        seen(offset_s, offset_s + 60.0, y2000 + timedelta(minutes=40)),
    ]
    book = ClockBook(seen={"device:x": tuple(rows)}, zone=CHICAGO)
    scan = book.shown(
        LocalReading(reading=y2000 + timedelta(minutes=10), resolution_s=60.0),
        clock="device:x",
        received_at=EVENING,
    )
    assert scan.clock == "device:x@period 2"
    drift = timedelta(seconds=0.18)
    assert (scan.low, scan.high) == (
        true - timedelta(minutes=31) - drift,
        true - timedelta(minutes=29) + drift,
    )


def test_a_clock_that_lost_its_setting_and_was_not_compared_shows_no_time() -> None:
    """The common day either way would date the scan in 2000, long before the order."""
    y2000 = datetime(2000, 1, 1, 0, 12, tzinfo=UTC)
    book = ClockBook(seen={}, zone=CHICAGO)
    lost = book.shown(LocalReading(reading=y2000, resolution_s=60.0), clock="device:x", received_at=NOON)
    assert (lost.low, lost.high) == (clocks.LONG_AGO, NOON)
    assert lost.clock == f"device:x@setting lost {y2000.isoformat()}"
    log = book.log("device:x", y2000.timestamp(), NOON)
    first = log.moment(y2000.timestamp())
    assert (first.low, first.high) == (clocks.LONG_AGO, NOON)


@pytest.mark.parametrize(("days", "is_lost"), [(366, False), (366.001, True)])
def test_a_clock_a_year_behind_has_lost_its_setting(days: float, is_lost: bool) -> None:
    reading = NOON - timedelta(days=days)
    assert clocks.has_lost_its_setting(clocks.UNKNOWN, reading, NOON) is is_lost
    known = Offset(low_s=-1.0, high_s=1.0, observed=True)
    assert not clocks.has_lost_its_setting(known, reading, NOON)


def test_a_track_dated_19_point_6_years_ago_shows_no_time() -> None:
    """1024 weeks before 2026-05-05 is 2006-09-19: a receiver whose week count began anew."""
    first = NOON - timedelta(weeks=1024)
    assert first.date().isoformat() == "2006-09-19"
    clock = clocks.satellite_clock(first, NOON + timedelta(hours=1))
    assert clock.clock == "satellite@week count began anew"
    moment = clock.moment(first.timestamp())
    assert (moment.low, moment.high) == (clocks.LONG_AGO, NOON + timedelta(hours=1))
    right = clocks.satellite_clock(NOON, NOON + timedelta(hours=1))
    assert (right.clock, right.offset_low_s, right.offset_high_s) == ("satellite", -1.0, 1.0)
    assert clocks.satellite_clock() == right
    assert MIXED_CLOCK not in clock.clock


# ------------------------------------------------------------------ wall times, with a second opinion


@pytest.mark.parametrize(
    ("zone", "wall", "meanings"),
    [
        ("America/Chicago", "2026-11-01 01:30", 2),
        ("America/Chicago", "2026-11-01 01:00", 2),
        ("America/Chicago", "2026-11-01 01:59", 2),
        ("America/Chicago", "2026-11-01 00:59", 1),
        ("America/Chicago", "2026-11-01 02:00", 1),
        ("America/Denver", "2026-11-01 01:30", 2),
        ("America/New_York", "2026-11-01 01:30", 2),
        ("America/Phoenix", "2026-11-01 01:30", 1),  # no daylight-saving time there
        ("Europe/Berlin", "2026-10-25 02:30", 2),
        ("Australia/Lord_Howe", "2026-04-05 01:45", 2),  # half an hour only
        ("America/Chicago", "2028-02-29 23:59", 1),  # leap day
        ("America/Chicago", "2026-12-31 23:59", 1),
        ("America/Chicago", "2026-07-14 00:00", 1),  # midnight
        ("Asia/Kolkata", "2026-07-14 12:00", 1),
    ],
)
def test_wall_times_mean_what_zoneinfo_and_dateutil_say(zone: str, wall: str, meanings: int) -> None:
    """The interval of a reading runs from its first to its last meaning, by both libraries."""
    naive = datetime.fromisoformat(wall)
    local = clocks.read_local(naive, ZoneInfo(zone), resolution_s=60.0)
    other = tz.gettz(zone)
    assert other is not None
    firsts = {tz.enfold(naive.replace(tzinfo=other), fold=fold).astimezone(UTC) for fold in (0, 1)}
    assert len(firsts) == meanings
    assert tz.datetime_ambiguous(naive, tz=other) is (meanings == 2)
    assert local.reading == min(firsts)
    spread = (max(firsts) - min(firsts)).total_seconds()
    assert local.resolution_s == spread + 60.0


def test_a_wall_time_that_spring_leaves_out_is_read_as_before_the_change() -> None:
    """2026-03-08 02:30 does not exist in Chicago; by PEP 495 it is 08:30 UTC."""
    naive = datetime(2026, 3, 8, 2, 30)  # noqa: DTZ001
    zone = tz.gettz("America/Chicago")
    assert not tz.datetime_exists(naive, tz=zone)
    local = clocks.read_local(naive, CHICAGO)
    assert (local.reading, local.resolution_s) == (datetime(2026, 3, 8, 8, 30, tzinfo=UTC), 0.0)


def test_one_wall_time_in_two_zones_is_an_hour_apart() -> None:
    """16:40 at Tollgate is 22:40 UTC, 17:25 at Low Mill 22:25 UTC: the later wall time came first."""
    tollgate = clocks.read_local(datetime(2026, 7, 14, 16, 40), ZoneInfo("America/Denver"))  # noqa: DTZ001
    low_mill = clocks.read_local(datetime(2026, 7, 14, 17, 25), CHICAGO)  # noqa: DTZ001
    assert tollgate.reading == datetime(2026, 7, 14, 22, 40, tzinfo=UTC)
    assert low_mill.reading == datetime(2026, 7, 14, 22, 25, tzinfo=UTC)


def test_a_set_time_on_leap_day_across_midnight_is_the_evening_before() -> None:
    recorded = datetime(2028, 3, 1, 6, 5, tzinfo=UTC)  # 00:05 on 1 March in Chicago
    found = clocks.read_set_time("23:55", recorded=recorded, zone=CHICAGO)
    assert found.reading == datetime(2028, 3, 1, 5, 55, tzinfo=UTC)  # 29 February, 23:55
