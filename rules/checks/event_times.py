"""The events that orders and time limits name: each an interval of true time, missing, or left out."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.curing import PaneCure, pane_cures
from rules.checks.freshness import anything, of_session, part_record, serving
from rules.checks.movements import first_road_movement
from rules.checks.targets import POSE_CHECK, serving_sets
from rules.facts import DriveLog, Moment, Reading, live
from rules.scans import own_scans
from rules.science.clocks import MIXED_CLOCK, earliest, happened_before, latest
from rules.sign_offs import last_sign_off, stale_because
from rules.work_list import listed_operations


@dataclass(frozen=True, slots=True, kw_only=True)
class EventTime:
    """One event: its moment, or none. ``left_out`` takes it out of the chain, else it is missing."""

    name: str
    moment: Moment | None = None
    left_out: bool = False


Found = Moment | None | bool  # a moment, None for missing, True for left out
LEFT_OUT: Final = True

# Quantities whose reading sets stand for an event, with the check that uses them.
_SET_EVENTS: Final = {
    "tyres": ("tyre_pressures", ("tyre_pressure",)),
    "height": ("ride_heights", ("arch_height",)),
    "target": ("target_pose", ("target_distance",)),
}


def event_time(context: CheckContext, name: str) -> EventTime:
    """The event as the record shows it at the gate instant; session events are of the current session."""
    if name in _SET_EVENTS:
        found = _reading_set(context, name)
    elif name in _FINDERS:
        found = _FINDERS[name](context)
    else:
        found = None
    if found is True:
        return EventTime(name=name, left_out=True)
    return EventTime(name=name, moment=found if isinstance(found, Moment) else None)


def presence_waived(context: CheckContext, check: str, **arguments: str) -> bool:
    """Is a proof of that check with those arguments, in any required procedure, waived with effect?"""
    for procedure_id, proof_id in context.waived:
        current = context.required.get(procedure_id)
        proofs = () if current is None else current.procedure.proofs
        for proof in proofs:
            same = all(proof.arguments.get(key) == value for key, value in arguments.items())
            if proof.id == proof_id and proof.check == check and same:
                return True
    return False


def _last_scan(context: CheckContext, stage: str) -> Found:
    scans = own_scans(context.facts, stage)
    if scans:
        return latest(scan.ended for scan in scans)
    return LEFT_OUT if presence_waived(context, "scan_present", stage=stage) else None


def _first_operation(context: CheckContext) -> Found:
    starts = [item.started or item.done for item in live(context.facts.operations)]
    return earliest(at for at in starts if at is not None) or LEFT_OUT


def repair_closed(context: CheckContext) -> Found:
    """Latest end of the operations; missing while one on the list is not recorded as done."""
    listed = listed_operations(context.facts)
    if not listed:
        return LEFT_OUT
    ends = [item.done for item in live(context.facts.operations)]
    if any(end is None for end in ends) or any(not item.is_done for item in listed):
        return None
    return latest(end for end in ends if end is not None)


def _adhesive_ready(context: CheckContext) -> Found:
    proofs = [proof for item in context.required.values() for proof in item.procedure.proofs]
    if not any(proof.check == "adhesive_ready" for proof in proofs):
        return LEFT_OUT
    panes = [_ready(cure) for cure in pane_cures(context.facts, context.gate_at, context.z)]
    if any(moment is None for moment in panes):
        return None
    return latest(moment for moment in panes if moment is not None)


def _ready(cure: PaneCure) -> Moment | None:
    """Ready from the hopeful to the cautious time; on the clock of the setting where they agree."""
    cautious, hopeful = cure.ready_cautious, cure.ready_hopeful
    if cautious is None or hopeful is None:
        return None
    if cautious == hopeful:
        return cautious
    return Moment(low=hopeful.low, high=cautious.high, reading=cautious.reading, clock=MIXED_CLOCK)


def _reading_set(context: CheckContext, name: str) -> Found:
    check, quantities = _SET_EVENTS[name]
    proof = next((item for item in context.procedure.proofs if item.check == check), None)
    if proof is None:
        return LEFT_OUT
    if (context.procedure.id, proof.id) in context.waived:
        return LEFT_OUT
    own = _with_proof(context, proof.id)
    if check == POSE_CHECK:
        # All sets that serve are averaged; the last reading of the last one stands for them.
        return latest(item.at for item in serving_sets(own, quantities[0]).readings)
    readings = [
        item
        for item in context.facts.readings
        if item.quantity in quantities and item.procedure_id in (None, context.procedure.id)
    ]
    last, _ = serving(own, readings, _taken, anything)
    if last is None:
        return None
    together = [item.at for item in live(readings) if item.set_no == last.set_no]
    before = [at for at in together if happened_before(at, last.at) == "true"]
    return latest(before)


def _with_proof(context: CheckContext, proof_id: str) -> CheckContext:
    proof = next(item for item in context.procedure.proofs if item.id == proof_id)
    return CheckContext(
        facts=context.facts,
        gate_at=context.gate_at,
        proof=proof,
        current=context.current,
        required=context.required,
        z=context.z,
        outcomes=context.outcomes,
        refused_sensors=context.refused_sensors,
        waived=context.waived,
    )


def _taken(reading: Reading) -> Moment:
    return reading.at


def _session_start(context: CheckContext) -> Found:
    return None if context.session is None else context.session.started


def _session_end(context: CheckContext) -> Found:
    return None if context.session is None else context.session.ended


def _part_time(part: str, *, start: bool) -> Callable[[CheckContext], Found]:
    def find(context: CheckContext) -> Found:
        if context.session is None:
            return None
        record = part_record(context.session, part)
        if record is None:
            return None
        return record.started if start else record.ended

    return find


def session_drives(context: CheckContext) -> tuple[DriveLog, ...]:
    """Drive logs with fixes that belong to the governing session."""
    drive = next((item for item in context.procedure.proofs if item.check == "drive_log"), None)
    own = context if drive is None else _with_proof(context, drive.id)
    logs = of_session(own, context.facts.drive_logs, lambda log: log.sessions, _drive_start_of)
    return tuple(log for log in logs if log.fixes)


def _drive_start_of(log: DriveLog) -> Moment:
    return log.clock.moment(log.fixes[0].t if log.fixes else log.received_at.timestamp())


def _drive_start(context: CheckContext) -> Found:
    return earliest(log.clock.moment(log.fixes[0].t) for log in session_drives(context))


def _drive_end(context: CheckContext) -> Found:
    return latest(log.clock.moment(log.fixes[-1].t) for log in session_drives(context))


def _final_signature(context: CheckContext) -> Found:
    technician = last_sign_off(context.facts, "technician")
    reviewer = last_sign_off(context.facts, "quality_reviewer")
    if presence_waived(context, "signed", by="quality_reviewer"):
        return None if technician is None else technician.at
    if technician is None or reviewer is None:
        return None
    return latest((technician.at, reviewer.at))


def _release(context: CheckContext) -> Found:
    released = last_sign_off(context.facts, "release")
    if released is None:
        return LEFT_OUT
    # A stale one counts as not given yet; what came in after departure makes none stale.
    return LEFT_OUT if stale_because(released, context.facts) else released.at


def _delivery(context: CheckContext) -> Found:
    delivery = context.facts.delivery
    return LEFT_OUT if delivery is None or delivery.ended_at is not None else delivery.at


def _any_road_drive(context: CheckContext) -> Found:
    return first_road_movement(context.facts, context.gate_at) or LEFT_OUT


_FINDERS: Final[dict[str, Callable[[CheckContext], Found]]] = {
    "before_scan": lambda context: _last_scan(context, "before_repair"),
    "first_operation": _first_operation,
    "repair_closed": repair_closed,
    "adhesive_ready": _adhesive_ready,
    "session_start": _session_start,
    "session_end": _session_end,
    "still_start": _part_time("still", start=True),
    "still_end": _part_time("still", start=False),
    "road_start": _part_time("road", start=True),
    "road_end": _part_time("road", start=False),
    "drive_start": _drive_start,
    "drive_end": _drive_end,
    "final_scan": lambda context: _last_scan(context, "final"),
    "final_signature": _final_signature,
    "release": _release,
    "delivery": _delivery,
    "any_road_drive": _any_road_drive,
}
