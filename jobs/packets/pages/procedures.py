"""Chapter 5: each procedure with its verdict, its sessions (failed ones too), and its proofs with numbers."""

from typing import Any

from jobs.packets.pages import times
from jobs.packets.pages.charts import Chart, chart_for
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.numbers import bar_of
from jobs.packets.pages.open_points import proof_name
from jobs.packets.pages.tapes import is_of_a_tape, tape_rows
from jobs.packets.pages.words import STATE_WORDS, plain, role_words, sentence_case
from rules.display import accept_text, limit_text, number_name, place_of, with_unit
from rules.explain import VERDICT_WORDS
from rules.result import AttemptResult, ProcedureResult
from rules.verdict import Finding, Number
from rules.why import reason_words


def procedures_view(context: PageContext) -> tuple[list[dict[str, Any]], list[Chart]]:
    """One view per procedure in printed order, and the charts they refer to."""
    charts: list[Chart] = []
    views = [
        _procedure(context, number, result, charts)
        for number, result in enumerate(context.assessment.procedures, start=1)
    ]
    return views, charts


def _procedure(
    context: PageContext, number: int, result: ProcedureResult, charts: list[Chart]
) -> dict[str, Any]:
    findings = [f for f in context.assessment.findings if f.procedure_id == result.procedure_id]
    proofs = []
    for place, finding in enumerate(findings, start=1):
        chart = chart_for(context, finding, f"chart-{number}-{place}")
        if chart is not None:
            charts.append(chart)
        proofs.append(proof_view(context, finding, f"5.{number}.{place}", chart))
    edition = context.edition(result.pack, result.edition)
    procedure = edition.procedure(result.procedure_id) if edition else None
    return {
        "number": f"5.{number}",
        "title": result.title,
        "id": result.procedure_id,
        "state": STATE_WORDS[result.state],
        "verdict": result.verdict,
        "word": VERDICT_WORDS[result.verdict],
        "accepted": result.accepted,
        "refused": result.refused,
        "pack": f"{result.pack} {result.edition}",
        "citation": procedure.cite.text if procedure else "",
        "kind": procedure.kind if procedure else "",
        "proofs": proofs,
        "attempts": [_attempt(context, attempt) for attempt in result.attempts],
        "no_session": result.governing_session is None and bool(procedure and procedure.kind),
    }


def proof_view(
    context: PageContext, finding: Finding, number: str, chart: Chart | None = None
) -> dict[str, Any]:
    """One proof as the chapter prints it, in the words of its explanation."""
    outcome, told = finding.outcome, context.explained(finding)
    return {
        "number": number,
        "anchor": context.proof_anchor(finding),
        "title": proof_name(finding),
        "id": finding.proof_id,
        "check": finding.check,
        "pack": f"{finding.pack} {finding.edition}",
        "reasons": [{"code": code, "words": words} for code, words in told.reasons],
        "not_judged": "not_judged" in outcome.reasons,
        "waived_by": context.name(finding.waived_by) if finding.waived_by else "",
        "waivable": _waivable(finding),
        "counts": finding.counts,
        "chart": chart,
        "verdict": told.verdict,
        "word": told.verdict_words,
        "told": told,
        "citation": told.citation,
        **numbers_view(outcome.numbers),
    }


def numbers_view(numbers: tuple[Number, ...]) -> dict[str, Any]:
    """Numbers with a limit as a table with drawings, distances of a target as another, the rest as text."""
    limited = [number for number in numbers if limit_text(number)]
    return {
        "table": [number_view(number) for number in limited],
        "tapes": tape_rows(numbers),
        "others": [_other(item) for item in numbers if not limit_text(item) and not is_of_a_tape(item)],
        "has_bars": any(bar_of(number) for number in limited),
        "has_u": any(number.u is not None for number in limited),
        "has_limits": any(accept_text(number) or number.p_in is not None for number in limited),
    }


def _other(number: Number) -> dict[str, Any]:
    """A number without a limit; one that only says which marks were used, in words."""
    if number.name == "measured_from_front":
        marks = "the marks of the front axle" if number.value else "the marks of the rear axle"
        return {**number_view(number), "name": "Distance measured from", "value": marks, "u": ""}
    return number_view(number)


def _waivable(finding: Finding) -> str:
    if not finding.waivable:
        return "cannot be waived"
    return f"may be waived by the {role_words(finding.waive_role)}" if finding.waive_role else "may be waived"


def number_view(number: Number) -> dict[str, Any]:
    """One number with unit, uncertainty, limit, accept zone, probability and drawing."""
    place = place_of(number)
    return {
        "name": number_name(number),
        "value": with_unit(number),
        "u": "" if number.u is None else f"{number.u:.4g}",
        "limit": limit_text(number),
        "accept": accept_text(number),
        "p_in": "" if number.p_in is None else f"{number.p_in:.4f}",
        "bar": bar_of(number),
        "verdict": place or "",
        "word": VERDICT_WORDS[place] if place else "",
    }


def _attempt(context: PageContext, attempt: AttemptResult) -> dict[str, Any]:
    session = context.sessions.get(attempt.session_id)
    view: dict[str, Any] = {
        "number": attempt.attempt,
        "governs": attempt.governs,
        "result": plain(attempt.result),
        "verdict": attempt.verdict,
        "word": VERDICT_WORDS[attempt.verdict],
        "edition": attempt.edition,
        "findings": [] if attempt.governs else [_short(context, finding) for finding in attempt.findings],
    }
    if session is None:
        return view
    ended = session.ended.high if session.ended else None
    view |= {
        "when": times.span(session.place, session.started.high, ended),
        "zone": times.zone_text(session.place, session.started.high),
        "raw": times.raw_clock(session.place, session.started),
        "who": context.name(session.performed_by),
        "observer": context.name(session.observer) if session.observer else "",
        "bay": session.bay or "",
        "device": " ".join(part for part in (session.device or "", session.device_software) if part),
        "text": session.result_text,
        "places": [f"{plain(place)}: {plain(result)}" for place, result in session.results],
        "key": _key_text(context, session.key_events, session.place),
    }
    return view


def _key_text(context: PageContext, events: Any, place: Any) -> str:
    return ", ".join(f"{event.state} {times.clock_text(place, event.at.high, True)}" for event in events)


def _short(context: PageContext, finding: Finding) -> dict[str, Any]:
    """A proof of an attempt that counts for nothing: reason, what the record shows, what that rests on."""
    outcome, told = finding.outcome, context.explained(finding)
    reasons = "; ".join(reason_words(code) for code in outcome.reasons)
    return {
        "title": proof_name(finding),
        "verdict": outcome.verdict,
        "word": VERDICT_WORDS[outcome.verdict],
        "text": f"{sentence_case(reasons)}. {told.shows}" if reasons else told.shows,
        "evidence": told.evidence,
        "notes": list(told.notes),
    }
