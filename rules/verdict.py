"""The three words met, not met and not shown; the reason codes; and how verdicts combine."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final, Literal

Verdict = Literal["met", "not_met", "not_shown"]
MET: Final[Verdict] = "met"
NOT_MET: Final[Verdict] = "not_met"
NOT_SHOWN: Final[Verdict] = "not_shown"

# Three-valued truth of triggers and requirement states.
Truth = Literal["true", "false", "unknown"]
RequirementState = Literal["required", "not_required", "cannot_tell"]
Disposition = Literal["none", "hold", "release", "release_with_waiver", "release_with_refusal"]

# When an open proof can still be settled: while set up, with the car here, from the desk, or not at all.
Settle = Literal["now", "car_here", "desk", "never"]

# Reason codes in print order, each with the strength it has by itself.
# The four "by case" reasons take the strength of the verdict they came with.
NOT_MET_REASONS: Final = (
    "identity_conflict",
    "outside_limit",
    "too_short",
    "order_broken",
    "code_remaining",
    "lamp_wrong",
    "log_conflict",
    "ignition_cycled",
    "session_failed",
    "adhesive_early",
    "adhesive_expired",
    "instrument_overdue",
    "instrument_suspended",
    "reuse_exact",
    "person_not_qualified",
    "same_person",
    "says_otherwise",
    "refused",
)
BY_CASE_REASONS: Final = ("code_new", "module_silent", "adhesive_no_value", "reuse_alike")
NOT_SHOWN_REASONS: Final = (
    "missing",
    "unreadable",
    "undecided",
    "uncertainty_unknown",
    "instrument_not_capable",
    "instrument_no_certificate",
    "instrument_range",
    "gap_could_hide",
    "time_order",
    "order_unprovable",
    "outside_window",
    "far_from_shop",
    "evidence_stale",
    "survey_old",
    "readings_disagree",
    "no_redundancy",
    "conflict",
    "identity_unproven",
    "fit_unknown",
    "operations_open",
    "pack_no_coverage",
    "citation_missing",
    "not_signed",
    "sign_off_stale",
    # Ours: a pack names a check that this engine version cannot carry out, or that failed while judging.
    "not_judged",
)
REASON_ORDER: Final = {
    code: place for place, code in enumerate(NOT_MET_REASONS + BY_CASE_REASONS + NOT_SHOWN_REASONS)
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One reason with the strength it carries in this case (``not_met`` or ``not_shown``)."""

    code: str
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """One named result of a check: limits in ``unit``; ``u`` standard uncertainty, ``guard`` z u."""

    name: str
    value: float | None
    unit: str
    u: float | None = None
    guard: float | None = None
    lower: float | None = None
    upper: float | None = None
    p_in: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What one check says of one proof.

    Attributes:
        verdict: combined from ``reasons``; ``met`` exactly when there is no reason.
        reasons: reason codes, the verdict's own strength first, each group in print order.
        numbers: results, rounded once to six decimals of their unit.
        sentence: plain words: what was required, what the record shows, why that leads to the verdict.
        required, shows, why: the parts of the sentence as far as the check tells them apart.
        change: plain words: what would change it; empty when met.
        settle: when it can still be settled.
        settle_why: plain words: what in the situation makes it so; empty where nothing special does.
        evidence: ids of the records and evidence files that the verdict rests on.
        instruments: tags of the instruments whose readings the verdict rests on.
        notes: remarks that are no verdict.
    """

    verdict: Verdict
    reasons: tuple[str, ...] = ()
    numbers: tuple[Number, ...] = ()
    sentence: str = ""
    change: str = ""
    settle: Settle = "car_here"
    evidence: tuple[str, ...] = ()
    instruments: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    required: str = ""
    shows: str = ""
    why: str = ""
    settle_why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """The result of one proof of one procedure, with the text it was judged by."""

    procedure_id: str
    proof_id: str
    check: str
    title: str
    outcome: Outcome
    pack: str
    edition: int
    citation: str
    waivable: bool
    waive_role: str | None = None
    waived_by: str | None = None
    counts: bool = True
    session_id: str | None = None

    @property
    def verdict(self) -> Verdict:
        return self.outcome.verdict


def combine(verdicts: Iterable[Verdict]) -> Verdict:
    """Any not_met gives not_met, else any not_shown gives not_shown, else met (also for none at all)."""
    seen = set(verdicts)
    if NOT_MET in seen:
        return NOT_MET
    return NOT_SHOWN if NOT_SHOWN in seen else MET


def any_of(verdicts: Iterable[Verdict]) -> Verdict:
    """Alternatives: any met gives met, else any not_shown gives not_shown, else not_met."""
    seen = set(verdicts)
    if MET in seen:
        return MET
    return NOT_SHOWN if NOT_SHOWN in seen else NOT_MET


def not_met(code: str) -> Reason:
    """A reason that makes the proof not met."""
    return Reason(code=code, verdict=NOT_MET)


def not_shown(code: str) -> Reason:
    """A reason that leaves the proof not shown."""
    return Reason(code=code, verdict=NOT_SHOWN)


@dataclass(slots=True)
class Tally:
    """Collects reasons of the parts of one proof and turns them into verdict and ordered codes."""

    reasons: list[Reason] = field(default_factory=list)

    def add(self, *reasons: Reason) -> None:
        self.reasons.extend(reasons)

    @property
    def verdict(self) -> Verdict:
        return combine(reason.verdict for reason in self.reasons)

    @property
    def codes(self) -> tuple[str, ...]:
        """Every code once: the verdict's own strength first, then the others, each in print order."""
        if not self.reasons:
            return ()
        verdict = self.verdict
        strength: dict[str, int] = {}
        for reason in self.reasons:
            rank = 0 if reason.verdict == verdict else 1
            strength[reason.code] = min(rank, strength.get(reason.code, rank))
        return tuple(sorted(strength, key=lambda code: (strength[code], REASON_ORDER[code])))
