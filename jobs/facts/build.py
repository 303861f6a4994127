"""One job's rows into ``JobFacts``: all queries first, then the clocks, then the records."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any, Final, TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from jobs.facts import files, gear, measured, rows
from jobs.facts.clock_book import DEVICE_MARK, ClockBook, device_id_of
from jobs.facts.places import zone_offsets
from jobs.facts.reuse import Mine, reuse_on_other_jobs
from jobs.facts.uncertainty import Budgets
from jobs.models import (
    AdhesiveSheet,
    BayFloorSurvey,
    Delivery,
    Device,
    EstimateLine,
    EstimateMapping,
    Evidence,
    Explanation,
    FittedWay,
    FunctionCheck,
    FunctionUsesSensor,
    GlassSet,
    IdentityReading,
    Job,
    KeyEvent,
    LampRecord,
    Location,
    OperationDone,
    OperationsClosing,
    Reading,
    Record,
    RecordedMoment,
    Refusal,
    Scan,
    Session,
    SessionPart,
    SignOff,
    SlipCode,
    StateChange,
    Statement,
    SubletOrder,
    TargetIdentity,
    TextLookup,
    Vehicle,
    Waiver,
)
from rules import facts

RecordT = TypeVar("RecordT", bound=Record)

# Every kind of record with what its facts need joined: one query each, however many rows there are.
_JOINED: Final[dict[type[Record], tuple[str, ...]]] = {
    IdentityReading: (),
    FittedWay: (),
    EstimateLine: (),
    EstimateMapping: (),
    OperationDone: ("done_by",),
    OperationsClosing: ("closed_by",),
    TextLookup: ("retrieved_by",),
    Session: ("performed_by", "observer", "bay", "tool", "location"),
    StateChange: ("made_by",),
    GlassSet: ("set_by",),
    Reading: ("read_by", "instrument", "bay", "session__bay"),
    Scan: ("tool",),
    LampRecord: ("seen_by",),
    Statement: ("stated_by", "bay"),
    FunctionCheck: ("checked_by",),
    TargetIdentity: ("read_by",),
    Evidence: ("captured_by", "instrument"),
    SignOff: ("person",),
    Waiver: ("granted_by",),
    Refusal: ("witness",),
    Explanation: ("explained_by",),
    SubletOrder: (),
    Delivery: ("handed_over_by",),
}
_PERSON_COLUMNS: Final = (
    "done_by_id", "closed_by_id", "retrieved_by_id", "performed_by_id", "observer_id", "made_by_id",
    "set_by_id", "read_by_id", "seen_by_id", "stated_by_id", "checked_by_id", "captured_by_id", "person_id",
    "granted_by_id", "witness_id", "explained_by_id", "handed_over_by_id", "created_by_id",
)  # fmt: skip
_INSTRUMENT_COLUMNS: Final = ("tool_id", "instrument_id")


class JobRows:
    """Every row of one job, read in a fixed number of queries; nothing is asked of the database
    afterwards."""

    def __init__(self, job_id: UUID, as_of: datetime) -> None:
        self.as_of = as_of
        self.job = Job.objects.select_related(
            "organisation", "location", "order__vehicle", "order__created_by"
        ).get(pk=job_id)
        self.records: dict[type[Record], list[Any]] = {
            model: list(
                model._default_manager.filter(job=job_id, received_at__lte=as_of)  # type: ignore[misc]
                .select_related(*joined)
                .order_by("received_at", "id")
            )
            for model, joined in _JOINED.items()
        }
        self.parts = list(SessionPart.objects.filter(session__job=job_id).order_by("received_at", "part"))
        self.key_events = list(KeyEvent.objects.filter(session__job=job_id).order_by("received_at", "id"))
        self.surveys = self._surveys()
        levels = {row.instrument_id for row in self.surveys}
        self.gear = gear.GearRows(self.job, self._ids(_INSTRUMENT_COLUMNS) | levels)
        self.people = gear.people(self._ids(_PERSON_COLUMNS))
        self.sheets = list(AdhesiveSheet.objects.order_by("product", "document", "issue"))
        self.slips = self._slips()
        self.budgets = Budgets.on_file(as_of.date())
        self.reuse = self._reuse()
        self.functions = self._functions(self.job.order.vehicle)
        self.own_clocks = dict(
            Device.objects.filter(equipment__isnull=False, equipment__in=self._ids(_INSTRUMENT_COLUMNS))
            .order_by("-enrolled_at")
            .values_list("equipment_id", "pk")
        )
        self.book = ClockBook.read(self._clock_ids(), zone=ZoneInfo(self.job.location.tz), as_of=as_of)

    def of(self, model: type[RecordT]) -> list[RecordT]:
        return self.records[model]

    def all_rows(self) -> Iterator[Any]:
        for found in self.records.values():
            yield from found

    def _ids(self, columns: Iterable[str]) -> set[UUID]:
        names = tuple(columns)
        return {
            found
            for row in self.all_rows()
            for name in names
            if (found := getattr(row, name, None)) is not None
        }

    def _surveys(self) -> list[BayFloorSurvey]:
        """Of the bays in which this job's sessions were."""
        bays = {row.bay_id for row in self.of(Session) if row.bay_id is not None}
        rows = BayFloorSurvey.objects.filter(bay__in=bays, received_at__lte=self.as_of)
        return list(rows.select_related("bay", "instrument").order_by("received_at", "id"))

    def _slips(self) -> dict[str, SlipCode]:
        codes = {row.slip_code for row in self.of(Evidence) if row.slip_code}
        return {slip.code: slip for slip in SlipCode.objects.filter(code__in=codes)}

    def _reuse(self) -> dict[UUID, tuple[facts.Reuse, ...]]:
        mine = [
            Mine(id=row.pk, sha256=row.sha256, dhash64=str(row.decoded.get("dhash64") or ""))
            for row in self.of(Evidence)
        ]
        return reuse_on_other_jobs(self.job, mine)

    def _functions(self, vehicle: Vehicle) -> tuple[facts.SensorFunctions, ...]:
        found: dict[str, set[str]] = defaultdict(set)
        uses = FunctionUsesSensor.objects.filter(
            make=vehicle.make,
            model=vehicle.model,
            year_from__lte=vehicle.model_year,
            year_to__gte=vehicle.model_year,
        )
        for use in uses:
            for sensor in use.sensors:
                found[sensor].add(use.function)
        return tuple(
            facts.SensorFunctions(sensor=sensor, functions=tuple(sorted(found[sensor])))
            for sensor in sorted(found)
        )

    def _clock_ids(self) -> set[UUID]:
        stored: list[RecordedMoment] = [self.job.order.opened, *self.gear.moments()]
        for row in (*self.all_rows(), *self.parts, *self.key_events, *self.surveys):
            for value in vars(row).values():
                if isinstance(value, RecordedMoment):
                    stored.append(value)
        ids = {device_id_of(moment.clock) for moment in stored}
        ids |= {row.device_id for row in self.of(Evidence)}
        ids |= set(self.own_clocks.values())
        return {found for found in ids if found is not None}


def job_facts(*, job: Job, as_of: datetime) -> facts.JobFacts:
    """Everything the server held of one job at ``as_of`` (UTC), as a verdict may rest on it.

    The organisation's scope must be open. The number of queries does not depend on the number of rows.
    """
    read = JobRows(job.pk, as_of)
    order, book = read.job.order, read.book
    delivered = [row for row in read.of(Delivery) if row.ended_at is None]
    return facts.JobFacts(
        job_id=str(job.pk),
        order_number=order.number,
        organisation=read.job.organisation.name,
        refusal_allowed=read.job.organisation.refusal_allowed,
        place=_place(read.job.location, read.job.opened_at.year),
        opened=book.moment(order.opened, order.received_at),
        vehicle=_vehicle(order.vehicle),
        plan_fixed_at=_plan_fixed_at(read),
        delivery=_delivery(delivered[0], book) if delivered else None,
        people=read.people,
        equipment=read.gear.facts(book),
        adhesive_sheets=tuple(rows.adhesive_sheet(sheet) for sheet in read.sheets),
        sensor_functions=read.functions,
        **_observed(read),
        **_measured(read, delivered),
        **_files(read),
        **_decided(read),
    )


def _plan_fixed_at(read: JobRows) -> datetime | None:
    """When the closing that stood at ``as_of`` was received."""
    standing = [
        row.received_at
        for row in read.of(OperationsClosing)
        if row.ended_at is None or row.ended_at > read.as_of
    ]
    return max(standing, default=None)


def _observed(read: JobRows) -> dict[str, Any]:
    book = read.book
    mappings = {row.line_id: row for row in sorted(read.of(EstimateMapping), key=lambda row: row.version)}
    climate_log = _last_climate_log(read)
    return {
        "identity_readings": tuple(rows.identity_reading(row, book) for row in read.of(IdentityReading)),
        "fitted_ways": tuple(rows.fitted_way(row, book) for row in read.of(FittedWay)),
        "estimate_lines": tuple(
            rows.estimate_line(row, mappings.get(row.pk)) for row in read.of(EstimateLine)
        ),
        "operations": tuple(rows.operation(row, book) for row in read.of(OperationDone)),
        "closings": tuple(rows.closing(row, book) for row in read.of(OperationsClosing)),
        "lookups": tuple(rows.lookup(row, book) for row in read.of(TextLookup)),
        "state_changes": tuple(rows.state_change(row, book) for row in read.of(StateChange)),
        "glass_sets": tuple(rows.glass_set(row, book, climate_log) for row in read.of(GlassSet)),
        "lamp_records": tuple(rows.lamp_record(row, book) for row in read.of(LampRecord)),
        "statements": tuple(rows.statement(row, book) for row in read.of(Statement)),
        "function_checks": tuple(rows.function_check(row, book) for row in read.of(FunctionCheck)),
        "target_identities": tuple(rows.target_identity(row, book) for row in read.of(TargetIdentity)),
    }


def _last_climate_log(read: JobRows) -> str | None:
    """The log filed last that still counts."""
    counting = [row for row in read.of(Evidence) if row.kind == "climate_log" and row.ended_at is None]
    newest = max(counting, key=lambda row: (row.received_at, row.number or 0), default=None)
    return str(newest.pk) if newest is not None else None


def _measured(read: JobRows, delivered: list[Delivery]) -> dict[str, Any]:
    book = read.book
    parts: dict[UUID, list[SessionPart]] = defaultdict(list)
    for part in sorted(read.parts, key=lambda part: (part.started.reading, part.part != "still")):
        parts[part.session_id].append(part)
    events: dict[UUID, list[KeyEvent]] = defaultdict(list)
    for event in sorted(read.key_events, key=lambda event: event.at.reading):
        events[event.session_id].append(event)
    sessions = tuple(
        measured.session(
            row,
            parts=parts[row.pk],
            key_events=events[row.pk],
            place=_place(row.location, read.job.opened_at.year),
            book=book,
            as_of=read.as_of,
        )
        for row in read.of(Session)
    )
    readings = [measured.odometer_in(read.job.order, book)]
    readings += [measured.odometer_out(row, book) for row in delivered]
    readings += [measured.reading(row, book) for row in read.of(Reading)]
    return {
        "sessions": sessions,
        "readings": tuple(readings),
        "scans": tuple(measured.scan(row, book, tool_clock=_tool_clock(row, read)) for row in read.of(Scan)),
        "floor_surveys": tuple(measured.floor_survey(row, book, read.as_of) for row in read.surveys),
    }


def _tool_clock(row: Scan, read: JobRows) -> str:
    own = read.own_clocks.get(row.tool_id) if row.tool_id is not None else None
    return f"{DEVICE_MARK}{own if own is not None else f'unnamed-{row.pk}'}"


def _files(read: JobRows) -> dict[str, Any]:
    context = files.FileContext(
        book=read.book, budgets=read.budgets, own_clocks=read.own_clocks, slips=read.slips, reuse=read.reuse
    )
    numbered = sorted(read.of(Evidence), key=lambda row: row.number or 0)
    kinds: dict[str, list[Evidence]] = defaultdict(list)
    for row in numbered:
        is_picture = row.kind == "photo"
        kinds[row.kind if is_picture or row.kind in files.LOG_KINDS else "file"].append(row)
    return {
        "photos": tuple(files.photo(row, context) for row in kinds["photo"]),
        "climate_logs": tuple(files.climate_log(row, context) for row in kinds["climate_log"]),
        "voltage_logs": tuple(files.voltage_log(row, context) for row in kinds["voltage_log"]),
        "drive_logs": tuple(files.drive_log(row, context) for row in kinds["drive_log"]),
        "files": tuple(files.file_item(row, context) for row in numbered if row.kind != "photo"),
    }


def _decided(read: JobRows) -> dict[str, Any]:
    book = read.book
    return {
        "sign_offs": tuple(rows.sign_off(row, book) for row in read.of(SignOff)),
        "waivers": tuple(rows.waiver(row, book) for row in read.of(Waiver)),
        "refusals": tuple(rows.refusal(row, book) for row in read.of(Refusal)),
        "explanations": tuple(rows.explanation(row, book) for row in read.of(Explanation)),
        "sublet_trips": tuple(rows.sublet_trip(row, book, read.as_of) for row in read.of(SubletOrder)),
    }


def _place(location: Location, year: int) -> facts.Place:
    return facts.Place(
        code=location.code,
        name=location.name,
        tz=location.tz,
        lat=location.lat,
        lon=location.lon,
        photo_radius_m=float(location.photo_radius_m),
        offsets=zone_offsets(location.tz, year),
    )


def _vehicle(vehicle: Vehicle) -> facts.Vehicle:
    return facts.Vehicle(
        vin=vehicle.vin,
        make=vehicle.make,
        model=vehicle.model,
        model_year=vehicle.model_year,
        market=vehicle.market,
        check_digit_rule="advisory" if vehicle.check_digit_rule == "advisory" else "required",
        build_date=vehicle.build_date,
        placard_front_kpa=vehicle.placard_front_kpa,
        placard_rear_kpa=vehicle.placard_rear_kpa,
        wheelbase_mm=vehicle.wheelbase_mm,
        front_track_mm=vehicle.front_track_mm,
    )


def _delivery(row: Delivery, book: ClockBook) -> facts.Delivery:
    return facts.Delivery(**rows.base(row), at=book.moment(row.at, row.received_at))
