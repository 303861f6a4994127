"""What the last judgement says of one job, in the names of the scenario."""

import json
from collections.abc import Mapping
from typing import Any

from jobs.models import Assessment, Job
from jobs.rehearsal.stage import JobOnStage


def job_report(on_stage: JobOnStage, told: Mapping[str, str]) -> dict[str, Any]:
    """The judgement as plain data: requirements, procedures, proofs, attempts, sign-offs, decisions, gate.

    Args:
        told: id of a row → its name in the scenario.
    """
    job = Job.objects.select_related("current_assessment").get(pk=on_stage.job.pk)
    kept: Assessment | None = job.current_assessment
    if kept is None:
        return {"number": job.number, "state": job.state, "judged": False}
    judged = json.loads(kept.result)
    return {
        "number": job.number,
        "judged": True,
        "state": job.state,
        "verdict": judged["verdict"],
        "disposition": judged["disposition"],
        "left_against_hold": bool(judged["left_against_hold"] or job.left_against_hold),
        "statement": judged["statement"],
        "held_because": judged["held_because"],
        "contradictions": [item["sentence"] for item in judged["contradictions"]],
        "ready": _ready(judged["ready"]),
        "requirements": {
            item["procedure_id"]: {"state": item["state"], "reasons": item["reasons"]}
            for item in judged["requirements"]
        },
        "procedures": {
            item["procedure_id"]: {
                "state": item["state"],
                "verdict": item["verdict"],
                "accepted": item["accepted"],
                "refused": item["refused"],
                "governing": _name(item["governing_session"], told),
                "edition": item["edition"],
            }
            for item in judged["procedures"]
        },
        "proofs": _proofs(judged["findings"]),
        "attempts": {
            _name(attempt["session_id"], told): {
                "attempt": attempt["attempt"],
                "governs": attempt["governs"],
                "result": attempt["result"],
                "verdict": attempt["verdict"],
                "edition": attempt["edition"],
                "proofs": _proofs(attempt["findings"]),
            }
            for item in judged["procedures"]
            for attempt in item["attempts"]
        },
        "sign_offs": {
            _name(item["sign_off_id"], told): {"fresh": item["fresh"], "stale_because": item["stale_because"]}
            for item in judged["sign_offs"]
        },
        "decisions": {
            _name(item["decision_id"], told): {"effect": item["effect"], "why_not": item["why_not"]}
            for item in judged["decisions"]
        },
        "packs": [f"{pack} {edition}" for pack, edition, _ in judged["packs"]],
        "gate_at": judged["gate_at"],
        "engine": judged["engine_version"],
    }


def _name(row_id: str | None, told: Mapping[str, str]) -> str | None:
    """``first`` for the row of ``sessions.first``; the id itself where the scenario has no name for it."""
    if row_id is None:
        return None
    return told[row_id].partition(".")[2] if row_id in told else row_id


def _ready(judged: Mapping[str, Any] | None) -> dict[str, Any] | None:
    if judged is None:
        return None
    return {key: judged[key] for key in ("ready_cautious", "ready_hopeful", "minutes", "sentence")}


def _proofs(findings: list[dict[str, Any]]) -> dict[str, Any]:
    return {f"{item['procedure_id']}/{item['proof_id']}": _proof(item) for item in findings}


def _proof(finding: Mapping[str, Any]) -> dict[str, Any]:
    outcome = finding["outcome"]
    return {
        "check": finding["check"],
        "verdict": outcome["verdict"],
        "reasons": outcome["reasons"],
        "numbers": {
            item["name"]: {
                key: item.get(key) for key in ("value", "unit", "u", "guard", "lower", "upper", "p_in")
            }
            for item in outcome["numbers"]
        },
        "sentence": outcome["sentence"],
        "change": outcome["change"],
        "settle": outcome["settle"],
        "notes": outcome["notes"],
        "instruments": outcome["instruments"],
        "waived": finding["waived_by"] is not None,
        "counts": finding["counts"],
        "edition": finding["edition"],
    }
