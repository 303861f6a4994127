"""Logs, readings and scans: what instruments and devices gave."""

from dataclasses import dataclass
from typing import Literal

from rules.facts.moments import LogClock, Moment, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class ClimateLog(Record):
    """Samples (t s, degC, percent RH), t increasing."""

    clock: LogClock
    samples: tuple[tuple[float, float, float], ...]
    instrument: str | None
    u_temp: float | None
    u_rh: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class VoltageLog(Record):
    """Samples (t s, V) and events (t s, name); names: crank_, key_ and support_ start, end, on, off."""

    clock: LogClock
    samples: tuple[tuple[float, float], ...]
    events: tuple[tuple[float, str], ...]
    instrument: str | None
    u: float | None
    sessions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Fix:
    t: float
    lat: float
    lon: float
    speed_kph: float | None = None
    course_deg: float | None = None
    accuracy_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reuse:
    """The same picture elsewhere; ``distance`` in bits, 0 with ``same_bytes`` for identical files."""

    other_evidence: str
    distance: int
    same_job: bool
    same_bytes: bool
    correlation: float | None = None
    decision: Literal["same picture", "different"] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveLog(Record):
    """``reuse``: the same bytes on other jobs; decided "different": a reviewer assigned it to this job."""

    clock: LogClock
    fixes: tuple[Fix, ...]
    sessions: tuple[str, ...] = ()
    reuse: tuple["Reuse", ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading(Record):
    """One measured value: as typed, and in the program's unit; ``u`` is None where no method budget is known.

    ``u_common``: the relative standard uncertainty that all readings with one instrument share (the scale
    of a tape), contained in ``u``; None where it is not known which part of u that is. ``u_added``: standard
    uncertainty of a correction applied to ``value`` afterwards, one amount for all readings with the
    instrument, not contained in ``u``.
    ``vehicle_shown`` marks values the vehicle or scan device displays: their u is 0 by the maker's statement.
    ``bay`` is the bay it was read in: the one it names, else that of its session.
    Odometer readings (``quantity`` odometer) are km with ``resolution`` in km.
    """

    quantity: str
    place: str
    value: float
    unit: str
    typed_value: str
    typed_unit: str
    at: Moment
    by: str
    u: float | None = None
    u_from: str = ""
    u_common: float | None = 0.0
    u_added: float = 0.0
    resolution: float | None = None
    instrument: str | None = None
    vehicle_shown: bool = False
    session: str | None = None
    procedure_id: str | None = None
    set_no: int = 1
    bay: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TroubleCode:
    code: str
    ftb: str | None
    state: Literal["present", "intermittent", "stored"]
    text: str = ""
    count: int | None = None
    first_seen_km: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanModule:
    name: str
    system: str
    answered: bool
    address: str | None = None
    part_no: str | None = None
    hardware_no: str | None = None
    software_no: str | None = None
    replaced_used_part: bool = False
    codes: tuple[TroubleCode, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cleared:
    module: str
    at: Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan(Record):
    stage: str
    ended: Moment
    modules: tuple[ScanModule, ...]
    vin_per_module: tuple[tuple[str, str], ...] = ()
    device: str | None = None
    device_software: str = ""
    supply_voltage_v: float | None = None
    cleared: tuple[Cleared, ...] = ()
