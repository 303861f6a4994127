"""What the record shows of one job: a frozen snapshot with nothing computed that a verdict could hide in.

Units as in the data dictionary: mm, deg, kPa, V, s, km/h, degC, lx, um; instants are aware UTC datetimes.
Sample times in logs are POSIX seconds of the log's own clock.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Literal, Self, TypeVar


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """An event's true time, known as the closed interval [low, high]; ``reading`` is what ``clock`` showed.

    ``clock`` is ``server``, ``satellite`` or ``device:<id>``. Two moments on one clock share its unknown
    offset, so their order may be shown by their readings although their absolute times are not.
    ``resolution_s``: the reading stands for [reading, reading + resolution_s).
    """

    low: datetime
    high: datetime
    reading: datetime
    clock: str
    resolution_s: float = 0.0

    @classmethod
    def exact(cls, at: datetime, clock: str = "server") -> Self:
        return cls(low=at, high=at, reading=at, clock=clock)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogClock:
    """A log's clock: device minus true lies in [offset_low_s, offset_high_s], so true = reading - offset."""

    clock: str
    offset_low_s: float
    offset_high_s: float

    def moment(self, t: float) -> Moment:
        """The moment at which this clock showed ``t`` (POSIX seconds)."""
        reading = datetime.fromtimestamp(t, tz=UTC)
        return Moment(
            low=reading - timedelta(seconds=self.offset_high_s),
            high=reading - timedelta(seconds=self.offset_low_s),
            reading=reading,
            clock=self.clock,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """What every recorded row has.

    Attributes:
        id: the row's id.
        sha256: hash of the row's content (or of the file's bytes), as signatures cover it.
        received_at: when the server held it (UTC); only what was held at the gate instant counts.
        evidence: ids of evidence files it was taken from or is shown by.
        ended_at: when it stopped counting, if it did.
        ended_how: ``set_aside``, ``corrected`` or ``withdrawn``.
    """

    id: str
    sha256: str
    received_at: datetime
    evidence: tuple[str, ...] = ()
    ended_at: datetime | None = None
    ended_how: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OffsetFrom:
    """From instant ``at`` on, local time is UTC + ``minutes``."""

    at: datetime
    minutes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A location; ``offsets`` is the zone history the job can need: no zone database is asked here."""

    code: str
    name: str
    tz: str
    lat: float
    lon: float
    photo_radius_m: float
    offsets: tuple[OffsetFrom, ...]

    def offset_minutes(self, at: datetime) -> int:
        """Minutes east of UTC at ``at``; before the first entry the first one is used."""
        chosen = self.offsets[0].minutes
        for entry in self.offsets:
            if entry.at > at:
                break
            chosen = entry.minutes
        return chosen

    def local(self, at: datetime) -> datetime:
        """Local wall time as a naive datetime."""
        return (at + timedelta(minutes=self.offset_minutes(at))).astimezone(UTC).replace(tzinfo=None)

    def local_date(self, at: datetime) -> date:
        return self.local(at).date()


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    vin: str
    make: str
    model: str
    model_year: int
    market: str
    check_digit_rule: Literal["required", "advisory"] = "required"
    build_date: date | None = None
    placard_front_kpa: float | None = None
    placard_rear_kpa: float | None = None
    wheelbase_mm: float | None = None
    front_track_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class IdentityReading(Record):
    way: str
    vin_read: str
    at: Moment
    module: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedWay(Record):
    """One way a sensor was found fitted (``yes``), not fitted (``no``) or left open (``unknown``)."""

    sensor: str
    state: str
    way: str
    at: Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimateLine(Record):
    line_no: int
    text: str
    operations: tuple[str, ...] = ()
    touches_nothing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OperationDone(Record):
    operation: str
    by: str
    started: Moment | None = None
    done: Moment | None = None
    zone_detail: str | None = None
    found_later: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing(Record):
    """The operation list was closed; ``ended_at`` with ``withdrawn`` means it was opened again."""

    at: Moment
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TextLookup(Record):
    procedure_id: str
    document_number: str
    edition: str
    section: str
    retrieved_at: Moment | None
    retrieved_by: str


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
class StateChange(Record):
    kind: str
    at: Moment
    by: str
    on_road: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    product: str
    batch: str
    expires_on: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class GlassSet(Record):
    operation_id: str
    set_at: Moment
    set_by: str
    glass_maker: str
    glass_part_number: str
    adhesive: Batch | None
    primer: Batch | None
    climate_log_id: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AdhesiveCell:
    """Minutes for a lowest temperature in [temp_from, temp_to) degC, humidity [rh_from, rh_to) percent."""

    temp_from: float
    temp_to: float
    rh_from: float
    rh_to: float | None
    minutes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AdhesiveSheet:
    product: str
    document: str
    issue: str
    cells: tuple[AdhesiveCell, ...]


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
class DriveLog(Record):
    """``reuse``: the same bytes on other jobs; decided "different": a reviewer assigned it to this job."""

    clock: LogClock
    fixes: tuple[Fix, ...]
    sessions: tuple[str, ...] = ()
    reuse: tuple["Reuse", ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading(Record):
    """One measured value: as typed, and in the program's unit; ``u`` is None where no method budget is known.

    ``vehicle_shown`` marks values the vehicle or scan device displays: their u is 0 by the maker's statement.
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
    resolution: float | None = None
    instrument: str | None = None
    vehicle_shown: bool = False
    session: str | None = None
    procedure_id: str | None = None
    set_no: int = 1


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
class SlipSeen:
    """A one-time slip code read from the picture: issued for ``job_id`` at ``issued_at`` (server time)."""

    job_id: str
    issued_at: datetime
    authentic: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceItem(Record):
    """One evidence file; ``captured`` brackets its capture, ``captured_how`` says where that comes from."""

    number: int
    kind: str
    stage: str
    media_type: str
    size_bytes: int
    by: str
    captured: Moment
    captured_how: str
    file_name: str = ""
    session: str | None = None
    shows: tuple[str, ...] = ()
    instrument: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo(EvidenceItem):
    width: int
    height: int
    laplacian_variance: float | None
    clipped_share: float | None
    readable: Literal["yes", "no", "not_judged"] = "not_judged"
    lat: float | None = None
    lon: float | None = None
    accuracy_m: float | None = None
    has_exif_time: bool = False
    slip: SlipSeen | None = None
    reuse: tuple[Reuse, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SignOff(Record):
    role: Literal["technician", "quality_reviewer", "release"]
    person: str
    at: Moment
    covers: tuple[str, ...]
    covers_root: str
    statement_version: str
    reauthenticated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiver(Record):
    procedure_id: str
    proof_id: str
    granted_by: str
    role: str
    at: Moment
    reason: str
    instead: str
    customer_told_at: Moment | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal(Record):
    procedure_id: str
    refused_by_name: str
    relation: Literal["owner", "authorised_agent", "other"]
    told_text_version: str
    systems_named: tuple[str, ...]
    lamp_state: str
    at: Moment
    witness: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation(Record):
    module: str
    code: str
    ftb: str | None
    text: str
    by: str
    role: str
    at: Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class SubletTrip(Record):
    procedure_ids: tuple[str, ...]
    to_org: str
    carried_how: Literal["driven", "trailer", "done_here"]
    out_at: Moment | None
    back_at: Moment | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery(Record):
    at: Moment


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Qualification(Record):
    kind: str
    issuer: str
    number: str
    issued_on: date
    expires_on: date | None
    revoked_on: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    id: str
    login: str
    name: str
    roles: tuple[str, ...]
    qualifications: tuple[Qualification, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorFunctions:
    """The J3063 functions that use one sensor of this vehicle."""

    sensor: str
    functions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFacts:
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
    """The whole snapshot as it stood at the gate instant ``at``."""
    changed: dict[str, object] = {name: held_at(getattr(facts, name), at) for name in RECORD_FIELDS}
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
    return replace(facts, **changed)  # type: ignore[arg-type]
