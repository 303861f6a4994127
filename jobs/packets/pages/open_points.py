"""What is not met, not shown, waived or refused, each point once and with its reason: the truth of page 1."""

from dataclasses import dataclass
from typing import Final

from jobs.packets.pages import times
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.words import ended, plain, proof_title, role_words, sentence_case
from rules.display import accept_text, limit_text, number_name, place_of, with_unit
from rules.explain import SETTLE_WORDS, readable
from rules.facts import Refusal, Waiver
from rules.verdict import Finding, Number
from rules.why import reason_words

# What is missing is told on page 1 in at most so many characters; chapter 5 tells all of it.
LONGEST_MISSING: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One open point; ``kind`` is not_shown, waived, not_met or refused; ``below`` belongs to a refusal."""

    kind: str
    head: str
    text: str
    below: tuple[str, ...] = ()


def open_points(context: PageContext, short: bool = False) -> list[Point]:
    """Every point, not met first, and never fewer than there are; ``short`` leaves out how to settle it."""
    refused = {result.procedure_id for result in context.assessment.procedures if result.refused}
    counting = [
        f for f in context.assessment.findings if f.verdict != "met" and f.procedure_id not in refused
    ]
    points = [_finding_point(f, short) for f in counting if f.verdict == "not_met"]
    points += [_finding_point(f, short) for f in counting if f.verdict == "not_shown"]
    points += _undecided_requirements(context, counting)
    points += [point for point in (_waiver_point(context, w) for w in context.facts.waivers) if point]
    points += [
        point for point in (_refusal_point(context, r, refused) for r in context.facts.refusals) if point
    ]
    return points


def _finding_point(finding: Finding, short: bool) -> Point:
    words = sentence_case("; ".join(reason_words(code) for code in finding.outcome.reasons))
    settle = "" if short else SETTLE_WORDS[finding.outcome.settle]
    numbers = _worst_numbers(finding)
    parts = [
        f"{words}." if words else "",
        _what_is_missing(finding),
        numbers,
        f"It {settle}." if settle else "",
    ]
    waived = " Waived, see below." if finding.waived_by else ""
    return Point(
        kind=finding.verdict,
        head=f"{proof_name(finding)}, {finding.procedure_id}",
        text=" ".join(part for part in parts if part) + waived,
    )


def _what_is_missing(finding: Finding) -> str:
    """``There is no before scan on record.``: what is missing, where a short sentence tells it."""
    shows = finding.outcome.shows
    is_told = finding.outcome.reasons == ("missing",) and len(shows) <= LONGEST_MISSING
    return readable(shows) if is_told else ""


def proof_name(finding: Finding) -> str:
    """What the proof is about, in words, with its id."""
    return proof_title(finding.check, finding.proof_id)


def _worst_numbers(finding: Finding) -> str:
    """The first two numbers that lie outside their accept zone, with their limits."""
    shown = [n for n in finding.outcome.numbers if place_of(n) in ("not_met", "not_shown")][:2]
    return " ".join(f"{number_name(n)} {with_unit(n)}, limit {limit_text(n)}{_in_doubt(n)}." for n in shown)


def _in_doubt(number: Number) -> str:
    """Why a value inside its limit is not shown to be there: its uncertainty, and what would be accepted."""
    if number.u is None or place_of(number) != "not_shown":
        return ""
    accepted = accept_text(number)
    return f"; standard uncertainty {number.u:.3g}" + (f", accepted only {accepted}" if accepted else "")


def _undecided_requirements(context: PageContext, counting: list[Finding]) -> list[Point]:
    """Requirements that nobody can tell: they count as not shown also where no proof could be judged."""
    told = {finding.procedure_id for finding in counting}
    return [
        Point(
            kind="not_shown",
            head=f"{item.title} ({item.procedure_id})",
            text="Cannot tell whether this was required: "
            f"{'; '.join(reason_words(code) for code in item.reasons)}.",
        )
        for item in context.assessment.requirements
        if item.state == "cannot_tell" and item.procedure_id not in told
    ]


def _effect(context: PageContext, decision_id: str) -> bool:
    return any(d.decision_id == decision_id and d.effect for d in context.assessment.decisions)


def _waiver_point(context: PageContext, waiver: Waiver) -> Point | None:
    """A waiver that has effect. Late notes stand in chapter 11 and nowhere here."""
    if not _effect(context, waiver.id):
        return None
    finding = next(
        (
            f
            for f in context.assessment.findings
            if (f.procedure_id, f.proof_id) == (waiver.procedure_id, waiver.proof_id)
        ),
        None,
    )
    name = proof_name(finding) if finding else plain(waiver.proof_id)
    verdict = finding.verdict.replace("_", " ") if finding else "as it was"
    when = times.short_instant(context.place, waiver.at.high)
    return Point(
        kind="waived",
        head=f"{name}, {waiver.procedure_id}, by {context.name(waiver.granted_by)}, "
        f"{role_words(waiver.role)}, {when}",
        text=f'"{waiver.reason}" Instead: {ended(waiver.instead)} {told_text(context, waiver)} '
        f"The verdict stays {verdict}.",
    )


def told_text(context: PageContext, waiver: Waiver) -> str:
    """When the owner was told of the waiver, or that nothing of it is on record."""
    if waiver.customer_told_at is None:
        return "No record that the owner was told."
    return f"Owner told {times.short_instant(context.place, waiver.customer_told_at.high)}."


def _refusal_point(context: PageContext, refusal: Refusal, refused: set[str]) -> Point | None:
    if refusal.procedure_id not in refused or not _effect(context, refusal.id):
        return None
    open_proofs = [
        f"{proof_name(f)}: {f.verdict.replace('_', ' ')}"
        for f in context.assessment.findings
        if f.procedure_id == refusal.procedure_id and f.verdict != "met"
    ]
    when = times.short_instant(context.place, refusal.at.high)
    return Point(
        kind="refused",
        head=f"{refusal.procedure_id}, by {refusal.refused_by_name}, {plain(refusal.relation)}, {when}",
        text=f"Systems named: {', '.join(refusal.systems_named)}. Lamp: {refusal.lamp_state}. "
        f"Witness: {context.name(refusal.witness)}.",
        below=tuple(open_proofs),
    )
