"""Waivers and refusals: which have effect on the gate, and why others have none. Verdicts stay."""

from collections.abc import Iterable, Mapping

from rules.checks.base import RequiredProcedure
from rules.departure import departure, first_release_at
from rules.facts import JobFacts, Person, Refusal, Session, Waiver, live
from rules.packs.model import Proof
from rules.result import Decision
from rules.science.clocks import happened_before

Required = Mapping[str, RequiredProcedure]

SHORTEST_REASON_CHARACTERS = 40
ENTITLED_RELATIONS = ("owner", "authorised_agent")
# Who may waive where a pack names no role: project default.
_WAIVING_ROLES = ("location_manager", "quality_manager", "operations_manager")


def person_named(facts: JobFacts, name: str) -> Person | None:
    """The person with that id or login."""
    return next((item for item in facts.people if name in (item.id, item.login)), None)


def same_person(facts: JobFacts, first: str, second: str) -> bool:
    """Do two names (ids or logins) stand for one person?"""
    one, two = person_named(facts, first), person_named(facts, second)
    return first == second or (one is not None and two is not None and one.id == two.id)


def performers(sessions: Iterable[Session | None]) -> tuple[str, ...]:
    """Performers and observers of the sessions, each name once."""
    names = [
        name
        for item in sessions
        if item is not None
        for name in (item.performed_by, item.observer)
        if name is not None
    ]
    return tuple(dict.fromkeys(names))


def waiver_decisions(facts: JobFacts, required: Required) -> tuple[Decision, ...]:
    """Every live waiver with its effect, in the order of receipt."""
    found = sorted(live(facts.waivers), key=lambda item: (item.received_at, item.id))
    return tuple(_waiver(item, facts, required) for item in found)


def refusal_decisions(facts: JobFacts, required: Required) -> tuple[Decision, ...]:
    """Every live refusal with its effect, in the order of receipt."""
    found = sorted(live(facts.refusals), key=lambda item: (item.received_at, item.id))
    return tuple(_refusal(item, facts, required) for item in found)


def refused_sensors(decisions: Iterable[Decision], required: Required) -> tuple[str, ...]:
    """Sensors of the procedures refused with effect."""
    sensors = [
        sensor
        for item in decisions
        if item.kind == "refusal" and item.effect and item.procedure_id in required
        for sensor in required[item.procedure_id].sensors
    ]
    return tuple(dict.fromkeys(sensors))


def waived_proofs(decisions: Iterable[Decision]) -> tuple[tuple[str, str], ...]:
    """(procedure, proof) of every waiver with effect."""
    return tuple(
        dict.fromkeys(
            (item.procedure_id, item.proof_id) for item in decisions if item.kind == "waiver" and item.effect
        )
    )


def too_late(facts: JobFacts, decision: Waiver | Refusal) -> bool:
    """Was the decision signed after departure, or after the release sign-off that the departure relied on?

    While the car is still here a later one counts for the next release, so nothing is late. A decision that
    precedes a release sign-off also precedes the departure that relied on it, however vague the clock that
    timed the departure. No release relied on a decision that the server did not hold yet, whatever day was
    written on it.
    """
    left = departure(facts)
    if left is None:
        return False
    if happened_before(decision.at, left) == "false":
        return True
    releases = [
        item
        for item in live(facts.sign_offs)
        if item.role == "release"
        and item.received_at >= decision.received_at
        and happened_before(item.at, left) != "false"
    ]
    return not any(happened_before(decision.at, item.at) == "true" for item in releases)


def _late_note(facts: JobFacts) -> str:
    if first_release_at(facts) is None:
        return "late note: the car left without a release, so none relied on it"
    return "late note: signed after the release that it should have supported"


def _waiver(waiver: Waiver, facts: JobFacts, required: Required) -> Decision:
    current = required.get(waiver.procedure_id)
    why = _why_no_waiver(waiver, facts, current, required)
    return Decision(
        decision_id=waiver.id,
        kind="waiver",
        procedure_id=waiver.procedure_id,
        proof_id=waiver.proof_id,
        effect=not why,
        why_not=why,
        person=waiver.granted_by,
        role=waiver.role,
        at=waiver.at.reading,
    )


def _why_no_waiver(
    waiver: Waiver, facts: JobFacts, current: RequiredProcedure | None, required: Required
) -> str:
    proof = None if current is None else _proof(current, waiver.proof_id)
    if current is None or proof is None:
        return "the job requires no such proof"
    if not proof.waivable:
        return "this proof is marked as not waivable"
    if too_late(facts, waiver):
        return _late_note(facts)
    if len(waiver.reason.strip()) < SHORTEST_REASON_CHARACTERS:
        return f"the reason is shorter than {SHORTEST_REASON_CHARACTERS} characters"
    return _why_not_this_giver(waiver, facts, proof, current, required)


def _why_not_this_giver(
    waiver: Waiver, facts: JobFacts, proof: Proof, current: RequiredProcedure, required: Required
) -> str:
    if not _role_may_waive(waiver, facts, proof):
        return f"only the role {proof.waive_role or 'of a manager'} may waive this proof"
    return "the person who waives did the work" if _own_work(waiver, facts, current, required) else ""


def _proof(current: RequiredProcedure, proof_id: str) -> Proof | None:
    return next((item for item in current.procedure.proofs if item.id == proof_id), None)


def _role_may_waive(waiver: Waiver, facts: JobFacts, proof: Proof) -> bool:
    asked = _WAIVING_ROLES if proof.waive_role is None else (proof.waive_role,)
    giver = person_named(facts, waiver.granted_by)
    return waiver.role in asked and giver is not None and waiver.role in giver.roles


def _own_work(waiver: Waiver, facts: JobFacts, current: RequiredProcedure, required: Required) -> bool:
    """Did the giver do the work that the proof is about? A common record is about all of it."""
    if current.procedure.kind:
        names = [current.session.performed_by] if current.session is not None else []
    else:
        names = [item.session.performed_by for item in required.values() if item.session is not None]
        names += [item.by for item in live(facts.operations)]
        names += [item.set_by for item in live(facts.glass_sets)]
    return any(same_person(facts, waiver.granted_by, name) for name in names)


def _refusal(refusal: Refusal, facts: JobFacts, required: Required) -> Decision:
    why = _why_no_refusal(refusal, facts, required.get(refusal.procedure_id))
    return Decision(
        decision_id=refusal.id,
        kind="refusal",
        procedure_id=refusal.procedure_id,
        proof_id="",
        effect=not why,
        why_not=why,
        person=refusal.refused_by_name,
        role=refusal.relation,
        at=refusal.at.reading,
    )


def _why_no_refusal(refusal: Refusal, facts: JobFacts, current: RequiredProcedure | None) -> str:
    if current is None:
        return "the job requires no such procedure"
    if too_late(facts, refusal):
        return _late_note(facts)
    if not current.procedure.refusable:
        return "this procedure is marked as not refusable"
    if not facts.refusal_allowed:
        return "the organisation accepts no refusals"
    if refusal.relation not in ENTITLED_RELATIONS or not refusal.refused_by_name.strip():
        return "it is not signed by the owner or an authorised agent"
    return _why_not_informed(refusal, facts, current)


def _why_not_informed(refusal: Refusal, facts: JobFacts, current: RequiredProcedure) -> str:
    named = {name.casefold() for name in refusal.systems_named}
    known = {item.sensor: item.functions for item in facts.sensor_functions}
    silent = [sensor for sensor in current.sensors if not known.get(sensor)]
    if silent or not current.sensors:
        return "the functions that the sensor serves are not on record"
    left_out = [
        function
        for sensor in current.sensors
        for function in known[sensor]
        if function.casefold() not in named
    ]
    return f"it does not name {', '.join(dict.fromkeys(left_out))}" if left_out else ""


def is_late_note(decision: Decision) -> bool:
    """Is it stored as a late note only?"""
    return decision.why_not.startswith("late note")
