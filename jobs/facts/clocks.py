"""What a device's clock showed, turned into the interval in which true time lies."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise
from typing import Final
from zoneinfo import ZoneInfo

from rules.facts import LogClock, Moment
from rules.science.clocks import DRIFT_ONE_IN, NEAR, weeks_turned_over

# Nothing known of a clock: device minus true lies within a day either way (project default).
UNKNOWN_OFFSET_S: Final = 86_400.0
# A receiver's position log carries satellite time (project default for the receiver's own delay).
SATELLITE_OFFSET_S: Final = 1.0
# No lower bound is known: any time before receipt.
LONG_AGO: Final = datetime(1980, 1, 1, tzinfo=UTC)
# A clock that nobody compared and that is a year behind has lost its setting, as after a flat battery
# (project default): the common "a day either way" does not hold for it.
LOST_AFTER: Final = timedelta(days=366)
SETTING_LOST: Final = "setting lost"
AFTER_RECEIPT: Final = "shows a time after receipt"
WEEKS_TURNED_OVER: Final = "satellite@week count began anew"
# A wall time that the autumn change makes happen twice stands for the whole hour between its two meanings.
_LOCAL_TIME = re.compile(r"(?:[01]\d|2[0-3]):[0-5]\d", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenOffset:
    """One observation of a clock: when it showed ``reads``, device minus true lay in [low_s, high_s]."""

    reads: datetime
    low_s: float
    high_s: float
    received_at: datetime

    @property
    def true_low(self) -> datetime:
        return self.reads - timedelta(seconds=self.high_s)

    @property
    def true_high(self) -> datetime:
        return self.reads - timedelta(seconds=self.low_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """Device minus true in seconds; whether it was observed, and whether the clock was set in between.

    Two readings of a clock that was set in between share no offset, so their order is not shown by them.
    ``period`` numbers the stretches between two settings, 0 where the clock was never seen to be set.
    """

    low_s: float
    high_s: float
    observed: bool
    was_set: bool = False
    period: int = 0


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
        slack = distance.total_seconds() / DRIFT_ONE_IN
        lows.append(seen.low_s - slack)
        highs.append(seen.high_s + slack)
    if not lows:
        return UNKNOWN
    low, high = max(lows), min(highs)
    was_set = low > high
    if was_set:
        low, high = min(lows), max(highs)
    return Offset(low_s=round(low, 6), high_s=round(high, 6), observed=True, was_set=was_set)


def periods(observations: Iterable[SeenOffset]) -> tuple[tuple[SeenOffset, ...], ...]:
    """The observations of one clock by true time, parted wherever it was set in between.

    It was set between two neighbours whose offsets exclude each other, drift allowed for.
    """
    ordered = sorted(observations, key=lambda seen: (seen.true_low, seen.true_high, seen.reads))
    parted: list[list[SeenOffset]] = [ordered[:1]] if ordered else []
    for before, after in pairwise(ordered):
        slack = max((after.true_high - before.true_low).total_seconds(), 0.0) / DRIFT_ONE_IN
        if before.low_s - slack > after.high_s or after.low_s - slack > before.high_s:
            parted.append([])
        parted[-1].append(after)
    return tuple(tuple(part) for part in parted)


def offset_at(observations: Iterable[SeenOffset], reading: datetime, received_at: datetime) -> Offset:
    """The offset interval of one clock at ``reading``, by the period in which the reading can lie.

    Where it can lie in several, the clock was set in between and the interval that holds all is taken.
    """
    parted = periods(observations)
    if len(parted) < 2:
        return offset_near(parted[0] if parted else (), reading)
    near = [place for place, part in enumerate(parted) if _is_near(part, reading, NEAR)]
    # The neighbours of a period are asked too: the clock may have been set before the reading, or after it.
    asked = {place + step for place in near for step in (-1, 0, 1)} & set(range(len(parted)))
    possible = [
        (place, offset)
        for place in sorted(asked)
        if (offset := _within(parted, place, reading, received_at)) is not None
    ]
    if len(possible) == 1:
        place, offset = possible[0]
        return Offset(low_s=offset.low_s, high_s=offset.high_s, observed=True, period=place + 1)
    found = [offset for _, offset in possible] or [offset_near(parted[place], reading) for place in near]
    if not found:
        return UNKNOWN
    low, high = min(item.low_s for item in found), max(item.high_s for item in found)
    return Offset(low_s=low, high_s=high, observed=True, was_set=True)


def _is_near(part: Sequence[SeenOffset], reading: datetime, limit: timedelta) -> bool:
    return any(abs(seen.reads - reading) <= limit for seen in part)


def _within(
    parted: Sequence[Sequence[SeenOffset]], place: int, reading: datetime, received_at: datetime
) -> Offset | None:
    """The offset if the reading lies in this period; None where its true time would lie outside it."""
    part = parted[place]
    if not _is_near(part, reading, LOST_AFTER):
        return None
    nearest = min(part, key=lambda seen: (abs(seen.reads - reading), seen.reads))
    offset = offset_near(part, reading)
    if not offset.observed:
        slack = abs(nearest.reads - reading).total_seconds() / DRIFT_ONE_IN
        low, high = round(nearest.low_s - slack, 6), round(nearest.high_s + slack, 6)
        offset = Offset(low_s=low, high_s=high, observed=True)
    earliest = reading - timedelta(seconds=offset.high_s)
    latest = reading - timedelta(seconds=offset.low_s)
    begins = parted[place - 1][-1].true_low if place else LONG_AGO
    ends = parted[place + 1][0].true_high if place + 1 < len(parted) else received_at
    return offset if latest >= begins and earliest <= min(ends, received_at) else None


def has_lost_its_setting(offset: Offset, reading: datetime, received_at: datetime) -> bool:
    """Is the reading of a clock that nobody compared so old that it cannot be the time of the event?"""
    return not offset.observed and received_at - reading > LOST_AFTER


def moment_from(
    *, reading: datetime, clock: str, offset: Offset, received_at: datetime, resolution_s: float = 0.0
) -> Moment:
    """True time lies in [reading - offset high, reading + resolution - offset low], and not after receipt.

    Where even the earliest possible time lies after receipt the clock's claim contradicts the server, and a
    clock that lost its setting claims nothing: the moment is then known only to be not later than receipt,
    and stands on a clock of its own that says why.
    """
    low = reading - timedelta(seconds=offset.high_s)
    high = min(reading + timedelta(seconds=resolution_s - offset.low_s), received_at)
    why = ""
    if has_lost_its_setting(offset, reading, received_at):
        why = SETTING_LOST
    elif low > high:
        why = AFTER_RECEIPT
    if why:
        return Moment(
            low=LONG_AGO,
            high=received_at,
            reading=reading,
            clock=f"{clock}@{why} {reading.isoformat()}",
            resolution_s=resolution_s,
        )
    return Moment(low=low, high=high, reading=reading, clock=clock, resolution_s=resolution_s)


def log_clock(clock: str, offset: Offset) -> LogClock:
    return LogClock(clock=clock, offset_low_s=offset.low_s, offset_high_s=offset.high_s)


def log_clock_at(clock: str, offset: Offset, *, first: datetime, received_at: datetime) -> LogClock:
    """The clock of a log whose first sample it stamped ``first``."""
    if has_lost_its_setting(offset, first, received_at):
        return _any_time(f"{clock}@{SETTING_LOST} {first.isoformat()}", first, received_at)
    return log_clock(clock, offset)


def _any_time(clock: str, first: datetime, received_at: datetime) -> LogClock:
    """A clock of which only this is known: its first sample lies between long ago and the receipt."""
    return LogClock(
        clock=clock,
        offset_low_s=round((first - received_at).total_seconds(), 6),
        offset_high_s=round((first - LONG_AGO).total_seconds(), 6),
    )


def satellite_clock(first: datetime | None = None, received_at: datetime | None = None) -> LogClock:
    """The clock of a position log; one whose week count began anew 19.6 years ago shows no time at all."""
    if (
        first is not None
        and received_at is not None
        and weeks_turned_over(first, received_at=received_at, within=LOST_AFTER)
    ):
        return _any_time(WEEKS_TURNED_OVER, first, received_at)
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
