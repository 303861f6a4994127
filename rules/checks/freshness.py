"""Which record serves a session part: its age, what spoiled it, and what is the session's own."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, TypeVar

from rules.checks.base import CheckContext, PartWindow
from rules.facts import (
    JobFacts,
    Moment,
    OperationDone,
    Place,
    Reading,
    Record,
    Session,
    SessionPart,
    live,
    once,
)
from rules.science.clocks import fresh, happened_before, shown_strictly_before
from rules.verdict import Reason, not_shown
from rules.vocabulary import CHANGES_BY_OPERATION

RecordT = TypeVar("RecordT", bound=Record)

# Nothing may have changed the geometry afterwards either, so these spoil a value up to the gate instant.
LASTING_KINDS: Final = frozenset({"suspension_work", "alignment_change"})
_STILL_GROUPS: Final = frozenset({"standing_vehicle", "standing_bay"})
_STILL_CHECKS: Final = frozenset({"voltage_log", "target_pose", "target_identity"})
_ROAD_CHECKS: Final = frozenset({"drive_log", "odometer_agrees"})
_MISSING: Final = not_shown("missing")
_STALE: Final = not_shown("evidence_stale")
_CONFLICT: Final = not_shown("conflict")


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoilingEvent:
    """Something that happened to the car; ``end`` is None while it goes on."""

    kind: str
    start: Moment
    end: Moment | None
    source: str


# ------------------------------------------------------------------ the part of the session


def part_name(context: CheckContext) -> str | None:
    """``still`` or ``road`` in a two-part procedure; None where the proof belongs to the whole session."""
    if context.procedure.kind != "static_then_dynamic":
        return None
    proof = context.proof
    if proof.part is not None:
        return proof.part
    if proof.group in _STILL_GROUPS or proof.check in _STILL_CHECKS:
        return "still"
    return "road" if proof.check in _ROAD_CHECKS else None


def part_record(session: Session, name: str) -> SessionPart | None:
    """The last record of that part in the session."""
    found = [part for part in session.parts if part.part == name]
    return found[-1] if found else None


def part_window(context: CheckContext) -> PartWindow | None:
    """Start and end of the session part that the proof belongs to; None without session or that part."""
    session = context.session
    if session is None:
        return None
    name = part_name(context)
    if name is None:
        return PartWindow(start=session.started, end=session.ended)
    part = part_record(session, name)
    return None if part is None else PartWindow(start=part.started, end=part.ended)


def part_session_ids(context: CheckContext) -> tuple[str, ...]:
    """Ids of the attempts that the part comes from: two where the governing attempt reuses a part."""
    session = context.session
    if session is None:
        return ()
    if session.reuses_part_of is None:
        return (session.id,)
    name = part_name(context)
    if name is None:
        return (session.id, session.reuses_part_of)
    own = next((item for item in context.facts.sessions if item.id == session.id), session)
    return (session.id,) if part_record(own, name) is not None else (session.reuses_part_of,)


# ------------------------------------------------------------------ what spoils a value


@once
def spoiling_events(facts: JobFacts) -> tuple[SpoilingEvent, ...]:
    """All changes of the car on record: entered ones, operations, drives and trips to another shop."""
    events = [
        SpoilingEvent(kind=item.kind, start=item.at, end=item.at, source=item.id)
        for item in live(facts.state_changes)
    ]
    events += [event for item in live(facts.operations) for event in _of_operation(item)]
    events += [
        SpoilingEvent(
            kind="vehicle_moved",
            start=log.clock.moment(log.fixes[0].t),
            end=log.clock.moment(log.fixes[-1].t),
            source=log.id,
        )
        for log in live(facts.drive_logs)
        if log.fixes
    ]
    events += [
        SpoilingEvent(kind="vehicle_moved", start=trip.out_at, end=trip.back_at, source=trip.id)
        for trip in live(facts.sublet_trips)
        if trip.carried_how in ("driven", "trailer") and trip.out_at is not None
    ]
    return tuple(events)


def _of_operation(operation: OperationDone) -> tuple[SpoilingEvent, ...]:
    start = operation.started or operation.done
    if start is None:
        return ()  # on the list only, not begun
    return tuple(
        SpoilingEvent(kind=kind, start=start, end=operation.done, source=operation.id)
        for kind in CHANGES_BY_OPERATION.get(operation.operation, ())
    )


def spoiled_by(context: CheckContext, taken: Moment, window: PartWindow) -> SpoilingEvent | None:
    """The first event named by ``broken_by`` that is not shown to lie outside [taken, end of the part].

    suspension_work and alignment_change count up to the gate instant. A touch of either end counts as inside.
    """
    for event in spoiling_events(context.facts):
        if event.kind not in context.proof.broken_by:
            continue
        if event.end is not None and shown_strictly_before(event.end, taken):
            continue
        after_part = window.end is not None and shown_strictly_before(window.end, event.start)
        if after_part and event.kind not in LASTING_KINDS:
            continue
        return event
    return None


# ------------------------------------------------------------------ visit-wide evidence


def serving(
    context: CheckContext,
    records: Iterable[RecordT],
    moment_of: Callable[[RecordT], Moment],
    says: Callable[[RecordT], object],
) -> tuple[RecordT | None, Reason | None]:
    """The record that serves the session part, or why none does (missing, evidence_stale, conflict).

    The last one taken at or before the start of the part must serve. Records that no longer count are left
    out. Where the clocks leave open which one is the last, or whether it is fresh, it is ``evidence_stale``.
    Of readings of one time the highest set counts. Otherwise records of one time have no order, whatever
    order they were handed in: they must say the same (``says``), or it is ``conflict``.
    """
    window = part_window(context)
    candidates = live(records)
    if window is None or not candidates:
        return None, _MISSING
    here = [item for item in candidates if _same_bay(context, item)]
    possible = [item for item in here if happened_before(moment_of(item), window.start) != "false"]
    last = _last(possible, moment_of)
    if not last or not serves(context, moment_of(last[0]), window):
        return None, _STALE
    if any(says(item) != says(last[0]) for item in last):
        return None, _CONFLICT
    return max(last, key=lambda item: item.id), None


def serves(context: CheckContext, taken: Moment, window: PartWindow) -> bool:
    """Is a value taken then shown to be fresh for the part and unspoiled?"""
    if happened_before(taken, window.start) != "true":
        return False
    if not _young_enough(context, taken, window.start):
        return False
    return spoiled_by(context, taken, window) is None


def _young_enough(context: CheckContext, taken: Moment, start: Moment) -> bool:
    proof = context.proof
    if proof.fresh_for_s is None:
        return same_local_date(place_of(context), taken, start)
    if not proof.earlier_visit and happened_before(context.facts.opened, taken) != "true":
        return False
    return fresh(taken, start, proof.fresh_for_s) == "true"


def _same_bay(context: CheckContext, record: Record) -> bool:
    if context.proof.group != "standing_bay" or not hasattr(record, "bay"):
        return True
    session = context.session
    return session is not None and session.bay is not None and record.bay == session.bay


def _last(records: Sequence[RecordT], moment_of: Callable[[RecordT], Moment]) -> tuple[RecordT, ...]:
    """All records of the last time and the highest set; none where the clocks do not show which are last."""
    for record in records:
        at = moment_of(record)
        if all(happened_before(moment_of(other), at) == "true" for other in records if other is not record):
            tied = [
                other
                for other in records
                if other is record or happened_before(at, moment_of(other)) == "true"
            ]
            highest = max(set_of(item) for item in tied)
            return tuple(item for item in tied if set_of(item) == highest)
    return ()


def set_of(record: Record) -> int:
    """The number of the set a reading belongs to; everything else is of the first."""
    return record.set_no if isinstance(record, Reading) else 1


def anything(_record: Record) -> None:
    """What records of one time say is not asked here: the caller compares them, or only their time counts."""


def place_of(context: CheckContext) -> Place:
    """The place of the session; without one, the place of the job."""
    return context.facts.place if context.session is None else context.session.place


def local_dates(place: Place, moment: Moment) -> tuple[date, date]:
    """First and last local date on which the event can have happened."""
    first = place.local_date(moment.low)
    return first, first if moment.high == moment.low else place.local_date(moment.high)


def same_local_date(place: Place, a: Moment, b: Moment) -> bool:
    """Are both shown to lie on one local date of that place?"""
    return len({*local_dates(place, a), *local_dates(place, b)}) == 1


# ------------------------------------------------------------------ the session's own records


def of_session(
    context: CheckContext,
    records: Iterable[RecordT],
    sessions_of: Callable[[RecordT], tuple[str, ...]],
    moment_of: Callable[[RecordT], Moment],
) -> tuple[RecordT, ...]:
    """The records that belong to the governing session's part, in the order given.

    A record that names sessions belongs to those. One that names none belongs by time: shown to lie from the
    start of the part until the next session of any procedure starts.
    """
    window = part_window(context)
    own_ids = part_session_ids(context)
    if window is None:
        return ()
    limits = _next_starts(context, window)
    found = []
    for record in live(records):
        named = sessions_of(record)
        at = moment_of(record)
        if named:
            belongs = any(own in named for own in own_ids) and not _of_other_part(context, at)
        else:
            belongs = happened_before(window.start, at) == "true" and all(
                shown_strictly_before(at, limit) for limit in limits
            )
        if belongs:
            found.append(record)
    return tuple(found)


def perhaps_of_session(
    context: CheckContext,
    records: Sequence[RecordT],
    sessions_of: Callable[[RecordT], tuple[str, ...]],
    moment_of: Callable[[RecordT], Moment],
) -> tuple[RecordT, ...]:
    """As ``of_session``, with the records that name no session and that only the clocks leave open."""
    window = part_window(context)
    if window is None:
        return ()
    shown = {item.id for item in of_session(context, records, sessions_of, moment_of)}
    limits = _next_starts(context, window)
    return tuple(
        record
        for record in live(records)
        if record.id in shown
        or (
            not sessions_of(record)
            and happened_before(window.start, moment_of(record)) != "false"
            and not any(happened_before(limit, moment_of(record)) == "true" for limit in limits)
        )
    )


def _next_starts(context: CheckContext, window: PartWindow) -> tuple[Moment, ...]:
    """Starts of sessions and parts that are not shown to lie at or before the start of this part."""
    own_ids = part_session_ids(context)
    starts = [item.started for item in live(context.facts.sessions) if item.id not in own_ids]
    session = context.session
    if session is not None and part_name(context) is not None:
        starts += [part.started for part in session.parts if part.part != part_name(context)]
    return tuple(start for start in starts if happened_before(start, window.start) != "true")


def _of_other_part(context: CheckContext, at: Moment) -> bool:
    """Is a record that names the attempt shown to be about that attempt's other part?"""
    name = part_name(context)
    if name is None:
        return False
    ids = part_session_ids(context)
    others = [
        part for item in context.facts.sessions if item.id in ids for part in item.parts if part.part != name
    ]
    if name == "still":
        return any(happened_before(road.started, at) == "true" for road in others)
    return any(still.ended is not None and shown_strictly_before(at, still.ended) for still in others)
