"""Judging the proofs of required procedures: in pack order, those that look at others last."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from rules.checks.base import CheckContext, RequiredProcedure
from rules.checks.library import JUDGED_LAST, run_check
from rules.checks.order import must_come_first, needs_order, order_proof
from rules.checks.records import session_failed
from rules.checks.settling import CAR_GONE, in_situation
from rules.checks.unjudged import no_session
from rules.facts import JobFacts, Session
from rules.packs.model import Proof
from rules.result import Contradiction
from rules.timeline import with_contradictions
from rules.verdict import Finding, Outcome, not_met

# The implicit proof that a failed or abandoned session makes where its procedure asks for no result.
RESULT_PROOF_ID: Final = "result"
REFUSAL_PROOF_ID: Final = "refusal"
# The maker's text can be looked up and judged without a session.
_WITHOUT_SESSION: Final = ("citation_given",)

Key = tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """What all proofs of one judgement share."""

    facts: JobFacts
    gate_at: datetime
    required: Mapping[str, RequiredProcedure]
    z: float
    waived: tuple[Key, ...]
    refused_sensors: tuple[str, ...]
    car_gone: bool = False
    contradictions: tuple[Contradiction, ...] = ()


def proofs_of(current: RequiredProcedure, required: Mapping[str, RequiredProcedure]) -> tuple[Proof, ...]:
    """The proofs of a procedure with the implicit ones behind them."""
    proofs = list(current.procedure.proofs)
    if needs_order(current, required):
        proofs.append(order_proof(current.procedure))
    session = current.session
    if session is not None and session_failed(session) and not _asks_for_result(proofs):
        proofs.append(_result_proof(current))
    return tuple(proofs)


def judge_all(desk: Desk) -> dict[Key, Outcome]:
    """The outcome of every proof of every required procedure, by (procedure, proof)."""
    outcomes: dict[Key, Outcome] = {}
    jobs = [
        (current, proof) for current in desk.required.values() for proof in proofs_of(current, desk.required)
    ]
    for current, proof in jobs:
        if proof.check not in JUDGED_LAST:
            outcomes[current.procedure.id, proof.id] = judge_one(desk, current, proof, outcomes)
    last = [(current, proof) for current, proof in jobs if proof.check in JUDGED_LAST]
    in_order = _first_things_first(desk, last)
    for check in JUDGED_LAST:
        for current, proof in in_order:
            if proof.check == check:
                outcomes[current.procedure.id, proof.id] = judge_one(desk, current, proof, outcomes)
    return outcomes


def judge_one(
    desk: Desk, current: RequiredProcedure, proof: Proof, outcomes: Mapping[Key, Outcome]
) -> Outcome:
    """The outcome of one proof; without the session it is about, it is missing."""
    context = CheckContext(
        facts=desk.facts,
        gate_at=desk.gate_at,
        proof=proof,
        current=current,
        required=desk.required,
        z=desk.z,
        outcomes=dict(outcomes),
        refused_sensors=desk.refused_sensors,
        waived=desk.waived,
        car_gone=desk.car_gone,
    )
    if current.procedure.kind and current.session is None and proof.check not in _WITHOUT_SESSION:
        outcome = no_session(context, run_check(context).required)
    elif proof.id == RESULT_PROOF_ID and proof.check == RESULT_PROOF_ID:
        outcome = _failed_result(current)
    else:
        outcome = _as_printed(run_check(context), proof)
    return in_situation(context, with_contradictions(outcome, desk.contradictions))


def _as_printed(outcome: Outcome, proof: Proof) -> Outcome:
    """With what was required and its citation, also where a check says neither."""
    if outcome.required:
        return outcome
    name = proof.check.replace("_", " ").replace("tyre", "tire").capitalize()
    opening = f"{name} ({proof.cite.text})."
    shows = outcome.shows or outcome.sentence
    return replace(outcome, required=name, shows=shows, sentence=f"{opening} {outcome.sentence}".strip())


def judge_attempt(desk: Desk, current: RequiredProcedure, session: Session) -> tuple[Finding, ...]:
    """The findings of an attempt that does not govern, as printed: they count for nothing."""
    alone = replace(current, session=session, order_open=False)
    required = {**desk.required, current.procedure.id: alone}
    own = replace(desk, required=required)
    outcomes: dict[Key, Outcome] = {}
    proofs = proofs_of(alone, required)
    for proof in sorted(proofs, key=lambda item: item.check in JUDGED_LAST):
        outcomes[current.procedure.id, proof.id] = judge_one(own, alone, proof, outcomes)
    return tuple(
        replace(finding(alone, proof, outcomes[current.procedure.id, proof.id], None), counts=False)
        for proof in proofs
    )


def finding(current: RequiredProcedure, proof: Proof, outcome: Outcome, waived_by: str | None) -> Finding:
    """One outcome with the text it was judged by."""
    return Finding(
        procedure_id=current.procedure.id,
        proof_id=proof.id,
        check=proof.check,
        title=current.procedure.title,
        outcome=outcome,
        pack=current.edition.pack,
        edition=current.edition.edition,
        citation=proof.cite.text,
        waivable=proof.waivable,
        waive_role=proof.waive_role,
        waived_by=waived_by,
        session_id=None if current.session is None else current.session.id,
    )


def refusal_finding(
    current: RequiredProcedure, refused_by: str, *, has_effect: bool, car_gone: bool = False
) -> Finding:
    """The finding of a refused procedure: not met, and taken out of the gate where it has effect."""
    required, shows = current.procedure.title, f"{refused_by} refused it."
    outcome = Outcome(
        verdict="not_met",
        reasons=("refused",),
        sentence=f"{required} ({current.procedure.cite.text}). {shows}",
        required=required,
        shows=shows,
        change="The owner withdraws the refusal and the work is done.",
        settle="never" if car_gone else "car_here",
        settle_why=CAR_GONE if car_gone else "",
    )
    proof = Proof(
        id=REFUSAL_PROOF_ID,
        check=REFUSAL_PROOF_ID,
        arguments={},
        waivable=False,
        waive_role=None,
        cite=current.procedure.cite,
    )
    return replace(finding(current, proof, outcome, None), counts=not has_effect)


def _asks_for_result(proofs: Iterable[Proof]) -> bool:
    """Is the result of the whole session asked for, not only that of a part?"""
    return any(proof.check == "tool_result" and proof.part is None for proof in proofs)


def _result_proof(current: RequiredProcedure) -> Proof:
    return Proof(
        id=RESULT_PROOF_ID,
        check=RESULT_PROOF_ID,
        arguments={},
        waivable=False,
        waive_role=None,
        cite=current.procedure.cite,
    )


def _failed_result(current: RequiredProcedure) -> Outcome:
    session = current.session
    reason = not_met("session_failed")
    result = "" if session is None else session.result
    required = f"The session of {current.procedure.title} must be completed"
    shows = f"The session that counts ended as {result}."
    return Outcome(
        verdict=reason.verdict,
        reasons=(reason.code,),
        sentence=f"{required} ({current.procedure.cite.text}). {shows}",
        required=required,
        shows=shows,
        change="Find the cause, then repeat the session.",
        evidence=() if session is None else (session.id,),
    )


def _first_things_first(
    desk: Desk, jobs: list[tuple[RequiredProcedure, Proof]]
) -> list[tuple[RequiredProcedure, Proof]]:
    """Pack order, but a procedure that must come before others is judged before them."""

    def depth(current: RequiredProcedure, seen: tuple[str, ...] = ()) -> int:
        if current.procedure.id in seen:
            return 0
        earlier = must_come_first(current, desk.required)
        return 1 + max((depth(item, (*seen, current.procedure.id)) for item in earlier), default=-1)

    return sorted(jobs, key=lambda job: depth(job[0]))
