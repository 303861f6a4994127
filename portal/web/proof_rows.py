"""One finding as a page shows it: title, one line, numbers with units and accepted zones, who waived it."""

import re
from collections import Counter
from dataclasses import dataclass
from datetime import date
from typing import Final

from portal.web import proof_words, wording
from rules.result import Assessment
from rules.verdict import Finding, Number
from rules.why import reason_words

_UNITS: Final = {"degC": "°C", "percent": "%", "deg": "°"}
_DAY: Final = re.compile(r"\b(\d{4}-\d{2}-\d{2})(?: (\d{2}:\d{2}))?")
_AT_DAY: Final = re.compile(r"\b(\d{2}:\d{2}) on (\d{4}-\d{2}-\d{2})")
_DEGREES: Final = re.compile(r"(?<=\d) degC\b")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One proof; ``line`` is what would change an open verdict, or what a met one rests on."""

    anchor: str
    procedure_id: str
    proof_id: str
    procedure: str
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
    refused: bool
    not_begun: bool
    turn: int

    @property
    def order(self) -> tuple[int, int]:
        """Among open rows: what can be lost first, then the turn in a usual day."""
        return list(wording.SETTLE_WORDS).index(self.settle), self.turn

    @property
    def decided(self) -> bool:
        """A person decided about it: it is open, and the gate takes it out."""
        return bool(self.waived_by) or self.refused


def readable(text: str) -> str:
    """A sentence of the rules for people: ``5 May 2026, 08:50`` and ``°C`` instead of the forms of data."""
    text = _DEGREES.sub(" °C", text)
    text = _AT_DAY.sub(lambda found: f"{found[1]} on {_day(found[2])}", text)
    return _DAY.sub(lambda found: _day(found[1]) + (f", {found[2]}" if found[2] else ""), text)


def _day(text: str) -> str:
    try:
        value = date.fromisoformat(text)
    except ValueError:
        return text
    return f"{value.day} {value:%b %Y}"


def number_words(number: Number) -> str:
    """``distance 3206.00 mm, accepted from 3186.17 to 3213.83``: rounded for reading, not for deciding."""
    name = number.name.replace("_", " ")
    if number.value is None:
        return f"{name}: none"
    unit = _UNITS.get(number.unit, number.unit)
    parts = [f"{name} {with_unit(number.value, unit)}"]
    if number.u:
        parts.append(f"standard uncertainty {with_unit(number.u, unit)}")
    lower, upper = _accept(number)
    if lower is not None and upper is not None:
        parts.append(f"accepted from {lower} to {with_unit(upper, unit)}")
    elif lower is not None:
        parts.append(f"accepted from {with_unit(lower, unit)}")
    elif upper is not None:
        parts.append(f"accepted up to {with_unit(upper, unit)}")
    return ", ".join(parts)


def with_unit(value: float | str, unit: str) -> str:
    """Value and unit; only the sign for plane angles stands at the number."""
    text = value if isinstance(value, str) else plain(value)
    return f"{text}{unit}" if unit == "°" else f"{text} {unit}".strip()


def _accept(number: Number) -> tuple[str | None, str | None]:
    guard = number.guard or 0.0
    lower = None if number.lower is None else plain(number.lower + guard)
    upper = None if number.upper is None else plain(number.upper - guard)
    return lower, upper


def plain(value: float) -> str:
    """At most three decimals, with a true minus sign."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return text.replace("-", "−") if text not in ("-0", "") else "0"


def rows_of(assessment: Assessment, people: dict[str, str]) -> tuple[Row, ...]:
    """Every finding as a row, in the order of the judgement; ``people`` gives names for ids."""
    titles = {item.procedure_id: item.title for item in assessment.procedures}
    refused = {item.procedure_id for item in assessment.procedures if item.refused}
    names = Counter(proof_words.title_of(finding) for finding in assessment.findings)
    rows = []
    for finding in assessment.findings:
        procedure = titles.get(finding.procedure_id, finding.title)
        title = proof_words.title_of(finding)
        # The same name under two procedures would not say which is meant.
        told = title if names[title] == 1 else f"{title}: {procedure[:1].lower()}{procedure[1:]}"
        rows.append(_row(finding, people, told, procedure, finding.procedure_id in refused))
    return tuple(rows)


def _row(finding: Finding, people: dict[str, str], title: str, procedure: str, refused: bool) -> Row:
    outcome = finding.outcome
    not_begun = proof_words.not_begun(finding)
    sentence = readable(outcome.sentence)
    if not_begun:
        sentence = record_part(sentence, finding.citation)
    change = readable(proof_words.to_do(finding))
    return Row(
        anchor=f"proof-{finding.procedure_id}-{finding.proof_id}",
        procedure_id=finding.procedure_id,
        proof_id=finding.proof_id,
        procedure=procedure,
        title=title,
        line=(change or sentence) if outcome.verdict != "met" else record_part(sentence, finding.citation),
        verdict=outcome.verdict,
        sentence=sentence,
        reasons="; ".join(reason_words(code) for code in outcome.reasons),
        numbers=tuple(number_words(number) for number in outcome.numbers),
        notes=tuple(readable(note) for note in outcome.notes),
        change=change,
        settle=outcome.settle,
        settle_words=wording.SETTLE_WORDS[outcome.settle],
        citation=finding.citation,
        pack=finding.pack,
        edition=finding.edition,
        waived_by=people.get(finding.waived_by, "somebody") if finding.waived_by else "",
        refused=not finding.counts and refused,
        not_begun=not_begun,
        turn=proof_words.turn(finding),
    )


def record_part(sentence: str, citation: str) -> str:
    """What the record shows: the sentence after its requirement and citation, or all of it."""
    head, mark, rest = sentence.partition(f" ({citation}). ")
    return wording.sentence_start(rest) if head and mark and rest else sentence
