"""Device clocks: from what was shown to the interval of true time."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from jobs.facts import clocks
from jobs.facts.clocks import SeenOffset

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
