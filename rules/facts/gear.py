"""Instruments: certificates, what happened to them, checks before use."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from rules.facts.moments import Moment, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationPoint:
    nominal: float
    indication: float
    error: float
    expanded_u: float
    k: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate(Record):
    """``points`` are the as-left points, or the as-found ones where nothing was adjusted."""

    number: str
    lab_name: str
    calibrated_on: date
    calibrated_at: datetime | None
    points: tuple[CalibrationPoint, ...]
    mpe_statement: str | None
    no_as_found: bool
    confirmed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipmentEvent(Record):
    kind: str
    at: Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class BeforeUseCheck(Record):
    at: Moment
    passed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Equipment:
    tag: str
    cls: str
    unit: str
    needs_certificate: bool
    interval_months: int | None
    interval_uses: int | None
    in_service_from: date
    state: Literal["in_service", "quarantined", "retired"]
    state_since: datetime | None = None
    needs_check_before_use: bool = False
    maker: str = ""
    model: str = ""
    serial: str = ""
    certificates: tuple[Certificate, ...] = ()
    events: tuple[EquipmentEvent, ...] = ()
    before_use_checks: tuple[BeforeUseCheck, ...] = ()
    uses_before: int = 0
