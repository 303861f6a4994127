"""A scenario as it is played: the world it changes, its jobs with all their records, its parts."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from jobs.rehearsal.expectation import Expected
from jobs.rehearsal.faults import Spot
from jobs.rehearsal.kinds import Kind
from jobs.rehearsal.times import When


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """One record of the story: when, by whom, and its own keys in ``body``."""

    section: str
    name: str
    kind: Kind
    spot: Spot
    at: When
    body: Mapping[str, Any]
    by: str = ""
    device: str = ""
    received: When | None = None
    where: str = ""
    refused: str = ""

    @property
    def path(self) -> str:
        return f"{self.section}.{self.name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class JobScript:
    """One job of the story."""

    id: str
    spot: Spot
    day: date
    number: str
    location: str
    organisation: str
    cast: Mapping[str, str]
    device: str
    order: Mapping[str, Any]
    vehicle: Mapping[str, Any]
    acts: tuple[Act, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """An instant at which every job is judged; ``at`` None: a minute after the last record."""

    name: str
    spot: Spot
    at: When | None
    expect: Mapping[str, tuple[Expected, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockScript:
    """A clock: it shows ``off`` more than the true time; ``sets`` are later settings, (from, off)."""

    off: timedelta = timedelta(0)
    compared: bool = True
    delay: timedelta = timedelta(0)
    sets: tuple[tuple[When, timedelta], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """``day`` and ``location`` are the first job's: the desk keeps its time."""

    title: str
    file: str
    folder: Path
    day: date
    world: Mapping[str, Any]
    world_spot: Spot
    clocks: Mapping[str, ClockScript]
    jobs: Mapping[str, JobScript]
    desk: tuple[Act, ...]
    parts: tuple[Part, ...]
