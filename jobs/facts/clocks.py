"""What a device's clock showed, turned into the interval in which true time lies."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from rules.facts import LogClock, Moment

# Nothing known of a clock: device minus true lies within a day either way (project default).
UNKNOWN_OFFSET_S: Final = 86_400.0
# An observation speaks for readings up to this far from it (project default).
NEAR: Final = timedelta(hours=24)
# A quartz clock may gain or lose this share of the time since it was observed (project default; trade
# practice gives 20 to 100 parts per million, no source).
DRIFT: Final = 1e-4
# A receiver's position log carries satellite time (project default for the receiver's own delay).
SATELLITE_OFFSET_S: Final = 1.0
# A wall time that the autumn change makes happen twice stands for the whole hour between its two meanings.
_LOCAL_TIME = re.compile(r"(?:[01]\d|2[0-3]):[0-5]\d", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenOffset:
    """One observation of a clock: when it showed ``reads``, device minus true lay in [low_s, high_s]."""

    reads: datetime
    low_s: float
    high_s: float
    received_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """Device minus true in seconds; whether it was observed, and whether the clock was set in between.

    Two readings of a clock that was set in between share no offset, so their order is not shown by them.
    """

    low_s: float
    high_s: float
    observed: bool
    was_set: bool = False


UNKNOWN: Final = Offset(low_s=-UNKNOWN_OFFSET_S, high_s=UNKNOWN_OFFSET_S, observed=False)


def offset_near(observations: Iterable[SeenOffset], reading: datetime) -> Offset:
    """The offset interval of one clock at ``reading``.

    Observations within a day of the reading, widened for drift, are intersected. Where they contradict each
    other the clock was set in between, and which side of it the reading lies on is not known: then the
    interval that holds all of them is taken.
    """
    lows, highs = [], []
    for seen in observations:
        distance = abs(seen.reads - reading)
        if distance > NEAR:
            continue
        slack = distance.total_seconds() * DRIFT
        lows.append(seen.low_s - slack)
        highs.append(seen.high_s + slack)
    if not lows:
        return UNKNOWN
    low, high = max(lows), min(highs)
    was_set = low > high
    if was_set:
        low, high = min(lows), max(highs)
    return Offset(low_s=round(low, 6), high_s=round(high, 6), observed=True, was_set=was_set)


def moment_from(
    *, reading: datetime, clock: str, offset: Offset, received_at: datetime, resolution_s: float = 0.0
) -> Moment:
    """True time lies in [reading - offset high, reading + resolution - offset low], and not after receipt.

    Where even the earliest possible time lies after receipt the clock's claim contradicts the server; the
    moment is then known only to be not later than receipt and, as for any unobserved clock, up to a day
    before.
    """
    low = reading - timedelta(seconds=offset.high_s)
    high = min(reading + timedelta(seconds=resolution_s - offset.low_s), received_at)
    if low > high:
        low = received_at - timedelta(seconds=UNKNOWN_OFFSET_S)
        high = received_at
    return Moment(low=low, high=high, reading=reading, clock=clock, resolution_s=resolution_s)


def log_clock(clock: str, offset: Offset) -> LogClock:
    return LogClock(clock=clock, offset_low_s=offset.low_s, offset_high_s=offset.high_s)


def satellite_clock() -> LogClock:
    return LogClock(clock="satellite", offset_low_s=-SATELLITE_OFFSET_S, offset_high_s=SATELLITE_OFFSET_S)


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalReading:
    """A local wall time as an instant; ``resolution_s`` covers the second meaning where it has two."""

    reading: datetime
    resolution_s: float


def read_local(wall: datetime, zone: ZoneInfo, *, resolution_s: float = 0.0) -> LocalReading:
    """Reads a wall time without offset in ``zone``.

    On the autumn day the repeated hour has two meanings: the reading is the earlier one and its resolution
    reaches to the later. A wall time that the spring change leaves out is read as if the change had not
    happened yet, as PEP 495 does.
    """
    first = wall.replace(tzinfo=zone, fold=0).astimezone(UTC)
    second = wall.replace(tzinfo=zone, fold=1).astimezone(UTC)
    spread = max((second - first).total_seconds(), 0.0)
    return LocalReading(reading=first, resolution_s=spread + resolution_s)


def is_local_time(text: str) -> bool:
    """Whether ``text`` is a bare ``hh:mm``."""
    return _LOCAL_TIME.fullmatch(text) is not None


def read_set_time(text: str, *, recorded: datetime, zone: ZoneInfo) -> LocalReading:
    """``hh:mm`` typed for something done before ``recorded``: the last such wall time not after it.

    It means "not later than hh:mm:00", so it has no resolution of its own.
    """
    hour, minute = text.split(":")
    local = recorded.astimezone(zone)
    wall = datetime.combine(local.date(), time(int(hour), int(minute)))
    if wall > local.replace(tzinfo=None):
        wall -= timedelta(days=1)
    return read_local(wall, zone)
