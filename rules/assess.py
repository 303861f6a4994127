"""The judgement of one job: requirements, findings in pack order, verdict, and the release gate."""

from dataclasses import dataclass, field, replace
from datetime import datetime

from rules import ENGINE_VERSION
from rules.checks.adhesive import ready_times
from rules.checks.base import RequiredProcedure
from rules.checks.sentences import clock_text
from rules.decisions import (
    is_late_note,
    refusal_decisions,
    refused_sensors,
    waived_proofs,
    waiver_decisions,
)
from rules.departure import departure
from rules.editions import edition_for_session, editions_at, missing_foundations
from rules.explain import held_because
from rules.facts import JobFacts, Moment, Session, facts_held_at, live
from rules.gate import disposition, left_against_hold
from rules.governing import attempts, governing_session
from rules.judging import Desk, Key, finding, judge_all, judge_attempt, proofs_of, refusal_finding
from rules.not_needed import not_needed_said
from rules.packs.layering import decision_factor
from rules.packs.model import PackEdition, PackSet, Procedure
from rules.record_bytes import record_sha256
from rules.record_names import names_of
from rules.requirements import calling_operations, determine, overall_statement
from rules.result import Assessment, AttemptResult, Decision, ProcedureResult, Requirement
from rules.sign_offs import states
from rules.timeline import contradictions
from rules.verdict import MET, NOT_SHOWN, Finding, Outcome, Verdict, combine

DEFAULT_Z = 1.645  # one-sided 95 % of the normal distribution


def assess(packs: PackSet, facts: JobFacts, *, as_of: datetime) -> Assessment:
    """Judge one job at the gate instant ``as_of``.

    Only what the server held then counts. The same facts, packs, engine version and ``as_of`` give the same
    assessment. A check that cannot be carried out is not shown; nothing raises for what a record lacks.
    """
    # Cut once: what is kept with the judgement is then all that it rests on, to the last record.
    held = facts_held_at(facts, as_of)
    result = _assess_held(packs, held, as_of)
    left = departure(held)
    if left is None:
        return result
    # Judged once more as it stood when the car left: from what the server held then, and for ever the same.
    held_then = _as_it_left(facts_held_at(held, left.high), left.high)
    then = _assess_held(packs, held_then, left.high)
    return replace(result, left_against_hold=left_against_hold(then.disposition, held_then))


def _as_it_left(facts: JobFacts, left_at: datetime) -> JobFacts:
    """The delivery at its latest possible time: a vague clock alone must not accuse anybody for ever."""
    if facts.delivery is None:
        return facts
    return replace(facts, delivery=replace(facts.delivery, at=Moment.exact(left_at)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judged:
    """The parts of one judgement before they are put together."""

    desk: Desk
    editions: tuple[PackEdition, ...]
    requirements: tuple[Requirement, ...]
    decisions: tuple[Decision, ...]
    outcomes: dict[Key, Outcome]
    findings: dict[str, tuple[Finding, ...]] = field(default_factory=dict)


def _assess_held(packs: PackSet, facts: JobFacts, gate_at: datetime) -> Assessment:
    judged = _with_findings(_judge(packs, facts, gate_at))
    procedures = tuple(
        _procedure_result(packs, judged, current) for current in judged.desk.required.values()
    ) + tuple(_unknown_result(judged, item) for item in judged.requirements if item.state == "cannot_tell")
    findings = tuple(item for result in judged.findings.values() for item in result)
    gate = disposition(findings, judged.requirements, judged.decisions)
    return Assessment(
        job_id=facts.job_id,
        gate_at=gate_at,
        engine_version=ENGINE_VERSION,
        facts_sha256=record_sha256(facts),
        packs=_packs_used(judged),
        requirements=judged.requirements,
        statement=overall_statement(judged.requirements, judged.editions, facts),
        procedures=procedures,
        findings=findings,
        sign_offs=states(facts),
        decisions=judged.decisions,
        # A record that no text asks anything of shows nothing.
        verdict=combine(item.verdict for item in procedures) if procedures else NOT_SHOWN,
        disposition=gate,
        left_against_hold=False,
        held_because=_held(judged, findings) if gate == "hold" else (),
        ready=ready_times(facts, gate_at, judged.desk.z),
        lookups=_lookups(facts),
        names=names_of(facts, _rested_on(findings, procedures)),
        not_needed=not_needed_said(judged.editions, facts),
        contradictions=judged.desk.contradictions,
    )


def _held(judged: _Judged, findings: tuple[Finding, ...]) -> tuple[str, ...]:
    """What holds the job; where times on record contradict each other, that too."""
    told = (item.sentence for item in judged.desk.contradictions)
    return (*held_because(findings, judged.requirements), *told)


def _rested_on(findings: tuple[Finding, ...], procedures: tuple[ProcedureResult, ...]) -> tuple[str, ...]:
    """Ids of the records that any finding rests on, those of attempts that count for nothing among them."""
    printed = (item for result in procedures for attempt in result.attempts for item in attempt.findings)
    return tuple(dict.fromkeys(name for item in (*findings, *printed) for name in item.outcome.evidence))


def _judge(packs: PackSet, facts: JobFacts, gate_at: datetime) -> _Judged:
    editions = editions_at(packs, facts, gate_at)
    requirements = (
        *(_with_text(item, editions) for item in determine(editions, facts)),
        *_unfounded(editions),
    )
    required = {
        item.procedure_id: _required(packs, editions, facts, item)
        for item in _in_pack_order(requirements, editions)
        if item.state == "required"
    }
    decisions = (*waiver_decisions(facts, required), *refusal_decisions(facts, required))
    used = (*editions, *(item.edition for item in required.values()))
    z = decision_factor(used) if used else DEFAULT_Z
    desk = Desk(
        facts=facts,
        gate_at=gate_at,
        required=required,
        z=z,
        waived=waived_proofs(decisions),
        refused_sensors=refused_sensors(decisions, required),
        car_gone=departure(facts) is not None,
        contradictions=contradictions(facts, gate_at, z),
    )
    return _Judged(
        desk=desk,
        editions=editions,
        requirements=requirements,
        decisions=decisions,
        outcomes=judge_all(desk),
    )


def _in_pack_order(
    requirements: tuple[Requirement, ...], editions: tuple[PackEdition, ...]
) -> tuple[Requirement, ...]:
    places = {
        (edition.pack, procedure.id): (index, place)
        for index, edition in enumerate(editions)
        for place, procedure in enumerate(edition.procedures)
    }
    last = (len(editions), 0)
    return tuple(sorted(requirements, key=lambda item: places.get((item.pack, item.procedure_id), last)))


def _text_of(item: Requirement, editions: tuple[PackEdition, ...]) -> tuple[PackEdition, Procedure] | None:
    for edition in editions:
        procedure = edition.procedure(item.procedure_id)
        if edition.pack == item.pack and procedure is not None:
            return edition, procedure
    return None


def _with_text(item: Requirement, editions: tuple[PackEdition, ...]) -> Requirement:
    """A requirement whose procedure stands in no edition in force is cannot tell, never silent."""
    if item.state != "required" or _text_of(item, editions) is not None:
        return item
    return replace(item, state="cannot_tell", reasons=("pack_no_coverage",))


def _unfounded(editions: tuple[PackEdition, ...]) -> tuple[Requirement, ...]:
    """What a pack builds on and is not in force beside it: nobody can tell what that would have asked for."""
    return tuple(
        Requirement(
            procedure_id=name,
            title=f"Pack {name}",
            state="cannot_tell",
            because=(),
            reasons=("pack_no_coverage",),
            sensors=(),
            pack=edition.pack,
            edition=edition.edition,
            citation="",
            sentence=(
                f"Pack {edition.pack}, edition {edition.edition}, builds on {name}, edition {at_least} or "
                "later, and none is in force: what it asks for cannot be told."
            ),
        )
        for edition, name, at_least in missing_foundations(editions)
    )


def _required(
    packs: PackSet, editions: tuple[PackEdition, ...], facts: JobFacts, item: Requirement
) -> RequiredProcedure:
    """The procedure with its text and governing session."""
    found = _text_of(item, editions)
    if found is None:
        raise LookupError(item.procedure_id)
    at_gate, procedure = found
    calling = calling_operations(item.procedure_id, editions, facts)
    governing = governing_session(facts, item.procedure_id, procedure.kind, calling)
    current = RequiredProcedure(
        procedure=procedure,
        edition=at_gate,
        sensors=item.sensors,
        session=governing.session,
        order_open=governing.order_open,
    )
    return current if governing.session is None else _under_own_text(packs, facts, current, governing.session)


def _under_own_text(
    packs: PackSet, facts: JobFacts, current: RequiredProcedure, session: Session
) -> RequiredProcedure:
    """The procedure in the text that was in force when the session started."""
    edition, is_open = edition_for_session(packs, facts, session, current.edition)
    procedure = edition.procedure(current.procedure.id) or current.procedure
    return replace(
        current,
        procedure=procedure,
        edition=edition,
        session=session,
        order_open=current.order_open or is_open,
    )


# ------------------------------------------------------------------ results


def _with_findings(judged: _Judged) -> _Judged:
    found = {name: _findings(judged, current) for name, current in judged.desk.required.items()}
    return replace(judged, findings=found)


def _findings(judged: _Judged, current: RequiredProcedure) -> tuple[Finding, ...]:
    refusal = _refusal_of(judged, current)
    waivers = {
        (item.procedure_id, item.proof_id): item.person
        for item in judged.decisions
        if item.kind == "waiver" and item.effect
    }
    found = [
        finding(
            current,
            proof,
            judged.outcomes[current.procedure.id, proof.id],
            waivers.get((current.procedure.id, proof.id)),
        )
        for proof in proofs_of(current, judged.desk.required)
    ]
    if refusal is None:
        return tuple(found)
    own = refusal_finding(current, refusal.person, has_effect=refusal.effect, car_gone=judged.desk.car_gone)
    if refusal.effect:
        found = [replace(item, counts=False) for item in found]
    return (own, *found)


def _refusal_of(judged: _Judged, current: RequiredProcedure) -> Decision | None:
    """The refusal of the procedure: one with effect before one without; a late note is none."""
    found = [
        item
        for item in judged.decisions
        if item.kind == "refusal" and item.procedure_id == current.procedure.id and not is_late_note(item)
    ]
    return max(found, key=lambda item: item.effect, default=None)


def _procedure_result(packs: PackSet, judged: _Judged, current: RequiredProcedure) -> ProcedureResult:
    findings = judged.findings[current.procedure.id]
    refusal = _refusal_of(judged, current)
    session = current.session
    short = [item for item in findings if item.verdict != MET]
    return ProcedureResult(
        procedure_id=current.procedure.id,
        title=current.procedure.title,
        state="required",
        verdict=combine(item.verdict for item in findings),
        accepted=session is not None and all(item.waived_by is not None for item in short),
        refused=refusal is not None,
        governing_session=None if session is None else session.id,
        pack=current.edition.pack,
        edition=current.edition.edition,
        attempts=_attempts(packs, judged, current, findings),
        kind=current.procedure.kind,
    )


def _attempts(
    packs: PackSet, judged: _Judged, current: RequiredProcedure, findings: tuple[Finding, ...]
) -> tuple[AttemptResult, ...]:
    governing = current.session
    results = []
    for item in attempts(judged.desk.facts, current.procedure.id):
        governs = governing is not None and item.id == governing.id
        own = current if governs else _under_own_text(packs, judged.desk.facts, current, item)
        own_findings = findings if governs else judge_attempt(judged.desk, own, item)
        results.append(
            AttemptResult(
                session_id=item.id,
                attempt=item.attempt,
                governs=governs,
                result=item.result,
                verdict=combine(one.verdict for one in own_findings),
                edition=own.edition.edition,
                findings=own_findings,
            )
        )
    return tuple(results)


def _unknown_result(judged: _Judged, item: Requirement) -> ProcedureResult:
    verdict: Verdict = NOT_SHOWN
    named = (edition.procedure(item.procedure_id) for edition in judged.editions if edition.pack == item.pack)
    return ProcedureResult(
        procedure_id=item.procedure_id,
        title=item.title,
        state="cannot_tell",
        verdict=verdict,
        accepted=False,
        refused=False,
        governing_session=None,
        pack=item.pack,
        edition=item.edition,
        kind=next((procedure.kind for procedure in named if procedure is not None), ""),
    )


def _packs_used(judged: _Judged) -> tuple[tuple[str, int, str], ...]:
    used = (*judged.editions, *(item.edition for item in judged.desk.required.values()))
    return tuple(sorted({(item.pack, item.edition, item.sha256) for item in used}))


def _lookups(facts: JobFacts) -> tuple[str, ...]:
    """The maker's texts that were looked up, as printed."""
    lines = []
    for item in sorted(live(facts.lookups), key=lambda one: (one.received_at, one.id)):
        at = "at an unknown time" if item.retrieved_at is None else clock_text(facts.place, item.retrieved_at)
        lines.append(
            f"{item.procedure_id}: {item.document_number}, edition {item.edition}, {item.section}, "
            f"looked up {at} by {item.retrieved_by}"
        )
    return tuple(lines)
