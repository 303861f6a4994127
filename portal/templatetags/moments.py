"""How instants, days and hashes are written for people: always with the zone, never a bare number."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django import template

register = template.Library()


def offset_words(at: datetime) -> str:
    """``UTC−5`` or ``UTC+5:30``, with a true minus sign."""
    offset = at.utcoffset()
    minutes = round(offset.total_seconds() / 60) if offset else 0
    sign = "−" if minutes < 0 else "+"
    hours, rest = divmod(abs(minutes), 60)
    return f"UTC{sign}{hours}" + (f":{rest:02d}" if rest else "")


@register.filter
def stamp(at: datetime | None, tz: str) -> str:
    """``Tue 5 May 2026, 11:31 CDT (UTC−5)``."""
    if at is None:
        return "not recorded"
    local = at.astimezone(ZoneInfo(tz))
    return f"{local:%a} {local.day} {local:%b %Y, %H:%M %Z} ({offset_words(local)})"


@register.filter
def clock(at: datetime | None, tz: str) -> str:
    """``11:31 CDT``, for places where the day stands nearby."""
    return "not recorded" if at is None else f"{at.astimezone(ZoneInfo(tz)):%H:%M %Z}"


@register.filter
def short(at: datetime | None, tz: str) -> str:
    """``Tue 5 May, 11:31 CDT``, for tables of this year's days."""
    if at is None:
        return "not recorded"
    local = at.astimezone(ZoneInfo(tz))
    return f"{local:%a} {local.day} {local:%b, %H:%M %Z}"


@register.filter
def zone(at: datetime | None, tz: str) -> str:
    """``CDT (UTC−5)``: the zone that holds at that instant."""
    if at is None:
        return tz
    local = at.astimezone(ZoneInfo(tz))
    return f"{local:%Z} ({offset_words(local)})"


@register.filter
def day(value: date | None) -> str:
    """``12 Aug 2026``."""
    return "not recorded" if value is None else f"{value.day} {value:%b %Y}"


@register.filter
def iso(at: datetime, tz: str) -> str:
    """RFC 3339 with the zone's offset, for ``datetime`` attributes."""
    return at.astimezone(ZoneInfo(tz)).isoformat(timespec="seconds")


@register.filter
def fours(digest: str) -> str:
    """A hash in groups of four."""
    return " ".join(digest[place : place + 4] for place in range(0, len(digest), 4))
