"""Sessions, readings and scans as the judgement's own records."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Literal

from jobs.facts.clock_book import ClockBook
from jobs.facts.rows import base, hash_of, text_or_none
from jobs.models import BayFloorSurvey, Delivery, KeyEvent, Reading, RepairOrder, Scan, Session, SessionPart
from rules import facts
from rules.quantities import odometer_km


def session(
    row: Session,
    *,
    parts: Sequence[SessionPart],
    key_events: Sequence[KeyEvent],
    place: facts.Place,
    book: ClockBook,
    as_of: datetime,
) -> facts.Session:
    """One attempt as the server held it at ``as_of``; its hash covers end, parts and key events."""
    has_ended = row.end_received_at is not None and row.end_received_at <= as_of
    end_received_at = row.end_received_at or row.received_at
    held_parts = [part for part in parts if part.received_at <= as_of] if has_ended else []
    events = tuple(
        facts.KeyEvent(at=book.moment(event.at, event.received_at), state=_key_state(event.state))
        for event in key_events
        if event.received_at <= as_of
    )
    common = base(row)
    common["sha256"] = hash_of(
        row.content_sha256,
        _end_of(row) if has_ended else None,
        [
            [part.part, part.started.text, part.ended.text if part.ended else "", part.result]
            for part in held_parts
        ],
        [[event.at.text, event.state] for event in key_events if event.received_at <= as_of],
    )
    return facts.Session(
        **common,
        procedure_id=row.procedure_id,
        attempt=row.attempt,
        performed_by=row.performed_by.login,
        started=book.moment(row.started, row.received_at),
        ended=book.optional(row.ended, end_received_at) if has_ended else None,
        result=row.result if has_ended else "",
        place=place,
        observer=row.observer.login if row.observer is not None else None,
        bay=row.bay.code if row.bay is not None else None,
        results=tuple(sorted(row.results.items())) if has_ended else (),
        result_text=row.result_text if has_ended else "",
        device=row.tool.tag if row.tool is not None else None,
        device_software=row.device_software if has_ended else "",
        key_events=events,
        parts=tuple(_part(part, book) for part in held_parts),
        reuses_part_of=text_or_none(row.reuses_part_of_id),
    )


def _end_of(row: Session) -> list[object]:
    ended = row.ended.text if row.ended is not None else ""
    return [ended, row.result, row.result_text, row.results, row.device_software]


def _part(row: SessionPart, book: ClockBook) -> facts.SessionPart:
    return facts.SessionPart(
        part="still" if row.part == "still" else "road",
        started=book.moment(row.started, row.received_at),
        ended=book.optional(row.ended, row.received_at),
        result=row.result,
    )


def _key_state(text: str) -> Literal["on", "off", "crank"]:
    if text == "on":
        return "on"
    # Anything unknown counts as off: it interrupts, which is the cautious reading.
    return "crank" if text == "crank" else "off"


def reading(row: Reading, book: ClockBook) -> facts.Reading:
    return facts.Reading(
        **base(row),
        quantity=row.quantity,
        place=row.place,
        value=row.value,
        unit=row.unit,
        typed_value=row.typed_value,
        typed_unit=row.typed_unit,
        at=book.moment(row.at, row.received_at),
        by=row.read_by.login,
        u=row.u,
        u_from=row.u_from,
        u_common=row.u_common,
        resolution=row.resolution,
        instrument=row.instrument.tag if row.instrument is not None else None,
        vehicle_shown=row.vehicle_shown,
        session=text_or_none(row.session_id),
        procedure_id=row.procedure_id or None,
        set_no=row.set_no,
        bay=_bay_of(row),
    )


def _bay_of(row: Reading) -> str | None:
    """The bay that the reading names, else that of its session."""
    if row.bay is not None:
        return row.bay.code
    if row.session is None or row.session.bay is None:
        return None
    return row.session.bay.code


def floor_survey(row: BayFloorSurvey, book: ClockBook, as_of: datetime) -> facts.FloorSurvey:
    """A survey as the server held it at ``as_of``; its hash covers its voiding."""
    is_void = row.void_recorded_at is not None and row.void_recorded_at <= as_of
    common = base(row)
    if is_void and row.voided_at is not None:
        common["sha256"] = hash_of(row.content_sha256, row.voided_at.isoformat(), row.void_reason)
    return facts.FloorSurvey(
        **common,
        bay=row.bay.code,
        surveyed=book.moment(row.surveyed, row.received_at),
        points=tuple((float(x), float(y), float(z)) for x, y, z in row.points),
        u_z=row.u_z_mm if row.u_z_mm > 0 else None,
        instrument=row.instrument.tag,
        valid_months=row.valid_months,
        voided_at=row.voided_at if is_void else None,
        void_held_at=row.void_recorded_at if is_void else None,
        void_reason=row.void_reason if is_void else "",
    )


def odometer_in(order: RepairOrder, book: ClockBook) -> facts.Reading:
    """The mileage at intake, typed with the order."""
    return _odometer(
        order.odometer_in,
        record_id=f"{order.pk}-odometer-in",
        place="odometer_in",
        by=order.created_by.login,
        at=book.moment(order.opened, order.received_at),
        received_at=order.received_at,
    )


def odometer_out(row: Delivery, book: ClockBook) -> facts.Reading:
    """The mileage at delivery."""
    return _odometer(
        row.odometer_out,
        record_id=f"{row.pk}-odometer-out",
        place="odometer_out",
        by=row.handed_over_by.login,
        at=book.moment(row.at, row.received_at),
        received_at=row.received_at,
    )


def _odometer(
    typed: Mapping[str, Any],
    *,
    record_id: str,
    place: str,
    by: str,
    at: facts.Moment,
    received_at: datetime,
) -> facts.Reading:
    return facts.Reading(
        id=record_id,
        sha256=hash_of(record_id, dict(typed)),
        received_at=received_at,
        quantity="odometer",
        place=place,
        value=odometer_km(float(typed["value"]), typed["unit"]),
        unit="km",
        typed_value=typed["value"],
        typed_unit=typed["unit"],
        at=at,
        by=by,
        u=0.0,
        u_from="shown by the vehicle or the scan device",
        u_common=0.0,
        resolution=odometer_km(float(typed["resolution"]), typed["unit"]),
        vehicle_shown=True,
    )


def scan(row: Scan, book: ClockBook, *, tool_clock: str) -> facts.Scan:
    """A scan; ``tool_clock`` is the clock that stamped what was cleared."""
    return facts.Scan(
        **base(row),
        stage=row.stage,
        ended=book.moment(row.ended, row.received_at),
        modules=tuple(_module(module) for module in row.modules),
        vin_per_module=tuple(sorted(row.vin_per_module.items())),
        device=row.tool.tag if row.tool is not None else None,
        device_software=row.device_software,
        supply_voltage_v=row.supply_voltage_v,
        cleared=tuple(
            facts.Cleared(
                module=entry["module"],
                at=book.displayed(entry["at"], clock=tool_clock, received_at=row.received_at),
            )
            for entry in row.cleared
        ),
    )


def _module(stored: Mapping[str, Any]) -> facts.ScanModule:
    return facts.ScanModule(
        name=stored["name"],
        system=stored["system"],
        answered=stored["answered"],
        address=stored["address"],
        part_no=stored["part_no"],
        hardware_no=stored["hardware_no"],
        software_no=stored["software_no"],
        replaced_used_part=stored["replaced_used_part"],
        codes=tuple(_code(code) for code in stored["codes"]),
    )


def _code(stored: Mapping[str, Any]) -> facts.TroubleCode:
    return facts.TroubleCode(
        code=stored["code"],
        ftb=stored["ftb"] or None,
        state=_code_state(stored["state"]),
        text=stored["text"],
        count=stored["count"],
        first_seen_km=stored["first_seen_km"],
    )


def _code_state(text: str) -> Literal["present", "intermittent", "stored"]:
    if text == "stored":
        return "stored"
    # Anything unknown counts as present: the cautious reading.
    return "intermittent" if text == "intermittent" else "present"
