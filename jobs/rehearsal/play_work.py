"""Playing what is done and seen on the shop floor: operations, sessions, readings, lamps, statements."""

from typing import Any

from django.db.models import Model

from jobs.errors import Refused
from jobs.rehearsal.stage import Call
from jobs.rehearsal.times import read_when
from jobs.services import records
from jobs.services.estimate import (
    ClosingEntry,
    LineEntry,
    MappingEntry,
    OperationEntry,
    add_line,
    close_operations,
    map_line,
    record_operation,
    reopen_operations,
    withdraw_operation,
)
from jobs.services.fitted import FittedEntry, record_fitted
from jobs.services.glass import BatchEntry, GlassSetEntry, record_glass_set
from jobs.services.identity import IdentityEntry, record_identity
from jobs.services.lookup import LookupEntry, record_lookup
from jobs.services.measurement import ReadingEntry, record_readings
from jobs.services.odometer import Odometer


def odometer(typed: str | None, resolution: str = "1") -> Odometer | None:
    """``21007 km`` as the services take it."""
    if typed is None:
        return None
    value, unit = typed.split()
    return Odometer(value=value, unit=unit, resolution=resolution)


def play_identity(call: Call) -> Model:
    body = call.body
    entry = IdentityEntry(
        id=call.id(),
        way=body["way"],
        vin_read=body["vin"] or call.script.vehicle["vin"],
        at=call.claim(),
        device=call.device.pk,
        module=body["module"],
        evidence=call.evidence(),
    )
    return record_identity(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_fitted(call: Call) -> Model | None:
    """Each way of knowing each sensor is a record of its own."""
    row = None
    for state in ("yes", "no", "unknown"):
        for sensor in call.body[state]:
            for way in call.body["ways"]:
                entry = FittedEntry(
                    id=call.id(sensor, state, way),
                    sensor=sensor,
                    state=state,
                    way=way,
                    at=call.claim(),
                    device=call.device.pk,
                    evidence=call.evidence(),
                )
                row = record_fitted(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)
    return row


# ------------------------------------------------------------------ estimate and operations


def play_estimate(call: Call) -> Model:
    body = call.body
    line = LineEntry(id=call.id(), line_no=body["line"], text=body["text"])
    row = add_line(job=call.job, actor=call.actor, as_of=call.as_of, entry=line)
    if body["operations"] or body["touches_nothing"]:
        return _mapped(call, row)
    return row


def play_mapping(call: Call) -> Model:
    row = call.row("estimate", call.body["line"])
    row.refresh_from_db()
    return _mapped(call, row)


def _mapped(call: Call, row: Any) -> Model:
    entry = MappingEntry(
        version=row.version,
        operations=tuple(call.body["operations"]),
        touches_nothing=bool(call.body["touches_nothing"]),
    )
    return map_line(job=call.job, line=row, actor=call.actor, as_of=call.as_of, entry=entry)


def play_operation(call: Call) -> Model:
    body = call.body
    line = body["line"]
    entry = OperationEntry(
        id=call.id(),
        operation=body["operation"],
        at=call.claim(),
        device=call.device.pk,
        zone_detail=body["zone"],
        started_at=call.claim(body["started"]) if body["started"] is not None else "",
        done_at="" if body["unfinished"] else call.claim(body["done"]),
        found_later=bool(body["found_later"]),
        by=body["done_by"],
        estimate_line=call.row("estimate", line).pk if line is not None else None,
        evidence=call.evidence(),
    )
    return record_operation(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_withdrawal(call: Call) -> Model:
    row = call.row("operations", call.body["operation"])
    return withdraw_operation(
        job=call.job, operation=row, actor=call.actor, as_of=call.as_of, reason=call.body["reason"]
    )


def play_closing(call: Call) -> Model:
    entry = ClosingEntry(id=call.id(), at=call.claim(), device=call.device.pk)
    return close_operations(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_reopening(call: Call) -> Model:
    return reopen_operations(job=call.job, actor=call.actor, as_of=call.as_of, reason=call.body["reason"])


def play_glass(call: Call) -> Model:
    body = call.body
    climate = body["climate"]
    set_at = body["set_at"]
    entry = GlassSetEntry(
        id=call.id(),
        operation=call.row("operations", body["operation"]).pk,
        set_at=call.claim() if set_at is None else _set_at(call, set_at),
        glass_maker=body["maker"],
        glass_part_number=body["part"],
        at=call.claim(),
        device=call.device.pk,
        set_by=body["set_by"],
        adhesive=_batch(body["adhesive"]),
        primer=_batch(body["primer"]),
        climate_log=call.row("climates", climate).pk if climate is not None else None,
        evidence=call.evidence(),
    )
    return record_glass_set(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def _set_at(call: Call, typed: str) -> str:
    """``08:40`` is typed as it stands ("not later than"); any other time is what the clock showed."""
    if len(typed) == 5:
        return typed
    when = read_when(typed)
    if when is None:
        raise Refused("bad_time", f"{typed} is no time.")
    return call.claim(when)


def _batch(typed: Any) -> BatchEntry | None:
    return None if typed is None else BatchEntry(**typed)


def play_lookup(call: Call) -> Model:
    body = call.body
    entry = LookupEntry(
        id=call.id(),
        procedure_id=body["procedure"],
        document_number=body["document"],
        edition=body["edition"],
        section=body["section"],
        retrieved_at=call.claim(body["looked_up"]),
        device=call.device.pk,
        evidence=call.evidence(),
    )
    return record_lookup(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


# ------------------------------------------------------------------ readings and what people saw


def play_readings(call: Call) -> Model:
    body = call.body
    entries = [
        ReadingEntry(
            id=call.id(place),
            quantity=body["quantity"],
            value=value,
            unit=body["unit"],
            at=call.claim(),
            place="" if place == "none" else place,
            device=call.device.pk,
            instrument=body["instrument"],
            session=call.session(),
            procedure_id=body["procedure"],
            set_no=body["set"],
            resolution=body["resolution"],
            evidence=call.evidence(),
            **_bay(body["bay"]),
        )
        for place, value in body["values"].items()
        if value is not None
    ]
    return record_readings(job=call.job, actor=call.actor, as_of=call.as_of, entries=entries)[0]


def _bay(code: str) -> dict[str, Any]:
    return {"bay": code} if code else {}


def play_lamps(call: Call) -> Model:
    entry = records.LampEntry(
        id=call.id(),
        states=call.body["states"],
        at=call.claim(),
        device=call.device.pk,
        session=call.session(),
        evidence=call.evidence(),
    )
    return records.record_lamps(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_statement(call: Call) -> Model:
    body = call.body
    entry = records.StatementEntry(
        id=call.id(),
        says=tuple(body["says"]),
        at=call.claim(),
        text_version=body["version"],
        device=call.device.pk,
        session=call.session(),
        sessions=call.sessions(),
        bay=body["bay"],
        procedure_id=body["procedure"],
        denies=tuple(body["denies"]),
        evidence=call.evidence(),
    )
    return records.record_statement(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_function(call: Call) -> Model:
    body = call.body
    session = call.session()
    assert session is not None  # noqa: S101 - the key is needed
    entry = records.FunctionCheckEntry(
        id=call.id(),
        session=session,
        function=body["function"],
        shows=body["shows"],
        at=call.claim(),
        device=call.device.pk,
        place=body["place"],
        how=body["how"],
        evidence=call.evidence(),
    )
    return records.record_function_check(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_target(call: Call) -> Model:
    body = call.body
    entry = records.TargetEntry(
        id=call.id(),
        number_read=body["number"],
        right_way_up=bool(body["right_way_up"]),
        clean=bool(body["clean"]),
        at=call.claim(),
        device=call.device.pk,
        session=call.session(),
        procedure_id=body["procedure"],
        evidence=call.evidence(),
    )
    return records.record_target_identity(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_change(call: Call) -> Model:
    entry = records.StateChangeEntry(
        id=call.id(),
        kind=call.body["change"],
        at=call.claim(),
        on_road=bool(call.body["on_road"]),
        device=call.device.pk,
        evidence=call.evidence(),
    )
    return records.record_state_change(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_sublet(call: Call) -> Model:
    body = call.body
    entry = records.SubletEntry(
        id=call.id(),
        to_org=body["to"],
        procedure_ids=tuple(body["procedures"]),
        carried_how=body["carried"],
        out_at=call.claim(body["out"]) if body["out"] is not None else "",
        out_odometer=odometer(body["out_odometer"]),
        back_at=call.claim(body["back"]) if body["back"] is not None else "",
        back_odometer=odometer(body["back_odometer"]),
        returned_lamps=body["lamps"],
        device=call.device.pk,
    )
    return records.record_sublet(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)
