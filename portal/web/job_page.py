"""What a page about one car is made of, from its last judgement."""

from typing import Any

from jobs.access import Job
from jobs.selectors import cars
from portal.web import shaping, wording
from rules.result import Assessment

_COLUMNS = ("met", "not_met", "not_shown")
_RUN_WORDS = {
    "waiting": "Waiting to be judged",
    "running": "Judging again",
    "done": "On line, judged",
    "dead": "Judging failed; the record is kept",
}


def page_of(assessment: Assessment | None, people: dict[str, str], tz: str) -> dict[str, Any]:
    """Everything the templates of one car show; with no judgement yet nothing is said to be met."""
    if assessment is None:
        return {
            "judged": False,
            "gate": "none",
            "band": None,
            "groups": (),
            "gate_sentence": "Not judged yet.",
        }
    rows = shaping.rows_of(assessment, people)
    counts = {verdict: [item for item in rows if item.verdict == verdict] for verdict in _COLUMNS}
    groups = shaping.open_groups(rows)
    met = counts["met"]
    return {
        "judged": True,
        "gate": shaping.gate_of(assessment),
        "gate_sentence": shaping.gate_sentence(assessment),
        "open_gate": assessment.disposition.startswith("release") and not assessment.left_against_hold,
        "open_count": len([f for f in assessment.findings if f.counts and f.verdict != "met"]),
        "band": shaping.band(assessment, tz),
        "next": shaping.next_action(groups),
        "required": shaping.required_of(assessment),
        "not_required": shaping.not_required_words(assessment),
        "groups": groups,
        "pack_up": next((group.rows for group in groups if group.code == "now"), ()),
        "met_rows": met,
        "met_summary": _summary([item.title for item in met]),
        "total": len(rows),
        "met_count": len(met),
        "not_met_count": len(counts["not_met"]),
        "not_shown_count": len(counts["not_shown"]),
        "columns": [{"verdict": verdict, "rows": counts[verdict]} for verdict in _COLUMNS],
        "signatures": [shaping.signature_words(item, people) for item in assessment.sign_offs],
        "decisions": [_decision(item, people) for item in assessment.decisions],
        "packs": ", ".join(f"{name} {edition}" for name, edition, _ in assessment.packs),
        "cautions": _cautions(assessment),
        "procedures": [
            {
                "title": item.title,
                "verdict": item.verdict,
                "rows": [row for row in rows if row.anchor.startswith(f"proof-{item.procedure_id}-")],
            }
            for item in shaping.required_procedures(assessment)
        ],
        "box": _box(rows, assessment, people),
    }


def _summary(titles: list[str]) -> str:
    shown = ", ".join(titles[:3])
    more = len(titles) - 3
    return f"{shown} and {more} more" if more > 0 else shown


def _decision(item: Any, people: dict[str, str]) -> dict[str, Any]:
    kind = "waived" if item.kind == "waiver" else "refused"
    who = people.get(item.person, item.person)
    what = f"{item.procedure_id} {item.proof_id}".strip()
    return {
        "mark": kind,
        "words": f"{what}: {kind} by {who}, {item.role.replace('_', ' ')}",
        "effect": item.effect,
        "why_not": item.why_not,
    }


def _box(
    rows: tuple[shaping.Row, ...], assessment: Assessment, people: dict[str, str]
) -> list[dict[str, str]]:
    """The four lines of the box on page 1: always all four."""
    lines: list[dict[str, str]] = []
    for verdict in ("not_met", "not_shown"):
        found = [f"{row.title}. {row.line}" for row in rows if row.verdict == verdict]
        lines.append({"code": verdict, "text": " ".join(found) or "Nothing."})
    for kind, code in (("waiver", "waived"), ("refusal", "refused")):
        decided = [_decision(item, people)["words"] for item in assessment.decisions if item.kind == kind]
        lines.append({"code": code, "text": "; ".join(decided) or "Nothing."})
    return lines


def _cautions(assessment: Assessment) -> list[str]:
    required = shaping.required_of(assessment)
    ids = tuple(item.procedure_id for item in required)
    sensors = tuple(sensor for item in required for sensor in item.sensors)
    kinds = tuple(_kind(procedure_id) for procedure_id in ids)
    return wording.cautions_for(ids, kinds, sensors)


def _kind(procedure_id: str) -> str:
    """Still or on the road, by the words of our own procedure ids; both where both are named."""
    road, still = "ROAD" in procedure_id, "STILL" in procedure_id
    if road and still:
        return "static_then_dynamic"
    return "dynamic" if road else "static" if still else ""


def judging_words(job: Job) -> str:
    run = cars.newest_run(job)
    return "Nothing to judge yet" if run is None else _RUN_WORDS[run.state]


def state_mark(job: Job) -> str:
    """Changes whenever what the page shows may have changed."""
    run = cars.newest_run(job)
    return f"{job.current_assessment_id}:{job.state}:{run.state if run else ''}"
