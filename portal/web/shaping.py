"""From an assessment to what a page shows: rows, groups, the next action, the gate in a sentence."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from portal.web import wording
from rules.result import Assessment, ProcedureResult, Requirement, SignOffState
from rules.verdict import Finding, Number


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One proof as a page shows it."""

    anchor: str
    title: str
    line: str
    verdict: str
    sentence: str
    reasons: str
    numbers: tuple[str, ...]
    notes: tuple[str, ...]
    change: str
    settle: str
    settle_words: str
    citation: str
    pack: str
    edition: int
    waived_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    code: str
    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NextAction:
    when: str
    title: str
    change: str
    href: str
    button: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """The band about adhesive; ``passed`` only when the gate instant lies after the cautious ready time."""

    headline: str
    sentence: str
    passed: bool


def number_words(number: Number) -> str:
    """``distance 3206.00 mm, accepted from 3186.17 to 3213.83``: rounded for reading, not for deciding."""
    if number.value is None:
        return f"{number.name.replace('_', ' ')}: none"
    parts = [f"{number.name.replace('_', ' ')} {_plain(number.value)} {number.unit}".strip()]
    if number.u:
        parts.append(f"standard uncertainty {_plain(number.u)}")
    lower, upper = _accept(number)
    if lower is not None and upper is not None:
        parts.append(f"accepted from {lower} to {upper}")
    elif lower is not None:
        parts.append(f"accepted from {lower}")
    elif upper is not None:
        parts.append(f"accepted up to {upper}")
    return ", ".join(parts)


def _accept(number: Number) -> tuple[str | None, str | None]:
    guard = number.guard or 0.0
    lower = None if number.lower is None else _plain(number.lower + guard)
    upper = None if number.upper is None else _plain(number.upper - guard)
    return lower, upper


def _plain(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return text.replace("-", "−") if text not in ("-0", "") else "0"


def row(finding: Finding, people: dict[str, str]) -> Row:
    """One finding as a row; ``people`` gives names for ids."""
    outcome = finding.outcome
    opened = outcome.verdict != "met"
    return Row(
        anchor=f"proof-{finding.procedure_id}-{finding.proof_id}",
        title=finding.title,
        line=(outcome.change or outcome.sentence) if opened else outcome.sentence,
        verdict=outcome.verdict,
        sentence=outcome.sentence,
        reasons=", ".join(code.replace("_", " ") for code in outcome.reasons),
        numbers=tuple(number_words(number) for number in outcome.numbers),
        notes=outcome.notes,
        change=outcome.change,
        settle=outcome.settle,
        settle_words=wording.SETTLE_WORDS[outcome.settle],
        citation=finding.citation,
        pack=finding.pack,
        edition=finding.edition,
        waived_by=people.get(finding.waived_by, "somebody") if finding.waived_by else "",
    )


def open_groups(rows: Iterable[Row]) -> tuple[Group, ...]:
    """Open rows in the order of what can still be done."""
    opened = [item for item in rows if item.verdict != "met"]
    groups = (
        Group(code=code, title=title, rows=tuple(item for item in opened if item.settle == code))
        for code, title in wording.SETTLE_GROUPS
    )
    return tuple(group for group in groups if group.rows)


def next_action(groups: tuple[Group, ...]) -> NextAction | None:
    """The first thing that can still be done; None where nothing is open or nothing can be done."""
    for group in groups:
        if group.code == "never":
            return None
        first = group.rows[0]
        button, href = _button(first)
        return NextAction(
            when=wording.NEXT_WHEN[group.code],
            title=first.title,
            change=first.change,
            href=href,
            button=button,
        )
    return None


def _button(first: Row) -> tuple[str, str]:
    text = f"{first.title} {first.change}".lower()
    if "sign" in text and "design" not in text:
        return "Sign", "#sign"
    if "photo" in text or "picture" in text:
        return "Take the photo", "#photo"
    if " log" in text or "scan" in text or "file" in text:
        return "Add the file", "#file"
    return "Show it in the list", f"#{first.anchor}"


def band(assessment: Assessment, tz: str) -> Band | None:
    """What stands in the red band: no driving before a time, no time at all, or the time is past."""
    ready = assessment.ready
    if ready is None:
        return None
    if ready.ready_cautious is None:
        return Band(headline="Do not drive: no ready time", sentence=ready.sentence, passed=False)
    local: datetime = ready.ready_cautious.astimezone(ZoneInfo(tz))
    if ready.passed:
        return Band(headline=f"Adhesive ready since {local:%H:%M}", sentence=ready.sentence, passed=True)
    return Band(headline=f"Do not drive before {local:%H:%M}", sentence=ready.sentence, passed=False)


def gate_of(assessment: Assessment | None) -> str:
    """The gate's code for marks: left_against_hold wins over everything, for ever."""
    if assessment is None:
        return "none"
    return "left_against_hold" if assessment.left_against_hold else assessment.disposition


def gate_sentence(assessment: Assessment) -> str:
    """What stands between this car and release, counted in words."""
    counted = [finding for finding in assessment.findings if finding.counts and finding.verdict != "met"]
    if assessment.left_against_hold:
        return "The car left while the gate said hold."
    if assessment.disposition == "hold":
        left = len(counted)
        undecided = [item for item in assessment.requirements if item.state == "cannot_tell"]
        parts = []
        if left:
            parts.append(f"{left} proof{'s' if left != 1 else ''} stand{'' if left != 1 else 's'} in the way")
        if undecided:
            parts.append(f"{len(undecided)} procedure{'s' if len(undecided) != 1 else ''} cannot be told yet")
        return ("; ".join(parts) or "; ".join(assessment.held_because) or "The record is not complete") + "."
    if assessment.disposition == "release":
        return "Every required proof is met and the signatures are fresh."
    return "Only what a person decided is left open. The verdicts stay as they are."


def rows_of(assessment: Assessment, people: dict[str, str]) -> tuple[Row, ...]:
    return tuple(row(finding, people) for finding in assessment.findings)


def required_of(assessment: Assessment) -> tuple[Requirement, ...]:
    return tuple(item for item in assessment.requirements if item.state != "not_required")


def not_required_words(assessment: Assessment) -> str:
    return ", ".join(item.title for item in assessment.requirements if item.state == "not_required")


def procedure_verdicts(assessment: Assessment) -> tuple[str, ...]:
    """One verdict per procedure that counts, for the record strip."""
    return tuple(item.verdict for item in assessment.procedures if item.state != "not_required")


def required_procedures(assessment: Assessment) -> tuple[ProcedureResult, ...]:
    return tuple(item for item in assessment.procedures if item.state != "not_required")


def signature_words(state: SignOffState, people: dict[str, str]) -> dict[str, object]:
    return {
        "role": wording.ROLE_WORDS[state.role],
        "person": people.get(state.person, "somebody"),
        "covered": state.covered,
        "coverable": state.coverable,
        "fresh": state.fresh,
        "why": "; ".join(state.stale_because),
    }
