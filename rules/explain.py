"""Findings and gate in sentences: what still holds a job, and when that can still be settled."""

from collections.abc import Iterable
from typing import Final

from rules.gate import open_findings
from rules.result import Requirement
from rules.verdict import Finding, Settle, Verdict

VERDICT_WORDS: Final[dict[Verdict, str]] = {"met": "met", "not_met": "not met", "not_shown": "not shown"}
SETTLE_WORDS: Final[dict[Settle, str]] = {
    "now": "can still be done now",
    "car_here": "can be done with the car here",
    "desk": "can be done from the desk",
    "never": "cannot be repaired",
}
NOTHING_ASKED: Final = "No pack in force asks anything of this job, so nothing was judged: not shown."
# What can be lost first comes first.
SETTLE_ORDER: Final[tuple[Settle, ...]] = ("now", "car_here", "desk", "never")


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


def paragraph(item: Finding) -> str:
    """The whole explanation: what was required and what the record shows, then what would change it."""
    outcome = item.outcome
    return " ".join(text for text in (outcome.sentence, outcome.change, *outcome.notes) if text)


def plain_name(name: str) -> str:
    """A stored name in plain words; readers say tire where the data say tyre."""
    return name.replace("_", " ").replace("tyre", "tire")
