"""What a page about one car is made of, from its last judgement."""

from typing import Any

from jobs.selectors import cars
from portal.web import proof_rows, shaping, wording
from rules.advice.target import target_advice
from rules.explain import contradiction_texts, requirement_table
from rules.result import Assessment, Decision

_COLUMNS = ("met", "not_met", "not_shown")
_RUN_WORDS = {
    "waiting": "Waits to be judged",
    "running": "Being judged",
    "done": "On line, judged",
    "dead": "Judging failed, record kept",
}


def page_of(
    assessment: Assessment | None, people: dict[str, str], tz: str, judging: str = "done"
) -> dict[str, Any]:
    """Everything the templates of one car show; with no judgement yet nothing is said to be met.

    Args:
        people: names by id and login.
        tz: the shop's zone.
        judging: state of the newest run.
    """
    if assessment is None:
        return {"judged": False, "gate": "none", "gate_sentence": "Not judged yet."}
    rows = proof_rows.rows_of(assessment, people)
    table = requirement_table(assessment)
    in_turn = sorted(rows, key=lambda item: item.order if item.verdict != "met" else (0, 0))
    by_verdict = {verdict: [item for item in in_turn if item.verdict == verdict] for verdict in _COLUMNS}
    groups = shaping.open_groups(rows)
    met = by_verdict["met"]
    return {
        "judged": True,
        "gate": shaping.gate_of(assessment),
        "gate_sentence": shaping.gate_sentence(assessment, rows),
        "open_gate": assessment.disposition.startswith("release") and not assessment.left_against_hold,
        "open_rows": [item for item in in_turn if item.verdict != "met" and not item.decided],
        "undecided": [item for item in assessment.requirements if item.state == "cannot_tell"],
        "band": shaping.band(assessment, tz),
        "next": shaping.next_action(groups),
        "required": [item for item in table.requirements if item.state != "not_required"],
        "table": table,
        "ruled_out": [item for item in table.requirements if item.state == "not_required"],
        "contradictions": contradiction_texts(assessment),
        "targets": _targets(assessment),
        "not_required": shaping.not_required_words(assessment),
        "groups": groups,
        "pack_up": shaping.pack_up(assessment, groups, judging),
        "met_rows": met,
        "met_summary": _summary([item.title for item in met]),
        "titles": {(row.procedure_id, row.proof_id): row.title for row in rows},
        "photos_asked": shaping.photos_asked(assessment),
        "total": len(rows),
        "counts": [{"verdict": verdict, "count": len(by_verdict[verdict])} for verdict in _COLUMNS],
        "columns": [
            {
                "verdict": verdict,
                "count": len(by_verdict[verdict]),
                "rows": shaping.column(by_verdict[verdict]),
            }
            for verdict in _COLUMNS
        ],
        "signatures": [shaping.signature_words(item, people) for item in assessment.sign_offs],
        "decisions": [_decision(item, people, rows) for item in assessment.decisions],
        "packs": ", ".join(f"{name} {edition}" for name, edition, _ in assessment.packs),
        "cautions": _cautions(assessment),
        "adhesive": wording.ADHESIVE,
        "procedures": [
            {
                "title": item.title,
                "verdict": item.verdict,
                "rows": [row for row in rows if row.procedure_id == item.procedure_id],
            }
            for item in shaping.required_procedures(assessment)
        ],
        "box": _box(rows, assessment, people),
    }


def _targets(assessment: Assessment) -> list[dict[str, Any]]:
    titles = {item.procedure_id: item.title for item in assessment.procedures}
    return [
        {"procedure": titles.get(item.procedure_id, item.procedure_id), "advice": item}
        for item in target_advice(assessment)
    ]


def _summary(titles: list[str]) -> str:
    shown = ", ".join(titles[:3])
    more = len(titles) - 3
    return f"{shown} and {more} more" if more > 0 else shown


def _decision(item: Decision, people: dict[str, str], rows: tuple[proof_rows.Row, ...]) -> dict[str, Any]:
    kind = "waived" if item.kind == "waiver" else "refused"
    who = people.get(item.person, item.person)
    key = (item.procedure_id, item.proof_id)
    row = next((row for row in rows if (row.procedure_id, row.proof_id) == key), None)
    what = item.procedure_id if row is None else f"{row.title} ({item.procedure_id})"
    role = f", {item.role.replace('_', ' ')}" if item.role else ""
    return {
        "mark": kind,
        "words": f"{what}: {kind} by {who}{role}",
        "at": item.at,
        "effect": item.effect,
        "why_not": item.why_not,
    }


def _box(
    rows: tuple[proof_rows.Row, ...], assessment: Assessment, people: dict[str, str]
) -> list[dict[str, Any]]:
    """The four lines of the box on page 1: always all four."""
    lines: list[dict[str, Any]] = []
    for verdict in ("not_met", "not_shown"):
        found = [f"{row.title}: {row.sentence}" for row in rows if row.verdict == verdict]
        lines.append({"code": verdict, "items": found})
    for kind, code in (("waiver", "waived"), ("refusal", "refused")):
        decided = [
            _decision(item, people, rows)["words"] for item in assessment.decisions if item.kind == kind
        ]
        lines.append({"code": code, "items": decided})
    return lines


def _cautions(assessment: Assessment) -> list[str]:
    return wording.cautions_for(
        tuple(item.kind for item in shaping.required_procedures(assessment)),
        tuple(sensor for item in shaping.required_of(assessment) for sensor in item.sensors),
        bonded_glass=any(item.check == "adhesive_ready" for item in assessment.findings),
    )


def judging_words(judging: cars.Judging) -> dict[str, str]:
    """State of the newest judgement, its words, and the mark by which a page sees a change."""
    words = _RUN_WORDS.get(judging.state, "Nothing to judge yet")
    return {"state": judging.state, "words": words, "mark": judging.mark}
