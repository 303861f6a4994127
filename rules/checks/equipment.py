"""equipment_valid: every instrument that a verdict rests on was in date on the local day of its use."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, time

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, listed
from rules.checks.sentences import begin
from rules.facts import (
    Equipment,
    FloorSurvey,
    JobFacts,
    Moment,
    Place,
    Reading,
    Record,
    Scan,
    VoltageLog,
    live,
)
from rules.science.instruments import Status, Use, status_of
from rules.verdict import MET, Outcome, Settle

_SETTLE: dict[str, Settle] = {
    "instrument_overdue": "car_here",
    "instrument_suspended": "car_here",
    "instrument_no_certificate": "desk",
    "instrument_range": "car_here",
    "missing": "desk",
    "undecided": "desk",
}
_CHANGE = {
    "instrument_overdue": "Take the readings again with an instrument that is in date.",
    "instrument_suspended": "Take the readings again with an instrument that is in service.",
    "instrument_no_certificate": "File the certificate that covers the day.",
    "instrument_range": "Take the readings again with an instrument calibrated for them.",
    "missing": "File the check before use of that day.",
    "undecided": "A better time of the use may settle it.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class UseOnRecord:
    """One use found through an outcome: the record, its moment and place, the values read."""

    tag: str
    record: Record
    at: Moment
    place: Place
    session: str | None
    values: tuple[tuple[float, str], ...]


def equipment_valid(context: CheckContext) -> Outcome:
    """Judges the instruments named by the outcomes of all other proofs, and no others.

    No instrument used is met and says so. Reason codes: instrument_overdue, instrument_suspended,
    instrument_no_certificate, instrument_range, missing, undecided.
    """
    draft = begin(
        context, "Every instrument that a verdict rests on must be in date on the local day of its use"
    )
    uses = tuple(uses_on_record(context))
    tags = dict.fromkeys(
        tag
        for (_, proof_id), outcome in context.outcomes.items()
        if proof_id != context.proof.id
        for tag in outcome.instruments
    )
    for tag in sorted(tags):
        own = [use for use in uses if use.tag == tag]
        _judge_instrument(context, draft, tag, own)
    if not tags:
        draft.say("No verdict in use rests on an instrument.")
    elif draft.tally.verdict == MET:
        draft.say(f"In date on the day of use: {listed(sorted(tags))}.")
    return draft.outcome()


def _judge_instrument(context: CheckContext, draft: Draft, tag: str, uses: list[UseOnRecord]) -> None:
    draft.uses([tag])
    equipment = next((item for item in context.facts.equipment if item.tag == tag), None)
    if equipment is None:
        draft.not_shown(
            "instrument_no_certificate",
            f"{tag} is not on the instrument list, so no certificate is on file.",
            "Enter the instrument with its certificate.",
            "desk",
        )
        return
    if not uses:
        draft.not_shown(
            "missing",
            f"The record does not say when {tag} was used.",
            "Name the instrument with the reading.",
            "desk",
        )
    for use, status in statuses(equipment, uses):
        draft.rests_on(use.record)
        _tell(draft, tag, use, status)


def statuses(equipment: Equipment, uses: list[UseOnRecord]) -> Iterator[tuple[UseOnRecord, Status]]:
    """Status at every use in order of time; one use per session counts against a limit of uses."""
    sessions: dict[str | None, None] = {}
    for use in sorted(uses, key=lambda item: (item.at.low, item.record.id)):
        sessions.setdefault(use.session)
        local = use.place.local(use.at.low)
        asked = Use(
            at=use.at,
            days=(local.date(), use.place.local_date(use.at.high)),
            day_began_at=use.at.low - (local - datetime.combine(local.date(), time())),
            values=use.values,
            number=equipment.uses_before + len(sessions),
        )
        yield use, status_of(equipment, asked)


def _tell(draft: Draft, tag: str, use: UseOnRecord, status: Status) -> None:
    day = use.place.local_date(use.at.high).isoformat()
    for fault in status.faults:
        code = fault.reason.code
        draft.open(fault.reason, f"{tag}, used on {day}: {fault.text}.", _CHANGE[code], _SETTLE[code])
    certificate = status.certificate
    if certificate is None:
        return
    draft.rests_on(certificate)
    if certificate.received_at > use.at.high:
        filed = use.place.local_date(certificate.received_at).isoformat()
        draft.note(f"Certificate {certificate.number} of {tag} was filed on {filed}, after the use.")
    if certificate.no_as_found:
        draft.note(f"Certificate {certificate.number} of {tag} has no as-found data.")


# ------------------------------------------------------------------ finding the uses


def uses_on_record(context: CheckContext) -> Iterator[UseOnRecord]:
    """Readings, logs and scans that an outcome rests on, with the instrument each names, each record once."""
    resting: dict[str, list[Outcome]] = {}
    for outcome in context.outcomes.values():
        for item in outcome.evidence:
            resting.setdefault(item, []).append(outcome)
    seen: set[str] = set()
    for record, tag, at, session in _instrument_records(context.facts):
        outcomes = [outcome for outcome in resting.get(record.id, []) if tag in outcome.instruments]
        if tag is None or not outcomes or record.id in seen:
            continue
        seen.add(record.id)
        yield UseOnRecord(
            tag=tag,
            record=record,
            at=at,
            place=_place(context.facts, session),
            session=session,
            values=tuple(dict.fromkeys(value for outcome in outcomes for value in _values(record, outcome))),
        )


def _instrument_records(facts: JobFacts) -> Iterator[tuple[Record, str | None, Moment, str | None]]:
    for reading in live(facts.readings):
        yield reading, reading.instrument, reading.at, reading.session
    for volts in live(facts.voltage_logs):
        if volts.samples:
            session = volts.sessions[0] if volts.sessions else None
            yield volts, volts.instrument, volts.clock.moment(volts.samples[-1][0]), session
    for climate in live(facts.climate_logs):
        if climate.samples:
            yield climate, climate.instrument, climate.clock.moment(climate.samples[-1][0]), None
    for scan in live(facts.scans):
        yield scan, scan.device, scan.ended, None
    for survey in live(facts.floor_surveys):
        yield survey, survey.instrument, survey.surveyed, None


def _place(facts: JobFacts, session_id: str | None) -> Place:
    session = next((item for item in facts.sessions if item.id == session_id), None)
    return facts.place if session is None else session.place


def _values(record: Record, outcome: Outcome) -> tuple[tuple[float, str], ...]:
    """What was read: one value, or the extremes that the outcome of a log reports."""
    if isinstance(record, Reading):
        return ((record.value, record.unit),)
    if isinstance(record, Scan):
        return ()
    if isinstance(record, FloorSurvey):
        # Only differences of height are read: their range is what the level must be calibrated for.
        heights = [z for _, _, z in record.points]
        return ((max(heights) - min(heights), "mm"),) if heights else ()
    names = ("lowest_v", "highest_v") if isinstance(record, VoltageLog) else ("lowest_temp", "lowest_rh")
    return tuple(
        (number.value, number.unit)
        for number in outcome.numbers
        if number.name in names and number.value is not None
    )
