"""What a person enters for the question whether a car can go home today, from a query string."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from jobs.errors import DomainError
from jobs.services.values import read_instant
from rules.advice.home_question import Entered

_NUMBER: Final = re.compile(r"-?\d{1,4}(\.\d{1,3})?")
_CLOCK: Final = re.compile(r"([01]\d|2[0-3]):([0-5]\d)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One parameter: its lowest and highest value, and its unit in words; None for an instant."""

    name: str
    words: str
    lowest: float | None = None
    highest: float | None = None
    unit: str = ""


# Bounds are the widest that a person can mean (project defaults).
ENTRIES: Final = (
    Entry(name="way_minutes", words="Minutes to the road, one way", lowest=0, highest=240, unit="min"),
    Entry(name="work_minutes", words="Minutes of work before the drive", lowest=0, highest=1440, unit="min"),
    Entry(name="bay_free_at", words="Bay free from"),
    Entry(name="shift_until", words="Aimer here until"),
    Entry(name="forecast_temp_c", words="Coldest to come", lowest=-60, highest=60, unit="degC"),
    Entry(name="forecast_rh_percent", words="Driest to come", lowest=0, highest=100, unit="%"),
)
NAMES: Final = frozenset(entry.name for entry in ENTRIES)


class BadEntryError(ValueError):
    """One parameter that cannot be taken; ``name`` is the parameter."""

    def __init__(self, name: str, message: str) -> None:
        super().__init__(message)
        self.name = name


def entered(query: Mapping[str, str], *, now: datetime, tz: str = "") -> Entered:
    """Checked entries; what is absent or empty was not entered.

    With ``tz`` (the shop's zone) instants may be a clock time of the local day of ``now``, as a form
    sends it; without, they are RFC 3339 with an offset.

    Raises:
        BadEntryError: a value that is no number or instant, or lies outside its bounds.
    """
    given = {entry.name: query.get(entry.name, "").strip() for entry in ENTRIES}
    numbers = {entry.name: _number(entry, given[entry.name]) for entry in ENTRIES if entry.lowest is not None}
    way, work = numbers["way_minutes"], numbers["work_minutes"]
    return Entered(
        way_s=None if way is None else way * 60.0,
        work_s=0.0 if work is None else work * 60.0,
        bay_free_at=_instant("bay_free_at", given["bay_free_at"], now, tz),
        shift_until=_instant("shift_until", given["shift_until"], now, tz),
        forecast_temp=numbers["forecast_temp_c"],
        forecast_rh=numbers["forecast_rh_percent"],
    )


def _number(entry: Entry, text: str) -> float | None:
    if not text:
        return None
    bounds = f"{entry.words}: a number from {entry.lowest:g} to {entry.highest:g} {entry.unit}."
    if not _NUMBER.fullmatch(text):
        raise BadEntryError(entry.name, bounds)
    value = float(text)
    if not (entry.lowest or 0.0) <= value <= (entry.highest or 0.0):
        raise BadEntryError(entry.name, bounds)
    return value


def _instant(name: str, text: str, now: datetime, tz: str) -> datetime | None:
    if not text:
        return None
    clock = _CLOCK.fullmatch(text) if tz else None
    if clock is not None:
        local = now.astimezone(ZoneInfo(tz))
        return local.replace(hour=int(clock[1]), minute=int(clock[2]), second=0, microsecond=0)
    try:
        found = read_instant(text, name)
    except DomainError:
        form = "a time such as 16:30" if tz else "an RFC 3339 instant with its offset"
        raise BadEntryError(name, f"{name.replace('_', ' ')}: {form}.") from None
    if abs(found - now) > timedelta(days=2):
        raise BadEntryError(name, f"{name.replace('_', ' ')}: within two days of now.")
    return found
