"""One finding as a page shows it: title, one line, its explanation in four parts, who waived it."""

from collections import Counter
from dataclasses import dataclass, replace

from portal.web import proof_words, wording
from rules.explain import SETTLE_ORDER, SETTLE_WORDS, Explanation, contradiction_texts, explanations
from rules.result import Assessment
from rules.verdict import Finding


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
    told: Explanation
    change: str
    settle: str
    settle_words: str
    waived_by: str
    refused: bool
    not_begun: bool
    turn: int

    @property
    def order(self) -> tuple[int, int]:
        """Among open rows: what can be lost first, then the turn in a usual day."""
        return SETTLE_ORDER.index(self.told.settle), self.turn

    @property
    def decided(self) -> bool:
        """A person decided about it: it is open, and the gate takes it out."""
        return bool(self.waived_by) or self.refused


def plain(value: float) -> str:
    """At most three decimals, with a true minus sign."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return text.replace("-", "−") if text not in ("-0", "") else "0"


def rows_of(assessment: Assessment, people: dict[str, str]) -> tuple[Row, ...]:
    """Every finding as a row, in the order of the judgement; ``people`` gives names for ids."""
    titles = {item.procedure_id: item.title for item in assessment.procedures}
    refused = {item.procedure_id for item in assessment.procedures if item.refused}
    names = Counter(proof_words.title_of(finding) for finding in assessment.findings)
    contrary = [item.sentence for item in contradiction_texts(assessment)]
    rows = []
    for finding, told in zip(assessment.findings, explanations(assessment), strict=True):
        procedure = titles.get(finding.procedure_id, finding.title)
        title = proof_words.title_of(finding)
        # The same name under two procedures would not say which is meant.
        name = title if names[title] == 1 else f"{title}: {procedure[:1].lower()}{procedure[1:]}"
        once = replace(told, shows=_once(told.shows, contrary))
        rows.append(_row(finding, once, people, (name, procedure), finding.procedure_id in refused))
    return tuple(rows)


def _once(shows: str, contrary: list[str]) -> str:
    """A contradiction is told in full at one place of the page; each proof that it opens says so."""
    for sentence in contrary:
        shows = shows.replace(sentence, "It rests on times that cannot all be true, told above.")
    return shows


def _row(
    finding: Finding, told: Explanation, people: dict[str, str], names: tuple[str, str], refused: bool
) -> Row:
    title, procedure = names
    shows = record_part(told.shows, finding.citation)
    not_begun = proof_words.not_begun(finding)
    required = f"{told.required} ({told.citation}). " if told.required and not not_begun else ""
    return Row(
        anchor=f"proof-{finding.procedure_id}-{finding.proof_id}",
        procedure_id=finding.procedure_id,
        proof_id=finding.proof_id,
        procedure=procedure,
        title=title,
        line=shows if finding.verdict == "met" else told.change or shows,
        verdict=finding.verdict,
        sentence=f"{required}{told.shows}",
        told=told,
        change=told.change,
        settle=told.settle,
        settle_words=SETTLE_WORDS[told.settle],
        waived_by=people.get(finding.waived_by, "somebody") if finding.waived_by else "",
        refused=not finding.counts and refused,
        not_begun=not_begun,
        turn=proof_words.turn(finding),
    )


def record_part(sentence: str, citation: str) -> str:
    """What the record shows: the sentence after its requirement and citation, or all of it."""
    head, mark, rest = sentence.partition(f" ({citation}). ")
    return wording.sentence_start(rest) if head and mark and rest else sentence
