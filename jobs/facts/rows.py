"""Rows of the record, one model at a time, as the judgement's own records."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, Literal, TypedDict

from jobs.facts.clock_book import ClockBook
from jobs.models import (
    AdhesiveSheet,
    EstimateLine,
    EstimateMapping,
    Explanation,
    FittedWay,
    FunctionCheck,
    GlassSet,
    IdentityReading,
    LampRecord,
    OperationDone,
    OperationsClosing,
    Record,
    Refusal,
    SignOff,
    StateChange,
    Statement,
    SubletOrder,
    TargetIdentity,
    TextLookup,
    Waiver,
)
from rules import facts
from rules.canonical import canonical_bytes, sha256_hex


class Base(TypedDict):
    id: str
    sha256: str
    received_at: datetime
    evidence: tuple[str, ...]
    ended_at: datetime | None
    ended_how: str | None


def base(row: Record) -> Base:
    """What every record has."""
    return {
        "id": str(row.pk),
        "sha256": row.content_sha256,
        "received_at": row.received_at,
        "evidence": tuple(row.evidence),
        "ended_at": row.ended_at,
        "ended_how": row.ended_how or None,
    }


def hash_of(*parts: object) -> str:
    """One hash for a row together with rows that belong to it."""
    return sha256_hex(canonical_bytes(list(parts)))


def text_or_none(row_id: object) -> str | None:
    return None if row_id is None else str(row_id)


def identity_reading(row: IdentityReading, book: ClockBook) -> facts.IdentityReading:
    return facts.IdentityReading(
        **base(row),
        way=row.way,
        vin_read=row.vin_read,
        at=book.moment(row.at, row.received_at),
        module=row.module or None,
    )


def fitted_way(row: FittedWay, book: ClockBook) -> facts.FittedWay:
    return facts.FittedWay(
        **base(row), sensor=row.sensor, state=row.state, way=row.way, at=book.moment(row.at, row.received_at)
    )


def estimate_line(row: EstimateLine, mapping: EstimateMapping | None) -> facts.EstimateLine:
    """A line with the mapping that counts; its hash covers both."""
    common = base(row)
    if mapping is None:
        return facts.EstimateLine(**common, line_no=row.line_no, text=row.text)
    common["sha256"] = hash_of(row.content_sha256, mapping.content_sha256)
    return facts.EstimateLine(
        **common,
        line_no=row.line_no,
        text=row.text,
        operations=tuple(mapping.operations),
        touches_nothing=mapping.touches_nothing,
    )


def operation(row: OperationDone, book: ClockBook) -> facts.OperationDone:
    return facts.OperationDone(
        **base(row),
        operation=row.operation,
        by=row.done_by.login,
        started=book.optional(row.started, row.received_at),
        done=book.optional(row.done, row.received_at),
        zone_detail=row.zone_detail or None,
        found_later=row.found_later,
    )


def closing(row: OperationsClosing, book: ClockBook) -> facts.Closing:
    return facts.Closing(**base(row), at=book.moment(row.at, row.received_at), by=row.closed_by.login)


def lookup(row: TextLookup, book: ClockBook) -> facts.TextLookup:
    return facts.TextLookup(
        **base(row),
        procedure_id=row.procedure_id,
        document_number=row.document_number,
        edition=row.edition,
        section=row.section,
        retrieved_at=book.optional(row.retrieved, row.received_at),
        retrieved_by=row.retrieved_by.login,
    )


def state_change(row: StateChange, book: ClockBook) -> facts.StateChange:
    return facts.StateChange(
        **base(row),
        kind=row.kind,
        at=book.moment(row.at, row.received_at),
        by=row.made_by.login,
        on_road=row.on_road,
    )


def glass_set(row: GlassSet, book: ClockBook, last_climate_log: str | None) -> facts.GlassSet:
    """``last_climate_log`` serves a setting that names none: the log is filed after the glass is set."""
    return facts.GlassSet(
        **base(row),
        operation_id=str(row.operation_id),
        set_at=book.moment(row.set_at, row.received_at),
        set_by=row.set_by.login,
        glass_maker=row.glass_maker,
        glass_part_number=row.glass_part_number,
        adhesive=_batch(row.adhesive),
        primer=_batch(row.primer),
        climate_log_id=text_or_none(row.climate_log_id) or last_climate_log,
    )


def _batch(stored: Mapping[str, Any] | None) -> facts.Batch | None:
    if stored is None:
        return None
    expires_on = stored["expires_on"]
    return facts.Batch(
        product=stored["product"],
        batch=stored["batch"],
        expires_on=date.fromisoformat(expires_on) if expires_on else None,
    )


def adhesive_sheet(row: AdhesiveSheet) -> facts.AdhesiveSheet:
    return facts.AdhesiveSheet(
        product=row.product,
        document=row.document,
        issue=row.issue,
        cells=tuple(
            facts.AdhesiveCell(
                temp_from=float(cell["temp_from"]),
                temp_to=float(cell["temp_to"]),
                rh_from=float(cell["rh_from"]),
                rh_to=None if cell.get("rh_to") is None else float(cell["rh_to"]),
                minutes=int(cell["minutes"]),
            )
            for cell in row.cells
        ),
    )


def lamp_record(row: LampRecord, book: ClockBook) -> facts.LampRecord:
    return facts.LampRecord(
        **base(row),
        at=book.moment(row.at, row.received_at),
        by=row.seen_by.login,
        states=tuple(sorted(row.states.items())),
        session=text_or_none(row.session_id),
    )


def statement(row: Statement, book: ClockBook) -> facts.Statement:
    return facts.Statement(
        **base(row),
        says=tuple(row.says),
        denies=tuple(row.denies),
        at=book.moment(row.at, row.received_at),
        by=row.stated_by.login,
        text_version=row.text_version,
        sessions=tuple(row.sessions),
        bay=row.bay.code if row.bay is not None else None,
        procedure_id=row.procedure_id or None,
    )


def function_check(row: FunctionCheck, book: ClockBook) -> facts.FunctionCheck:
    return facts.FunctionCheck(
        **base(row),
        session=str(row.session_id),
        function=row.function,
        shows=row.shows,
        at=book.moment(row.at, row.received_at),
        by=row.checked_by.login,
        place=row.place or None,
    )


def target_identity(row: TargetIdentity, book: ClockBook) -> facts.TargetIdentity:
    return facts.TargetIdentity(
        **base(row),
        number_read=row.number_read,
        right_way_up=row.right_way_up,
        clean=row.is_clean,
        at=book.moment(row.at, row.received_at),
        by=row.read_by.login,
        session=text_or_none(row.session_id),
        procedure_id=row.procedure_id or None,
    )


def sign_off(row: SignOff, book: ClockBook) -> facts.SignOff:
    return facts.SignOff(
        **base(row),
        role=_sign_off_role(row.role),
        person=row.person.login,
        at=book.moment(row.at, row.received_at),
        covers=tuple(row.covers),
        covers_root=row.covers_root,
        statement_version=row.statement_version,
        reauthenticated=row.reauthenticated,
    )


def _sign_off_role(text: str) -> Literal["technician", "quality_reviewer", "release"]:
    if text == "technician":
        return "technician"
    return "release" if text == "release" else "quality_reviewer"


def waiver(row: Waiver, book: ClockBook) -> facts.Waiver:
    told = book.optional(row.customer_told, row.received_at)
    return facts.Waiver(
        **base(row),
        procedure_id=row.procedure_id,
        proof_id=row.proof_id,
        granted_by=row.granted_by.login,
        role=row.role,
        at=book.moment(row.at, row.received_at),
        reason=row.reason,
        instead=row.instead,
        customer_told_at=told,
    )


def refusal(row: Refusal, book: ClockBook) -> facts.Refusal:
    return facts.Refusal(
        **base(row),
        procedure_id=row.procedure_id,
        refused_by_name=row.refused_by_name,
        relation=_relation(row.relation),
        told_text_version=row.told_text_version,
        systems_named=tuple(row.systems_named),
        lamp_state=row.lamp_state,
        at=book.moment(row.at, row.received_at),
        witness=row.witness.login,
    )


def _relation(text: str) -> Literal["owner", "authorised_agent", "other"]:
    if text == "owner":
        return "owner"
    return "authorised_agent" if text == "authorised_agent" else "other"


def explanation(row: Explanation, book: ClockBook) -> facts.Explanation:
    return facts.Explanation(
        **base(row),
        module=row.module,
        code=row.code,
        ftb=row.ftb or None,
        text=row.text,
        by=row.explained_by.login,
        role=row.role,
        at=book.moment(row.at, row.received_at),
    )


def sublet_trip(row: SubletOrder, book: ClockBook, as_of: datetime) -> facts.SubletTrip:
    """A trip; its return counts from when the server held it."""
    returned = row.back_received_at is not None and row.back_received_at <= as_of
    return facts.SubletTrip(
        **base(row),
        procedure_ids=tuple(row.procedure_ids),
        to_org=row.to_org,
        carried_how=_carried(row.carried_how),
        out_at=book.optional(row.out, row.received_at),
        back_at=book.optional(row.back, row.back_received_at or row.received_at) if returned else None,
    )


def _carried(text: str) -> Literal["driven", "trailer", "done_here"]:
    # Anything unknown counts as driven: the cautious reading for glass that must not be moved on the road.
    if text == "trailer":
        return "trailer"
    return "done_here" if text == "done_here" else "driven"
