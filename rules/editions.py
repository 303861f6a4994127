"""Which edition of which pack governs: the requirements at the gate instant, a session at its own start."""

from datetime import date, datetime

from rules.facts import JobFacts, Moment, Session
from rules.packs.layering import resolve
from rules.packs.model import PackEdition, PackSet


def editions_at(packs: PackSet, facts: JobFacts, gate_at: datetime) -> tuple[PackEdition, ...]:
    """The editions that the requirements and the common record are judged by, by pack name.

    Those in force on the local date of the gate instant, with house rules laid over them; a pack which says
    ``keep_plan_edition`` stays with the edition in force when the plan was fixed.
    """
    today = facts.place.local_date(gate_at)
    now = {item.pack: item for item in covering_on(packs, facts, today)}
    if facts.plan_fixed_at is not None and facts.plan_fixed_at <= gate_at:
        planned_on = facts.place.local_date(facts.plan_fixed_at)
        kept = (item for item in covering_on(packs, facts, planned_on) if item.keep_plan_edition)
        now |= {item.pack: item for item in kept}
    return resolve(tuple(now[name] for name in sorted(now)))


def covering_on(packs: PackSet, facts: JobFacts, on: date) -> tuple[PackEdition, ...]:
    """The editions in force on that local date that cover the vehicle, by pack name, as they were written."""
    vehicle = facts.vehicle
    return packs.covering(on, vehicle.make, vehicle.model_year, vehicle.model)


def edition_for_session(
    packs: PackSet, facts: JobFacts, session: Session, at_gate: PackEdition
) -> tuple[PackEdition, bool]:
    """The edition of the same pack in force when the session started, and whether clocks leave that open.

    The date is the local date of the session's place. Where no edition of the pack was in force then, or that
    edition did not have the procedure, the one at the gate instant governs.
    """
    found = [_on_day(packs, facts, session, at_gate, day) for day in _days(session)]
    return found[-1], any(item != found[-1] for item in found)


def _days(session: Session) -> tuple[date, ...]:
    started: Moment = session.started
    return session.place.local_date(started.low), session.place.local_date(started.high)


def _on_day(packs: PackSet, facts: JobFacts, session: Session, at_gate: PackEdition, on: date) -> PackEdition:
    for edition in resolve(covering_on(packs, facts, on)):
        if edition.pack == at_gate.pack and edition.procedure(session.procedure_id) is not None:
            return edition
    return at_gate


def missing_foundations(editions: tuple[PackEdition, ...]) -> tuple[tuple[PackEdition, str, int], ...]:
    """(edition, name, lowest edition) of every pack that an edition builds on and that is not beside it.

    Such an edition asks for less than its author meant: what it leaves to the other pack (the record common
    to every job, the signatures) nobody asks for.
    """
    beside = {(item.pack, item.edition) for item in editions}
    return tuple(
        (edition, name, at_least)
        for edition in editions
        for name, at_least in edition.builds_on
        if not any(pack == name and number >= at_least for pack, number in beside)
    )
