"""Every clock of a record by a name a reader can keep apart, and what is known of it."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final

from jobs.packets.pages import times
from rules.checks.known_times import known_times
from rules.facts import JobFacts, Moment
from rules.timeline import tightest

DEVICE = "device:"
# From here on a clock says nothing of the hour (a day either way is what an unknown clock is given).
UNKNOWN = timedelta(hours=12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """``key`` as moments name it; ``words`` as sentences of the engine call it."""

    key: str
    name: str
    words: str
    known: str
    events: int


_DEVICE: Final = re.compile(r"\bdevice [0-9a-f]{8}\b")


def with_names(text: str, clocks: Iterable[Clock], form: Callable[[str], str] = str) -> str:
    """A text with devices called by name instead of by the beginning of their ids.

    Args:
        form: how a name is written in this text, for instance escaped.
    """
    names = {clock.words: form(clock.name) for clock in clocks}
    return _DEVICE.sub(lambda found: names.get(found[0], found[0]), text)


def device_id(clock: str) -> str:
    """``1555c1f2-…`` of ``device:1555c1f2-…@2``; empty for a clock that is no device's."""
    return clock.removeprefix(DEVICE).split("@")[0] if clock.startswith(DEVICE) else ""


def clocks_of(facts: JobFacts, names: Iterable[Any] = ()) -> tuple[Clock, ...]:
    """Clocks in the order in which the record first uses them; devices without a name are numbered.

    Args:
        names: of devices, each with ``id`` and ``name``.
    """
    told = {str(item.id): str(item.name) for item in names}
    known = known_times(facts)
    found: dict[str, list[Moment]] = {}
    for event in sorted(known.events, key=lambda item: (item.moment.low, item.key)):
        low, high = tightest(known, event)
        seen = Moment(low=low, high=high, reading=event.moment.reading, clock=event.moment.clock)
        found.setdefault(event.moment.clock, []).append(seen)
    clocks, unnamed = [], 0
    for key, moments in found.items():
        own = device_id(key)
        if own and own not in told:
            unnamed += 1
            told[own] = f"device {unnamed}"
        clocks.append(
            Clock(
                key=key,
                name=_name(key, told),
                words=f"device {own.split('-')[0]}" if own else key,
                known=_known(moments) if own else _other(key),
                events=len(moments),
            )
        )
    return tuple(clocks)


def _name(key: str, told: dict[str, str]) -> str:
    own = device_id(key)
    if not own:
        return {"server": "portal server", "satellite": "satellite time", "mixed": "several clocks"}.get(
            key, key
        )
    period = key.partition("@")[2]
    return told[own] + (f", after reset {period}" if period and period != "0" else "")


def _other(key: str) -> str:
    return {"server": "true time of this record", "satellite": "within 1 s"}.get(key, "")


def _known(moments: list[Moment]) -> str:
    """``63 min 10 s slow, within 2 s``: what all readings together leave of the clock's error."""
    late = max(moment.reading - moment.high for moment in moments)
    early = min(moment.reading - moment.low for moment in moments)
    if early - late >= UNKNOWN:
        return "not known"
    middle = (early + late).total_seconds() / 2
    half = abs((early - late).total_seconds()) / 2
    if abs(middle) < 1 and half < 1:
        return "right within 1 s"
    word = "fast" if middle > 0 else "slow"
    return f"{times.duration(abs(middle))} {word}, within {times.duration(max(half, 1))}"
