"""The whole snapshot of one job, and what of it was held at an instant."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TypeVar

from rules.facts.files import EvidenceItem, Photo
from rules.facts.floor import FloorSurvey
from rules.facts.gear import Equipment
from rules.facts.measured import ClimateLog, DriveLog, Reading, Scan, VoltageLog
from rules.facts.moments import Moment, Place, Record
from rules.facts.people import Explanation, Person, Refusal, SignOff, Waiver
from rules.facts.remembering import Remembers
from rules.facts.sessions import FunctionCheck, LampRecord, Session, Statement, TargetIdentity
from rules.facts.visit import (
    AdhesiveSheet,
    Closing,
    Delivery,
    EstimateLine,
    FittedWay,
    GlassSet,
    IdentityReading,
    OperationDone,
    SensorFunctions,
    StateChange,
    SubletTrip,
    TextLookup,
    Vehicle,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFacts(Remembers):
    """Everything a verdict on one job may rest on. ``vehicle.vin`` is the VIN as typed at intake."""

    job_id: str
    order_number: str
    organisation: str
    refusal_allowed: bool
    place: Place
    opened: Moment
    vehicle: Vehicle
    plan_fixed_at: datetime | None = None
    delivery: Delivery | None = None
    identity_readings: tuple[IdentityReading, ...] = ()
    fitted_ways: tuple[FittedWay, ...] = ()
    estimate_lines: tuple[EstimateLine, ...] = ()
    operations: tuple[OperationDone, ...] = ()
    closings: tuple[Closing, ...] = ()
    lookups: tuple[TextLookup, ...] = ()
    sessions: tuple[Session, ...] = ()
    state_changes: tuple[StateChange, ...] = ()
    glass_sets: tuple[GlassSet, ...] = ()
    adhesive_sheets: tuple[AdhesiveSheet, ...] = ()
    climate_logs: tuple[ClimateLog, ...] = ()
    voltage_logs: tuple[VoltageLog, ...] = ()
    drive_logs: tuple[DriveLog, ...] = ()
    readings: tuple[Reading, ...] = ()
    scans: tuple[Scan, ...] = ()
    lamp_records: tuple[LampRecord, ...] = ()
    statements: tuple[Statement, ...] = ()
    function_checks: tuple[FunctionCheck, ...] = ()
    target_identities: tuple[TargetIdentity, ...] = ()
    photos: tuple[Photo, ...] = ()
    files: tuple[EvidenceItem, ...] = ()
    sign_offs: tuple[SignOff, ...] = ()
    waivers: tuple[Waiver, ...] = ()
    refusals: tuple[Refusal, ...] = ()
    explanations: tuple[Explanation, ...] = ()
    sublet_trips: tuple[SubletTrip, ...] = ()
    floor_surveys: tuple[FloorSurvey, ...] = ()
    equipment: tuple[Equipment, ...] = ()
    people: tuple[Person, ...] = ()
    sensor_functions: tuple[SensorFunctions, ...] = ()


RecordT = TypeVar("RecordT", bound=Record)

RECORD_FIELDS = (
    "identity_readings",
    "fitted_ways",
    "estimate_lines",
    "operations",
    "closings",
    "lookups",
    "sessions",
    "state_changes",
    "glass_sets",
    "climate_logs",
    "voltage_logs",
    "drive_logs",
    "readings",
    "scans",
    "lamp_records",
    "statements",
    "function_checks",
    "target_identities",
    "photos",
    "files",
    "sign_offs",
    "waivers",
    "refusals",
    "explanations",
    "sublet_trips",
    "floor_surveys",
)


def held_at(records: Iterable[RecordT], at: datetime) -> tuple[RecordT, ...]:
    """The records as the server held them at ``at``: later ones gone, later endings undone."""
    return tuple(
        replace(record, ended_at=None, ended_how=None)
        if record.ended_at is not None and record.ended_at > at
        else record
        for record in records
        if record.received_at <= at
    )


def live(records: Iterable[RecordT]) -> tuple[RecordT, ...]:
    """The records that still count: not set aside, corrected or withdrawn."""
    return tuple(record for record in records if record.ended_at is None)


def facts_held_at(facts: JobFacts, at: datetime) -> JobFacts:
    """The whole snapshot as it stood at the gate instant ``at``: itself where nothing came later."""
    changed: dict[str, object] = {name: held_at(getattr(facts, name), at) for name in RECORD_FIELDS}
    changed["floor_surveys"] = tuple(
        replace(item, voided_at=None, void_held_at=None, void_reason="")
        if item.void_held_at is not None and item.void_held_at > at
        else item
        for item in held_at(facts.floor_surveys, at)
    )
    changed["delivery"] = (
        facts.delivery if facts.delivery is not None and facts.delivery.received_at <= at else None
    )
    changed["equipment"] = tuple(
        replace(
            item,
            certificates=held_at(item.certificates, at),
            events=held_at(item.events, at),
            before_use_checks=held_at(item.before_use_checks, at),
        )
        for item in facts.equipment
    )
    changed["people"] = tuple(
        replace(person, qualifications=held_at(person.qualifications, at)) for person in facts.people
    )
    held = replace(facts, **changed)  # type: ignore[arg-type]
    # The very snapshot keeps what was worked out from it.
    return facts if held == facts else held
