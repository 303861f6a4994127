"""Times of a scenario as an author writes them: a clock time of the job's day, another day, or an instant."""

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

FORMS: Final = (
    'a time such as 10:30, 10:30:05, "+1 08:10" (the next day), "2026-05-05 10:30" or one with an offset'
)
_CLOCK: Final = r"(\d{1,2}):(\d{2})(?::(\d{2})(\.\d{1,6})?)?"
_TIME = re.compile(rf"(?:([+-]\d{{1,4}}) )?{_CLOCK}", re.ASCII)
_DATED = re.compile(rf"(\d{{4}}-\d{{2}}-\d{{2}})[ T]{_CLOCK}(Z|[+-]\d{{2}}:\d{{2}})?", re.ASCII)
_SPAN = re.compile(r"([+-]?\d{1,7}(?:\.\d{1,6})?) ?(ms|s|min|h|d)", re.ASCII)
_SECONDS: Final = {"ms": 0.001, "s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class When:
    """A time as written: ``day`` None means the job's own day, ``later_days`` after it; ``at`` wall or exact.

    ``exact`` is set where the text carries an offset of its own.
    """

    text: str
    day: date | None = None
    later_days: int = 0
    wall: time = time(0)
    exact: datetime | None = None

    def on(self, own_day: date, zone: ZoneInfo) -> datetime:
        """The instant, for a job of ``own_day`` at a place in ``zone``."""
        if self.exact is not None:
            return self.exact.astimezone(zone)
        day = self.day if self.day is not None else own_day + timedelta(days=self.later_days)
        return datetime.combine(day, self.wall, tzinfo=zone)


def read_when(text: str) -> When | None:
    """The time that ``text`` means; None where it means none."""
    try:
        return _dated(text) or _of_day(text)
    except ValueError:
        return None


def _of_day(text: str) -> When | None:
    found = _TIME.fullmatch(text)
    if found is None:
        return None
    later, *clock = found.groups()
    return When(text=text, later_days=int(later or 0), wall=_wall(clock))


def _dated(text: str) -> When | None:
    found = _DATED.fullmatch(text)
    if found is None:
        return None
    day_text, *clock, offset = found.groups()
    day = date.fromisoformat(day_text)
    if not 1990 <= day.year <= 2190:
        return None
    wall = _wall(clock)
    if offset:
        iso = f"{day_text}T{wall.isoformat()}{'+00:00' if offset == 'Z' else offset}"
        return When(text=text, exact=datetime.fromisoformat(iso))
    return When(text=text, day=day, wall=wall)


def _wall(clock: list[str | None]) -> time:
    hour, minute, second, fraction = clock
    micros = int((fraction or ".0")[1:].ljust(6, "0"))
    return time(int(hour or 0), int(minute or 0), int(second or 0), micros)


def read_span(text: str) -> timedelta | None:
    """A length of time such as ``0.24 s``, ``-55 min`` or ``2 d``; None where the text is none."""
    found = _SPAN.fullmatch(text)
    return timedelta(seconds=float(found[1]) * _SECONDS[found[2]]) if found is not None else None
