"""Attempts at procedures, and what people recorded around them."""

from dataclasses import dataclass
from typing import Literal

from rules.facts.moments import Moment, Place, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyEvent:
    at: Moment
    state: Literal["on", "off", "crank"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionPart:
    part: Literal["still", "road"]
    started: Moment
    ended: Moment | None
    result: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Session(Record):
    """One attempt at one procedure; ``results``: per place where a procedure asks ``each_of``."""

    procedure_id: str
    attempt: int
    performed_by: str
    started: Moment
    ended: Moment | None
    result: str
    place: Place
    observer: str | None = None
    bay: str | None = None
    results: tuple[tuple[str, str], ...] = ()
    result_text: str = ""
    device: str | None = None
    device_software: str = ""
    key_events: tuple[KeyEvent, ...] = ()
    parts: tuple[SessionPart, ...] = ()
    reuses_part_of: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LampRecord(Record):
    at: Moment
    by: str
    states: tuple[tuple[str, str], ...]
    session: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement(Record):
    says: tuple[str, ...]
    at: Moment
    by: str
    text_version: str
    sessions: tuple[str, ...] = ()
    bay: str | None = None
    procedure_id: str | None = None
    denies: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FunctionCheck(Record):
    session: str
    function: str
    shows: str
    at: Moment
    by: str
    place: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetIdentity(Record):
    number_read: str
    right_way_up: bool
    clean: bool
    at: Moment
    by: str
    session: str | None = None
    procedure_id: str | None = None
