"""Requirements and findings in words: the one text for screen, packet and API; what still holds a job."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from rules.display import NumberText, number_text
from rules.gate import open_findings
from rules.result import Assessment, Because, Requirement
from rules.verdict import MET, Finding, RequirementState, Settle, Truth, Verdict
from rules.vocabulary import plain_operation, plain_sensor
from rules.why import reason_words, why_of

VERDICT_WORDS: Final[dict[Verdict, str]] = {"met": "met", "not_met": "not met", "not_shown": "not shown"}
SETTLE_WORDS: Final[dict[Settle, str]] = {
    "now": "can still be done now",
    "car_here": "can be done with the car here",
    "desk": "can be done from the desk",
    "never": "cannot be repaired",
}
STATEMENT_WORDS: Final = {
    "required": "The recorded facts call for the procedures below.",
    "nothing_required": "Nothing was required: every trigger that was looked at is false.",
    "cannot_tell": "The recorded facts do not settle what was required.",
}
NOTHING_ASKED: Final = "No pack in force asks anything of this job, so nothing was judged: not shown."
# What can be lost first comes first.
SETTLE_ORDER: Final[tuple[Settle, ...]] = ("now", "car_here", "desk", "never")
_DAY: Final = re.compile(r"\b(\d{4}-\d{2}-\d{2})(?: (\d{2}:\d{2}))?")
_AT_DAY: Final = re.compile(r"\b(\d{2}:\d{2}) on (\d{4}-\d{2}-\d{2})")
_DEGREES: Final = re.compile(r"(?<=\d) degC\b")
_EVIDENCE: Final = re.compile(r"\bevidence (\d+)\b")
_MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


# ------------------------------------------------------------------ one finding


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """One verdict explained: what was required, what the record shows, why, and what would change it.

    Attributes:
        required, citation: what was required and where that stands.
        shows: what the record shows, in sentences with their numbers.
        numbers: every result with unit, uncertainty, limit and accept zone.
        rests_on: the records behind it, by name; ``evidence``: the job's own numbers of their files.
        why: why that leads to the verdict.
        change: what would change it; empty when met.
        settle: when that can still be done; ``can_be_done`` says it in a sentence, with the reason.
    """

    procedure_id: str
    proof_id: str
    check: str
    verdict: Verdict
    verdict_words: str
    required: str
    citation: str
    pack: str
    edition: int
    shows: str
    numbers: tuple[NumberText, ...]
    rests_on: tuple[str, ...]
    evidence: tuple[int, ...]
    instruments: tuple[str, ...]
    reasons: tuple[tuple[str, str], ...]
    why: str
    change: str
    settle: Settle
    can_be_done: str
    notes: tuple[str, ...]

    @property
    def text(self) -> str:
        """The whole explanation as one paragraph, in the order of the parts."""
        required = f"{self.required} ({self.citation})." if self.required else ""
        rests = f"By {_evidence_words(self.evidence)}." if self.evidence else ""
        parts = (required, self.shows, rests, self.why, self.change, self.can_be_done)
        return " ".join(text for text in parts if text)


def explanation(item: Finding, names: Mapping[str, str]) -> Explanation:
    """One finding explained; ``names`` are those of the records it may rest on (``Assessment.names``).

    A finding of an engine that did not tell the parts apart yet has its whole sentence under ``shows``.
    """
    outcome = item.outcome
    rests_on = tuple(dict.fromkeys(names.get(record, "") for record in outcome.evidence))
    rests_on = _once(rests_on)
    is_open = outcome.verdict != MET
    return Explanation(
        procedure_id=item.procedure_id,
        proof_id=item.proof_id,
        check=item.check,
        verdict=outcome.verdict,
        verdict_words=VERDICT_WORDS[outcome.verdict],
        required=readable(outcome.required),
        citation=item.citation,
        pack=item.pack,
        edition=item.edition,
        shows=readable(outcome.shows or ("" if outcome.required else outcome.sentence)),
        numbers=tuple(number_text(number) for number in outcome.numbers),
        rests_on=rests_on,
        evidence=_evidence_numbers((*rests_on, outcome.shows)),
        instruments=outcome.instruments,
        reasons=tuple((code, reason_words(code)) for code in outcome.reasons),
        why=readable(outcome.why) or why_of(outcome.reasons),
        change=readable(outcome.change) if is_open else "",
        settle=outcome.settle,
        can_be_done=_can_be_done(outcome.settle, outcome.settle_why) if is_open else "",
        notes=tuple(readable(note) for note in outcome.notes),
    )


def explanations(assessment: Assessment) -> tuple[Explanation, ...]:
    """Every finding of a judgement explained, in its order."""
    names = dict(assessment.names)
    return tuple(explanation(item, names) for item in assessment.findings)


def _can_be_done(settle: Settle, because: str) -> str:
    return f"This {SETTLE_WORDS[settle]}." if not because else f"{because} This {SETTLE_WORDS[settle]}."


def _once(names: tuple[str, ...]) -> tuple[str, ...]:
    """Without what is empty, and without a file that another name has behind it already."""
    return tuple(
        name
        for name in names
        if name and not any(re.search(rf"[(,] ?{re.escape(name)}[,)]", other) for other in names)
    )


def _evidence_numbers(texts: Iterable[str]) -> tuple[int, ...]:
    return tuple(sorted({int(found) for text in texts for found in _EVIDENCE.findall(text.lower())}))


def _evidence_words(numbers: tuple[int, ...]) -> str:
    shown = [str(number) for number in numbers]
    return "evidence " + (" and ".join((", ".join(shown[:-1]), shown[-1])) if len(shown) > 1 else shown[0])


def readable(text: str) -> str:
    """A sentence of the checks for people: ``5 May 2026, 08:50``, ``°C`` and tires, not the forms of data."""
    text = _DEGREES.sub(" °C", text).replace("tyre", "tire").replace("Tyre", "Tire")
    text = _AT_DAY.sub(lambda found: f"{found[1]} on {_day(found[2])}", text)
    return _DAY.sub(lambda found: _day(found[1]) + (f", {found[2]}" if found[2] else ""), text)


def _day(text: str) -> str:
    try:
        value = date.fromisoformat(text)
    except ValueError:
        return text
    return f"{value.day} {_MONTHS[value.month - 1]} {value.year}"


# ------------------------------------------------------------------ requirements


@dataclass(frozen=True, slots=True, kw_only=True)
class PartText:
    """One part of a trigger: its text, its truth and the fact behind it; ``depth`` of its nesting."""

    text: str
    truth: Truth
    fact: str
    depth: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TriggerText:
    trigger_id: str
    plain: str
    truth: Truth
    citation: str
    pack: str
    edition: int
    parts: tuple[PartText, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RequirementText:
    """One procedure that could have been called for, with every trigger that was considered for it."""

    procedure_id: str
    title: str
    state: RequirementState
    sentence: str
    reasons: tuple[tuple[str, str], ...]
    sensors: tuple[str, ...]
    citation: str
    pack: str
    edition: int
    triggers: tuple[TriggerText, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NotNeededText:
    """``Forward camera: cowl replaced: nothing is needed``, and where the maker says so."""

    sensor: str
    operation: str
    plain: str
    citation: str
    pack: str
    edition: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RequirementTable:
    """What was required and why; for nothing required every trigger stands in it, all false."""

    statement: str
    sentence: str
    requirements: tuple[RequirementText, ...]
    not_needed: tuple[NotNeededText, ...]


def requirement_table(assessment: Assessment) -> RequirementTable:
    """The requirement determination of one judgement in words."""
    return RequirementTable(
        statement=assessment.statement,
        sentence=STATEMENT_WORDS.get(assessment.statement, ""),
        requirements=tuple(requirement_text(item) for item in assessment.requirements),
        not_needed=tuple(
            NotNeededText(
                sensor=_capital(plain_sensor(item.sensor)),
                operation=plain_operation(item.operation),
                plain=item.plain,
                citation=item.citation,
                pack=item.pack,
                edition=item.edition,
            )
            for item in assessment.not_needed
        ),
    )


def requirement_text(item: Requirement) -> RequirementText:
    return RequirementText(
        procedure_id=item.procedure_id,
        title=item.title,
        state=item.state,
        sentence=item.sentence,
        reasons=tuple((code, reason_words(code)) for code in item.reasons),
        sensors=tuple(plain_sensor(sensor) for sensor in item.sensors),
        citation=item.citation,
        pack=item.pack,
        edition=item.edition,
        triggers=tuple(_trigger_text(because) for because in item.because),
    )


def _trigger_text(because: Because) -> TriggerText:
    """The trigger with its parts; a group of parts is true or false by what stands below it."""
    return TriggerText(
        trigger_id=because.trigger_id,
        plain=because.plain,
        truth=because.truth,
        citation=because.citation,
        pack=because.pack,
        edition=because.edition,
        parts=tuple(
            PartText(
                text=part.text,
                truth=part.truth,
                fact=readable(part.fact) or _FACT_OF_GROUP.get(part.text, "by the parts below it"),
                depth=part.depth,
            )
            for part in because.parts
        ),
    )


_FACT_OF_GROUP: Final = {"on every job": "this is a job"}


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


# ------------------------------------------------------------------ contradicting times


@dataclass(frozen=True, slots=True, kw_only=True)
class ContradictionText:
    """Claims about times that cannot all be true.

    ``sentence`` is all of it; ``lead`` the same without the claims, for use before their list.
    """

    sentence: str
    lead: str
    claims: tuple[str, ...]


def contradiction_texts(assessment: Assessment) -> tuple[ContradictionText, ...]:
    """Every contradiction of times on record, as it is printed."""
    return tuple(
        ContradictionText(
            sentence=readable(item.sentence),
            lead=readable(
                item.sentence.replace(f": {'; '.join(claim.words for claim in item.claims)}.", ".")
            ),
            claims=tuple(readable(claim.words) for claim in item.claims),
        )
        for item in assessment.contradictions
    )


# ------------------------------------------------------------------ what holds the job


def held_because(findings: Iterable[Finding], requirements: Iterable[Requirement]) -> tuple[str, ...]:
    """In words, one line each: what holds the job; first what is unknown, then by when it can be settled."""
    judged = tuple(findings)
    lines = [item.sentence for item in requirements if item.state == "cannot_tell"]
    if not judged:
        lines.append(NOTHING_ASKED)
    still_open = sorted(open_findings(judged), key=lambda item: SETTLE_ORDER.index(item.outcome.settle))
    return (*lines, *(line_of(item) for item in still_open))


def line_of(item: Finding) -> str:
    """One finding as a line: where, verdict, reasons, when it can be settled, what would change it."""
    outcome = item.outcome
    head = f"{item.title}, {plain_name(item.proof_id)}: {VERDICT_WORDS[outcome.verdict]}"
    if outcome.verdict == "met":
        return f"{head}."
    reasons = ", ".join(plain_name(code) for code in outcome.reasons)
    line = f"{head} ({reasons}); {SETTLE_WORDS[outcome.settle]}."
    return f"{line} {outcome.change}" if outcome.change else line


def plain_name(name: str) -> str:
    """A stored name in plain words; readers say tire where the data say tyre."""
    return name.replace("_", " ").replace("tyre", "tire")
