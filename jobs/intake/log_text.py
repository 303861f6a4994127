"""Numbers and times as they stand in logs: one accepted spelling each, never guessed."""

import re
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise
from typing import Final

from jobs.errors import Refused

_NUMBER: Final = re.compile(r"[+-]?[0-9]{1,18}(\.[0-9]{1,18})?([eE][+-]?[0-9]{1,3})?", re.ASCII)
# RFC 3339, section 5.6: the offset is not optional.
_TIME: Final = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[Tt ]([0-9]{2}:[0-9]{2}:[0-9]{2})(\.[0-9]{1,9})?"
    r"([Zz]|[+-][0-9]{2}:[0-9]{2})",
    re.ASCII,
)
_INFINITE: Final = float("inf")
# No satellite clock counts from before its own epoch, 6 January 1980; no log is from the next century.
EARLIEST_T: Final = datetime(1980, 1, 6, tzinfo=UTC).timestamp()
LATEST_T: Final = datetime(2100, 1, 1, tzinfo=UTC).timestamp()


def read_number(text: str) -> float | None:
    """The decimal number, or None: digits with optional point, sign and exponent, nothing around them."""
    if _NUMBER.fullmatch(text) is None:
        return None
    value = float(text)
    return value if -_INFINITE < value < _INFINITE else None


def read_instant(text: str) -> datetime | None:
    """The instant of an RFC 3339 text (to the microsecond, UTC), or None if it is not one with an offset."""
    matched = _TIME.fullmatch(text)
    if matched is None:
        return None
    day, clock, fraction, offset = matched.groups()
    try:
        seconds = datetime.fromisoformat(f"{day}T{clock}").replace(tzinfo=_zone(offset))
        return (seconds + timedelta(seconds=float(fraction or 0))).astimezone(UTC)
    except (ValueError, OverflowError):
        return None


def _zone(offset: str) -> timezone:
    if offset in ("Z", "z"):
        return UTC
    hours, minutes = int(offset[1:3]), int(offset[4:6])
    if hours > 23 or minutes > 59:
        raise ValueError(offset)
    east = timedelta(hours=hours, minutes=minutes)
    return timezone(-east if offset[0] == "-" else east)


def posix_seconds(instant: datetime) -> float:
    """POSIX seconds, exact to the microsecond."""
    return instant.timestamp()


def check_instant(t: float, where: str, row: int) -> float:
    """``t`` if a log of this century can hold it; refuses ``log_out_of_range``."""
    if not EARLIEST_T <= t < LATEST_T:
        raise Refused(
            "log_out_of_range", f"{where} {row}: the time lies outside 1980 to 2100.", row=row, column="t"
        )
    return t


def check_order(times: list[float], rows: list[int], where: str) -> None:
    """Refuses ``log_time_order`` where a time is not later than the one before it."""
    for place in range(1, len(times)):
        if times[place] <= times[place - 1]:
            raise Refused(
                "log_time_order",
                f"{where} {rows[place]}: the time is not later than the one before it.",
                row=rows[place],
            )


def check_range(value: float, lower: float, upper: float, column: str, row: int) -> float:
    """``value`` if lower <= value <= upper (also false for NaN); refuses ``log_out_of_range``."""
    if not lower <= value <= upper:
        raise Refused(
            "log_out_of_range",
            f"Row {row}, {column}: {value} lies outside {lower:g} to {upper:g}.",
            row=row,
            column=column,
        )
    return value


def is_slow(times: list[float], longest_step_s: float) -> bool:
    """Whether the middle step between samples is longer than ``longest_step_s``."""
    steps = sorted(later - earlier for earlier, later in pairwise(times))
    return bool(steps) and steps[len(steps) // 2] > longest_step_s
