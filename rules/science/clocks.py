"""Order and distance of events whose true times are intervals, with the shared offset of one clock."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, TypeVar

from rules.facts import Moment
from rules.verdict import Truth

ItemT = TypeVar("ItemT")

_ZERO: Final = timedelta(0)
# The clock of a moment that was put together from moments of several clocks: only its interval speaks.
MIXED_CLOCK: Final = "mixed"
DEVICE_MARK: Final = "device:"
# A quartz clock may gain or lose one part in this many of the time between two of its readings (project
# default; trade practice gives 20 to 100 parts per million, no source).
DRIFT_ONE_IN: Final = 10_000
# Two readings of one clock further apart than this say nothing of each other (project default).
NEAR: Final = timedelta(hours=24)
# Satellite weeks are counted in ten bits by older receivers: 1024 weeks later the count begins anew
# (IS-GPS-200, week number of ten bits). A track may be that much too old.
WEEK_ROLLOVER: Final = timedelta(weeks=1024)


@dataclass(frozen=True, slots=True, kw_only=True)
class OffsetBounds:
    """Device minus true time lies in [low, high], or in [low, high) with ``high_open``."""

    low: timedelta
    high: timedelta
    high_open: bool = False


def exchange_offset(
    *, server_sent: datetime, device_received: datetime, device_sent: datetime, server_received: datetime
) -> OffsetBounds:
    """The offset from one exchange: RFC 5905 section 8 with T1 to T4 as named here, the server as reference.

    RFC 5905 gives ((T2 - T1) + (T3 - T4)) / 2 and takes half the delay either way; that is the interval
    [T3 - T4, T2 - T1], which needs no division and assumes nothing about which way took longer.

    Raises:
        ValueError: an answer before its question by either clock: nothing follows from it.
    """
    if device_sent < device_received or server_received < server_sent:
        raise ValueError("the answer cannot come before the question")
    low, high = device_sent - server_received, device_received - server_sent
    if low > high:
        raise ValueError("the device took longer to answer than the whole exchange")
    return OffsetBounds(low=low, high=high)


def answered_offset(*, device_sent: datetime, server_at: datetime, device_received: datetime) -> OffsetBounds:
    """The offset where the device asks and the server answers at the one instant ``server_at``.

    Raises:
        ValueError: the answer came before the question.
    """
    if device_received < device_sent:
        raise ValueError("the answer cannot come before the question")
    return OffsetBounds(low=device_sent - server_at, high=device_received - server_at)


def screen_offset(
    *, shows: datetime, resolution: timedelta, seen_low: datetime, seen_high: datetime
) -> OffsetBounds:
    """The offset of a display that cuts off at ``resolution``, seen in [seen_low, seen_high] of true time."""
    return OffsetBounds(
        low=shows - seen_high, high=shows + resolution - seen_low, high_open=resolution > _ZERO
    )


def weeks_turned_over(reading: datetime, *, received_at: datetime, within: timedelta) -> bool:
    """Does a reading look like a satellite receiver's whose week count began anew, 19.6 years ago?

    It does where the reading and 1024 weeks lie at most ``within`` before the receipt, or a day after it.
    """
    late = received_at - (reading + WEEK_ROLLOVER)
    return -timedelta(days=1) <= late <= within


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """How much later one event is than another: in [low, high], or in [low, high) with ``high_open``."""

    low: timedelta
    high: timedelta
    high_open: bool = False

    @property
    def is_not_negative(self) -> Truth:
        """Is the difference shown to be zero or more?"""
        if self.low >= _ZERO:
            return "true"
        if self.high < _ZERO or (self.high_open and self.high <= _ZERO):
            return "false"
        return "unknown"

    def at_most(self, limit: timedelta) -> Truth:
        """Is the difference shown to be ``limit`` or less? The limit belongs to "yes"."""
        if self.high <= limit:
            return "true"
        return "false" if self.low > limit else "unknown"


def span(earlier: Moment, later: Moment) -> Span:
    """``later`` minus ``earlier``.

    Two readings of one device clock share that clock's unknown offset, so their difference is bounded by the
    readings and the resolution as well as by the absolute intervals. Both bounds hold, so the narrower side
    of each is taken. Bounds that exclude each other mean that some claim about the clock is wrong: then the
    wider side of each is taken, because nothing is shown.
    """
    by_time = Span(low=later.low - earlier.high, high=later.high - earlier.low)
    by_clock = _by_readings(earlier, later)
    if by_clock is None:
        return by_time
    if by_clock.low > by_time.high or by_time.low > by_clock.high:
        return Span(low=min(by_time.low, by_clock.low), high=max(by_time.high, by_clock.high))
    tighter = min(by_time, by_clock, key=lambda item: item.high)
    return Span(low=max(by_time.low, by_clock.low), high=tighter.high, high_open=tighter.high_open)


def intersected(
    known: Span, *, low: timedelta | None, high: timedelta | None, high_open: bool = False
) -> Span:
    """``known`` narrowed by further bounds of the same difference, which may say nothing (None)."""
    least = known.low if low is None else max(known.low, low)
    if high is None or high > known.high:
        return Span(low=least, high=known.high, high_open=known.high_open)
    is_open = high_open or (high == known.high and known.high_open)
    return Span(low=least, high=high, high_open=is_open)


def _by_readings(earlier: Moment, later: Moment) -> Span | None:
    # Server and satellite moments may be brackets rather than readings: their intervals say all there is.
    if earlier.clock != later.clock or not earlier.clock.startswith(DEVICE_MARK):
        return None
    steps = later.reading - earlier.reading
    return Span(
        low=steps - timedelta(seconds=earlier.resolution_s),
        high=steps + timedelta(seconds=later.resolution_s),
        high_open=later.resolution_s > 0,
    )


def happened_before(a: Moment, b: Moment) -> Truth:
    """Is ``a`` shown to lie at or before ``b``? ``false`` means shown to lie after it."""
    return span(a, b).is_not_negative


def shown_strictly_before(a: Moment, b: Moment) -> bool:
    """True only where ``a`` is shown to lie before ``b``, the same instant left out."""
    return happened_before(b, a) == "false"


def both(*truths: Truth) -> Truth:
    """Conjunction in three values."""
    if "false" in truths:
        return "false"
    return "unknown" if "unknown" in truths else "true"


def fresh(taken: Moment, start: Moment, limit_s: float) -> Truth:
    """Is 0 <= start - taken <= ``limit_s`` shown? Both ends included; ``unknown`` where brackets straddle."""
    apart = span(taken, start)
    return both(apart.is_not_negative, apart.at_most(timedelta(seconds=limit_s)))


def possibly_last(items: Sequence[ItemT], moment_of: Callable[[ItemT], Moment]) -> tuple[ItemT, ...]:
    """Every item that the clocks allow to be the last one, in the order given; of equal times all of them.

    A verdict that rests on "the last record" rests on all of these: neither a vague clock nor the order in
    which records were handed in may take one that contradicts out of the way.
    """
    return tuple(
        item
        for place, item in enumerate(items)
        if not any(
            _is_later(moment_of(other), moment_of(item))
            for index, other in enumerate(items)
            if index != place
        )
    )


def _is_later(other: Moment, moment: Moment) -> bool:
    return happened_before(moment, other) == "true" and happened_before(other, moment) != "true"


def earliest(moments: Iterable[Moment]) -> Moment | None:
    """The moment of the first of several events; None for none."""
    return _extreme(tuple(moments), first=True)


def latest(moments: Iterable[Moment]) -> Moment | None:
    """The moment of the last of several events; None for none."""
    return _extreme(tuple(moments), first=False)


def _extreme(moments: tuple[Moment, ...], *, first: bool) -> Moment | None:
    if not moments:
        return None
    for candidate in moments:
        others = (m for m in moments if m is not candidate)
        if all(
            (happened_before(candidate, m) if first else happened_before(m, candidate)) == "true"
            for m in others
        ):
            return candidate
    pick = min if first else max
    return Moment(
        low=pick(m.low for m in moments),
        high=pick(m.high for m in moments),
        reading=pick(m.reading for m in moments),
        clock=MIXED_CLOCK,
    )
