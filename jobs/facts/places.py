"""Locations with the whole zone history that one job can need."""

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo

from rules.facts import OffsetFrom

YEARS_BEFORE: Final = 2
YEARS_AFTER: Final = 12


@lru_cache(maxsize=512)
def zone_offsets(tz: str, year: int) -> tuple[OffsetFrom, ...]:
    """Every change of offset of a zone from two years before ``year`` to twelve years after it.

    The first entry holds the offset at the beginning of the span; each later one the instant of a change,
    to the second. Minutes are rounded down for zones whose old offsets had seconds; none in the span has
    them.
    """
    zone = ZoneInfo(tz)
    at = datetime(year - YEARS_BEFORE, 1, 1, tzinfo=UTC)
    end = datetime(year + YEARS_AFTER + 1, 1, 1, tzinfo=UTC)
    entries = [OffsetFrom(at=at, minutes=_minutes(zone, at))]
    # No zone changes its clocks twice within a day.
    day = timedelta(days=1)
    while at < end:
        following = at + day
        if _minutes(zone, following) != entries[-1].minutes:
            changed = _first_change(zone, at, following)
            entries.append(OffsetFrom(at=changed, minutes=_minutes(zone, changed)))
        at = following
    return tuple(entries)


def _minutes(zone: ZoneInfo, at: datetime) -> int:
    offset = at.astimezone(zone).utcoffset()
    if offset is None:
        raise ValueError("a zone without an offset")
    return int(offset.total_seconds() // 60)


def _first_change(zone: ZoneInfo, low: datetime, high: datetime) -> datetime:
    before = _minutes(zone, low)
    while high - low > timedelta(seconds=1):
        middle = low + timedelta(seconds=int((high - low).total_seconds()) // 2)
        if _minutes(zone, middle) == before:
            low = middle
        else:
            high = middle
    return high
