"""What judging one job gives: requirements, findings, gate; frozen and with a canonical form."""

from dataclasses import dataclass
from datetime import datetime

from rules.verdict import Disposition, Finding, RequirementState, Truth, Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionPart:
    """One part of a trigger's condition: its text, its truth, and the fact it came from."""

    text: str
    truth: Truth
    fact: str
    depth: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Because:
    """One trigger that was considered for a procedure, with each part of its condition."""

    trigger_id: str
    plain: str
    truth: Truth
    parts: tuple[ConditionPart, ...]
    pack: str
    edition: int
    citation: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """``reasons`` name the unknown facts where the state is cannot_tell."""

    procedure_id: str
    title: str
    state: RequirementState
    because: tuple[Because, ...]
    reasons: tuple[str, ...]
    sensors: tuple[str, ...]
    pack: str
    edition: int
    citation: str
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NotNeededSaid:
    """A maker's word that ``operation`` asks for nothing at ``sensor``, with where that is written."""

    sensor: str
    operation: str
    plain: str
    pack: str
    edition: int
    citation: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptResult:
    """One session of a procedure as it is printed; only the governing one counts."""

    session_id: str
    attempt: int
    governs: bool
    result: str
    verdict: Verdict
    edition: int
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProcedureResult:
    """``kind`` as the pack gives it: static, dynamic, static_then_dynamic, initialise, or empty."""

    procedure_id: str
    title: str
    state: RequirementState
    verdict: Verdict
    accepted: bool
    refused: bool
    governing_session: str | None
    pack: str
    edition: int
    attempts: tuple[AttemptResult, ...] = ()
    kind: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SignOffState:
    """A sign-off and whether it is fresh; ``covered`` of ``coverable`` items of the record at its time."""

    sign_off_id: str
    role: str
    person: str
    fresh: bool
    stale_because: tuple[str, ...]
    covered: int
    coverable: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """A waiver or refusal as it counts: ``effect`` False means a late note or one the rules do not allow."""

    decision_id: str
    kind: str
    procedure_id: str
    proof_id: str
    effect: bool
    why_not: str
    person: str
    role: str
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadyTime:
    """Adhesive readiness for the red band: None where no time can be given."""

    ready_cautious: datetime | None
    ready_hopeful: datetime | None
    set_at: datetime
    minutes: int | None
    sentence: str
    passed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimSaid:
    """One claim about times in plain words, with the ids of the records that make it."""

    words: str
    records: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Contradiction:
    """Claims about times that cannot all be true.

    Attributes:
        claims: in the order of the times they give; without any one of them the others could be true.
        excess_s: seconds by which they miss each other, 0 where only an open bound is touched.
        sentence: all of it in plain words.
        records: ids of the records put in doubt: those of which more is claimed than a clock's time, and
            those that rest on a clock which contradicts itself.
    """

    claims: tuple[ClaimSaid, ...]
    excess_s: float
    sentence: str
    records: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """The whole judgement of one job at the gate instant ``gate_at``.

    Same facts, same packs, same engine version, same ``gate_at``: the same bytes in canonical form.
    ``names``: (record id, plain name with evidence number) of what the findings rest on. ``not_needed``: who
    said that an operation on the list asks for nothing.
    """

    job_id: str
    gate_at: datetime
    engine_version: str
    facts_sha256: str
    packs: tuple[tuple[str, int, str], ...]
    requirements: tuple[Requirement, ...]
    statement: str
    procedures: tuple[ProcedureResult, ...]
    findings: tuple[Finding, ...]
    sign_offs: tuple[SignOffState, ...]
    decisions: tuple[Decision, ...]
    verdict: Verdict
    disposition: Disposition
    left_against_hold: bool
    held_because: tuple[str, ...]
    ready: ReadyTime | None
    lookups: tuple[str, ...] = ()
    names: tuple[tuple[str, str], ...] = ()
    not_needed: tuple[NotNeededSaid, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()
