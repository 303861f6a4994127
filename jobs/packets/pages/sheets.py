"""Chapter 13: one sheet per computed proof: inputs, formulas by name, sums line by line, result."""

from typing import Any

from jobs.packets.pages.context import PageContext
from jobs.packets.pages.open_points import proof_name
from jobs.packets.pages.procedures import numbers_view
from jobs.packets.pages.words import plain, sentence_case
from jobs.packets.pages.worked.decision import decided, rules_of
from jobs.packets.pages.worked.desk import Desk, Paper
from jobs.packets.pages.worked.inputs import budgets_of, inputs_of
from jobs.packets.pages.worked.library import COMPUTATIONS
from jobs.packets.pages.worked.lines import Worked
from jobs.packets.pages.worked.when import freshness
from rules.packs.model import Argument
from rules.quantities import Limit
from rules.rounding import to_six
from rules.verdict import Finding


def sheets_view(context: PageContext) -> list[dict[str, Any]]:
    """A sheet for each proof that rests on a computation or shows numbers, in the order of the proofs."""
    desk = Desk(context)
    findings = [f for f in context.assessment.findings if f.check in COMPUTATIONS or f.outcome.numbers]
    return [
        _sheet(desk.paper(finding), f"13.{place}", len(findings))
        for place, finding in enumerate(findings, start=1)
    ]


def _sheet(paper: Paper, number: str, count: int) -> dict[str, Any]:
    finding, context = paper.finding, paper.context
    title, work = COMPUTATIONS.get(finding.check, ("", None))
    worked = Worked() if work is None else work(paper)
    fresh = freshness(paper)
    told = context.explained(finding)
    inputs = inputs_of(paper)
    decisions = decided(paper)
    return {
        "number": number,
        "count": count,
        "title": title or proof_name(finding),
        "proof": proof_name(finding),
        "procedure": finding.procedure_id,
        "chapter": context.proof_number(finding),
        "anchor": context.proof_anchor(finding),
        "citation": told.citation,
        "check": finding.check,
        "engine": context.assessment.engine_version,
        "pack": f"{finding.pack} {finding.edition}",
        "arguments": [
            (sentence_case(plain(key)), _argument(value))
            for key, value in (sorted(paper.proof.arguments.items()) if paper.proof else [])
        ],
        "inputs": inputs,
        "has_u": any(row.u for row in inputs),
        "budgets": budgets_of(paper),
        "rules": (*worked.rules, *rules_of(paper)),
        "tables": worked.tables,
        "sums": worked.sums,
        "all_agree": all(line.agrees for line in worked.sums),
        "after": (*worked.after, *((fresh,) if fresh else ())),
        "words": [words for words in worked.words if words],
        "decided": decisions,
        "has_p": any(row["p_in"] for row in decisions),
        "other_numbers": _others(finding),
        "verdict": told.verdict,
        "word": told.verdict_words,
        "told": told,
    }


def _others(finding: Finding) -> list[dict[str, Any]]:
    """Numbers without a limit: intermediate results of the engine, in print."""
    others: list[dict[str, Any]] = numbers_view(finding.outcome.numbers)["others"]
    return others


def _argument(value: Argument) -> str:
    """An argument of the pack as it is written there; bare numbers in the program's unit."""
    if isinstance(value, Limit):
        return value.text
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ", ".join(plain(i) if isinstance(i, str) else f"{plain(i[0])}: {plain(i[1])}" for i in value)
    return f"{to_six(value):g}" if isinstance(value, int | float) else plain(value)
