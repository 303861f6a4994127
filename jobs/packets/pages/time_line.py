"""Chapter 7, and the same table on the gate's page: every time on record in order, corrected beside raw."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import groupby
from typing import Final

from jobs.packets.pages import times
from rules.explain import readable
from rules.facts import JobFacts, Place
from rules.operation_names import plain_operation
from rules.timeline import TimelineEvent, events_in_order

# Shorter brackets are printed as one time (as everywhere in the packet).
_ONE_TIME: Final = timedelta(seconds=1)
_NO_NEWS: Final = "time of the "


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeRow:
    """One event, or several of one name at one time.

    Attributes:
        name: what happened; ``count`` of them.
        local, utc: the tightest bounds of its true time, one time where they lie within a second.
        shown, clock: what the clock itself said, in the zone of the place, and whose clock it was.
        doubtful: clocks contradict each other here.
    """

    name: str
    count: int
    local: str
    utc: str
    shown: str
    clock: str
    doubtful: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeDay:
    """The events of one local day; ``head``: ``Tue 5 May 2026, CDT (UTC−5)``."""

    head: str
    rows: tuple[TimeRow, ...]


def time_line(facts: JobFacts, clocks: Mapping[str, str] | None = None) -> tuple[TimeDay, ...]:
    """Days of the record in order of the earliest true time.

    Args:
        clocks: names of devices by the words that stand for them (``device 1555c1f2``).
    """
    days = []
    for head, found in groupby(events_in_order(facts), key=_head):
        rows = [_row(event, clocks or {}) for event in found]
        days.append(TimeDay(head=head, rows=_together(rows)))
    return tuple(days)


def _head(event: TimelineEvent) -> str:
    day = times.weekday_text(event.place.local_date(event.low))
    return f"{day}, {times.zone_text(event.place, event.low)}"


def _row(event: TimelineEvent, clocks: Mapping[str, str]) -> TimeRow:
    clock = event.clock.removeprefix("the ").removeprefix("clock of ")
    for words, name in clocks.items():
        clock = clock.replace(words, name)
    return TimeRow(
        name=_name(event.name),
        count=1,
        local=_between(event.place, event.low, event.high),
        utc=_utc(event.low, event.high),
        shown=_on(event.place, event.reading, event.low),
        clock=clock,
        doubtful=event.doubtful,
    )


def _name(words: str) -> str:
    text = readable(words.removeprefix(_NO_NEWS))
    head, mark, rest = text.partition(" (")
    inside = rest.removesuffix(")")
    text = f"{head} ({plain_operation(inside)})" if mark and "." in inside else text
    return text[:1].upper() + text[1:]


def _between(place: Place, low: datetime, high: datetime) -> str:
    if high - low <= _ONE_TIME:
        return _on(place, high, low)
    return f"{times.clock_text(place, low, True)} to {_on(place, high, low)}"


def _on(place: Place, at: datetime, beside: datetime) -> str:
    """The local time of day; with its day where that is another than that of ``beside``."""
    text = times.clock_text(place, at, True)
    day = place.local_date(at)
    return text if day == place.local_date(beside) else f"{times.day_text(day)}, {text}"


def _utc(low: datetime, high: datetime) -> str:
    first, last = times.utc(low), times.utc(high)
    if high - low <= _ONE_TIME:
        return last
    same_day = low.astimezone(UTC).date() == high.astimezone(UTC).date()
    return f"{first.removesuffix(' UTC')} to {last.split(' ', 1)[1] if same_day else last}"


def _together(rows: list[TimeRow]) -> tuple[TimeRow, ...]:
    """Several records of one name at one time, by one clock, are one row with their number."""
    counts: dict[TimeRow, int] = {}
    for row in rows:
        counts[row] = counts.get(row, 0) + 1
    return tuple(
        TimeRow(
            name=row.name,
            count=count,
            local=row.local,
            utc=row.utc,
            shown=row.shown,
            clock=row.clock,
            doubtful=row.doubtful,
        )
        for row, count in counts.items()
    )
