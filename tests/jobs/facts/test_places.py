"""The zone history a job carries agrees with the zone database at and around every change."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from jobs.facts.places import zone_offsets
from rules.facts import Place


def place(tz: str) -> Place:
    return Place(
        code="EM",
        name="Eastmarch",
        tz=tz,
        lat=43.1,
        lon=-98.2,
        photo_radius_m=250.0,
        offsets=zone_offsets(tz, 2026),
    )


@pytest.mark.parametrize("tz", ["America/Chicago", "America/Denver", "Australia/Lord_Howe", "Asia/Kolkata"])
def test_offsets_agree_with_the_zone_database(tz: str) -> None:
    shop, zone = place(tz), ZoneInfo(tz)
    at = datetime(2024, 1, 1, tzinfo=UTC)
    while at < datetime(2038, 12, 31, tzinfo=UTC):
        offset = at.astimezone(zone).utcoffset()
        assert offset is not None
        assert shop.offset_minutes(at) == offset.total_seconds() / 60, at
        at += timedelta(hours=13)


def test_the_change_is_found_to_the_second() -> None:
    """Chicago in 2026: 8 March 08:00Z and 1 November 07:00Z (IANA time zone database)."""
    changes = [entry.at for entry in zone_offsets("America/Chicago", 2026) if entry.at.year == 2026]
    assert changes == [datetime(2026, 3, 8, 8, tzinfo=UTC), datetime(2026, 11, 1, 7, tzinfo=UTC)]
