"""The stage of a played day: the movable clock, the cast with their tablets, and how progress is told."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from portal.demo.tablet import Tablet
from portal.demo.transport import Transport


class StuckError(Exception):
    """A worker did not finish what was asked of it."""


class SceneClock:
    """Moves the clock that the server reads in demo and test mode, by writing its shift into a file."""

    def __init__(self, file: Path, tz: str) -> None:
        self.file = file
        self.zone = ZoneInfo(tz)

    def move_to(self, day: date, hhmm: str) -> datetime:
        """Sets the clock to a local wall time; it keeps running from there."""
        hour, minute, *second = (int(part) for part in hhmm.split(":"))
        local = datetime(
            day.year, day.month, day.day, hour, minute, second[0] if second else 0, tzinfo=self.zone
        )
        shift = (local - datetime.now(tz=UTC)).total_seconds()
        # Replaced in one step: a reader never sees half a number.
        fresh = self.file.with_suffix(".new")
        fresh.write_text(f"{shift:.6f}", encoding="ascii")
        fresh.replace(self.file)
        return local

    def now(self) -> datetime:
        shift = float(self.file.read_text(encoding="ascii"))
        return (datetime.now(tz=UTC) + timedelta(seconds=shift)).astimezone(self.zone)

    def local(self, day: date, hhmm: str) -> datetime:
        hour, minute, *second = (int(part) for part in hhmm.split(":"))
        return datetime(
            day.year, day.month, day.day, hour, minute, second[0] if second else 0, tzinfo=self.zone
        )


@dataclass
class Scene:
    """Who can act, and on what clock; ``tell`` prints progress, ``pause`` lets the worker work."""

    transport: Transport
    clock: SceneClock
    tokens: Mapping[str, tuple[str, str]]
    pins: Mapping[str, str]
    tell: Callable[[str], None]
    pause: Callable[[], None]
    _tablets: dict[str, Tablet] = field(default_factory=dict)

    def tablet(self, login: str) -> Tablet:
        """The tablet in the hands of ``login``."""
        if login not in self._tablets:
            token, device = self.tokens[login]
            self._tablets[login] = Tablet(self.transport, token, device, self.clock.now)
        return self._tablets[login]

    def wait_for(self, tablet: Tablet, path: str, states: tuple[str, ...], most: int = 600) -> Any:
        """Asks again and again until the thing at ``path`` has one of ``states``."""
        for _ in range(most):
            found = tablet.get(path)
            if found["state"] in states:
                return found
            if found["state"] in ("dead", "failed"):
                raise StuckError(f"{path} is {found['state']}: {found}")
            self.pause()
        raise StuckError(f"{path} did not become {' or '.join(states)}")

    def at(self, day: date, hhmm: str, login: str, words: str) -> Tablet:
        """Moves the clock, compares the tablet's clock with the server's, and says what happens now."""
        local = self.clock.move_to(day, hhmm)
        tablet = self.tablet(login)
        tablet.observe_clock()
        self.tell(f"{local:%d %b %H:%M}  {words}")
        return tablet
