"""Instants and days as the packet prints them: local time of the place, with its zone named."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from rules.checks.sentences import HALF_SECOND
from rules.facts import Moment, Place

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def zone_text(place: Place, at: datetime) -> str:
    """``CDT (UTC−5)``; only the offset where the zone has no letters of its own."""
    offset = _offset_text(place, at)
    letters = _letters(place, at)
    return f"{letters} ({offset})" if letters else offset


def _offset_text(place: Place, at: datetime) -> str:
    minutes = place.offset_minutes(at)
    hours, rest = divmod(abs(minutes), 60)
    return f"UTC{'−' if minutes < 0 else '+'}{hours}" + (f":{rest:02d}" if rest else "")


def _comes_twice(place: Place, at: datetime) -> bool:
    """Whether the local time of ``at`` comes a second time, as where clocks are set back in autumn."""
    minutes = place.offset_minutes(at)
    return any(
        place.offset_minutes(at + timedelta(minutes=minutes - other)) == other
        for other in {item.minutes for item in place.offsets} - {minutes}
    )


def _letters(place: Place, at: datetime) -> str:
    try:
        name = at.astimezone(ZoneInfo(place.tz)).tzname() or ""
    except (ZoneInfoNotFoundError, ValueError):
        return ""
    return name if name.isalpha() else ""


def day_text(day: date) -> str:
    """``5 May 2026``."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def weekday_text(day: date) -> str:
    """``Tue 5 May 2026``."""
    return f"{_DAYS[day.weekday()]} {day_text(day)}"


def clock_text(place: Place, at: datetime, seconds: bool = False) -> str:
    """``13:31`` or ``13:31:40`` local; parts of a second belong to the nearest one.

    A time of day that comes twice in one night has its offset beside it: ``01:30 UTC−5``.
    """
    near = at + HALF_SECOND
    text = place.local(near).strftime("%H:%M:%S" if seconds else "%H:%M")
    return f"{text} {_offset_text(place, near)}" if _comes_twice(place, near) else text


def clock_text_up(place: Place, at: datetime) -> str:
    """``13:32`` for 13:31:40: a begun minute counts in full, as wherever nothing may happen before it."""
    begun = (at + HALF_SECOND).second != 0
    return clock_text(place, at + timedelta(minutes=1) if begun else at)


def instant(place: Place, at: datetime, seconds: bool = False) -> str:
    """``Tue 5 May 2026, 13:31 CDT (UTC−5)``."""
    local = weekday_text(place.local_date(at))
    return f"{local}, {clock_text(place, at, seconds)} {zone_text(place, at)}"


def short_instant(place: Place, at: datetime, seconds: bool = False) -> str:
    """``5 May 2026, 13:31``, for use where the zone is named beside it."""
    return f"{day_text(place.local_date(at))}, {clock_text(place, at, seconds)}"


def span(place: Place, start: datetime, end: datetime | None) -> str:
    """``5 May, 10:30 to 10:52``; both days named where they differ."""
    first = place.local_date(start)
    head = f"{first.day} {_MONTHS[first.month - 1]}, {clock_text(place, start)}"
    if end is None:
        return f"{head}, not ended"
    last = place.local_date(end)
    tail = clock_text(place, end)
    return f"{head} to {tail}" if first == last else f"{head} to {last.day} {_MONTHS[last.month - 1]}, {tail}"


def bracket(place: Place, moment: Moment) -> str:
    """When something was: a time, or ``between 15:59:30 and 16:01:30`` where it is not known exactly."""
    if (moment.high - moment.low).total_seconds() <= 1:
        return short_instant(place, moment.high, seconds=True)
    low, high = place.local_date(moment.low), place.local_date(moment.high)
    if low == high:
        between = f"{clock_text(place, moment.low, True)} and {clock_text(place, moment.high, True)}"
        return f"{day_text(low)}, between {between}"
    return f"between {short_instant(place, moment.low, True)} and {short_instant(place, moment.high, True)}"


def raw_clock(place: Place, moment: Moment) -> str:
    """What a device itself showed, empty for the server's and a satellite's clock.

    The first block of its id tells devices of one job apart; the whole id stands in the enclosed facts.
    """
    if not moment.clock.startswith("device:"):
        return ""
    device = moment.clock.removeprefix("device:").split("@")[0].split("-")[0]
    return f"device {device} said {clock_text(place, moment.reading, True)}"


def utc(at: datetime) -> str:
    """``2026-05-05 18:31:40 UTC``; parts of a second as in local times, which stand beside it."""
    return (at + HALF_SECOND).astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S UTC")


def duration(seconds: float) -> str:
    """``596 s``, and from two minutes on ``9 min 56 s`` or ``2 h 05 min``."""
    whole = round(seconds)
    if whole < 120:
        return f"{whole} s"
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60:02d} min"
