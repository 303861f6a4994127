"""Chapters 6, 8 and 9: the adhesive, the instruments and their certificates, people and their signatures."""

from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from jobs.packets.manifest import grouped
from jobs.packets.pages import times
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.grounds import ending
from jobs.packets.pages.signers import NO_REVIEW, reviews_own_work
from jobs.packets.pages.words import counted, joined, plain, role_words
from jobs.packets.pages.worked.lines import fig
from rules.display import unit_text
from rules.facts import Batch, Equipment, JobFacts, Place, Qualification
from rules.science.months import add_months

ADHESIVE_CAUTION = (
    "Follow the adhesive maker's data sheet for this vehicle and climate. Do not drive before the ready "
    "time. The computed time uses only what was recorded."
)


def adhesive_view(context: PageContext) -> dict[str, Any] | None:
    """Facts of every setting and the ready time; None where no glass was set."""
    facts, ready = context.facts, context.assessment.ready
    if not facts.glass_sets:
        return None
    products = {g.adhesive.product for g in facts.glass_sets if g.adhesive}
    return {
        "caution": ADHESIVE_CAUTION,
        "settings": [
            {
                "when": times.bracket(context.place, g.set_at),
                "who": context.name(g.set_by),
                "glass": f"{g.glass_maker} {g.glass_part_number}".strip() or "not recorded",
                "adhesive": _batch(g.adhesive),
                "primer": _batch(g.primer),
                "log": context.record_name(g.climate_log_id) if g.climate_log_id else "no climate log",
                "ended": ending(context, g),
            }
            for g in facts.glass_sets
        ],
        "ready": None
        if ready is None
        else {
            "cautious": _ready_text(context, ready.ready_cautious),
            "hopeful": _ready_text(context, ready.ready_hopeful),
            "minutes": ready.minutes,
            "sentence": ready.sentence,
        },
        "sheets": [_sheet(s) for s in facts.adhesive_sheets if s.product in products],
        "logs": [
            {
                "name": context.record_name(log.id),
                "instrument": log.instrument or "no instrument named",
                "readings": len(log.samples),
                "u": f"u {log.u_temp:g} °C, {log.u_rh:g} % RH"
                if log.u_temp is not None and log.u_rh is not None
                else "uncertainty not known",
                "ended": ending(context, log),
            }
            for log in facts.climate_logs
        ],
    }


def _batch(batch: Batch | None) -> str:
    if batch is None:
        return "not recorded"
    expires = times.day_text(batch.expires_on) if batch.expires_on else "no date recorded"
    return f"{batch.product}, batch {batch.batch or 'not recorded'}, expires {expires}"


def _ready_text(context: PageContext, at: Any) -> str:
    return context.at(at) if at is not None else "no time can be given"


def _sheet(sheet: Any) -> dict[str, Any]:
    humidity = sorted({(c.rh_from, c.rh_to) for c in sheet.cells}, key=lambda band: -band[0])
    temperature = sorted({(c.temp_from, c.temp_to) for c in sheet.cells}, key=lambda band: -band[0])
    minutes = {((c.temp_from, c.temp_to), (c.rh_from, c.rh_to)): c.minutes for c in sheet.cells}
    return {
        "name": f"{sheet.product}, {sheet.document} issue {sheet.issue}",
        "columns": [
            f"RH {low:g} % and more" if high is None else f"RH {low:g} to below {high:g} %"
            for low, high in humidity
        ],
        "rows": [
            {
                "head": f"{low:g} to below {high:g} °C",
                "cells": [minutes.get(((low, high), band), "no value") for band in humidity],
            }
            for low, high in temperature
        ],
    }


# ------------------------------------------------------------------ 8


def instruments_view(context: PageContext) -> list[dict[str, Any]]:
    """Each instrument that readings or verdicts of this job name, with its days of use and certificates."""
    used = _days_of_use(context)
    return [
        _instrument(context, item, used.get(item.tag, []))
        for item in context.facts.equipment
        if item.tag in used
    ]


def _uses(facts: JobFacts) -> Iterator[tuple[str | None, Place, datetime]]:
    """Each use of an instrument: its tag, the place, the instant; readings, logs, scans and sessions."""
    for reading in facts.readings:
        yield reading.instrument, facts.place, reading.at.high
    for volts in facts.voltage_logs:
        if volts.samples:
            yield volts.instrument, facts.place, volts.clock.moment(volts.samples[0][0]).high
    for climate in facts.climate_logs:
        if climate.samples:
            yield climate.instrument, facts.place, climate.clock.moment(climate.samples[0][0]).high
    for scan in facts.scans:
        yield scan.device, facts.place, scan.ended.high
    for session in facts.sessions:
        yield session.device, session.place, session.started.high


def _days_of_use(context: PageContext) -> dict[str, list[date]]:
    """Local days of use by tag, in order of time; tags that only a verdict names have none."""
    found: dict[str, set[date]] = {}
    for tag, place, at in _uses(context.facts):
        if tag:
            found.setdefault(tag, set()).add(place.local_date(at))
    for finding in context.assessment.findings:
        for named in finding.outcome.instruments:
            found.setdefault(named, set())
    return {tag: sorted(days) for tag, days in found.items()}


def _instrument(context: PageContext, item: Equipment, days: list[date]) -> dict[str, Any]:
    return {
        "tag": item.tag,
        "what": ", ".join(p for p in (plain(item.cls), item.maker, item.model, item.serial) if p),
        "state": plain(item.state),
        "interval": f"{item.interval_months} months" if item.interval_months else "none",
        "used": ", ".join(times.day_text(day) for day in days) or "named by a verdict only",
        "needs": item.needs_certificate,
        "days": [_standing(item, day) for day in days],
        "certificates": [
            {
                "number": c.number,
                "lab": c.lab_name,
                "on": times.day_text(c.calibrated_on),
                "through": times.day_text(add_months(c.calibrated_on, item.interval_months))
                if item.interval_months
                else "no interval",
                "points": "; ".join(
                    f"{fig(p.nominal)} {unit_text(p.unit)}: error {fig(p.error)}, U "
                    f"{fig(p.expanded_u)} (k = {p.k:g})"
                    for p in c.points
                ),
                "filed": times.short_instant(context.place, c.received_at),
                "ended": ending(context, c),
                "as_found": "no as-found readings" if c.no_as_found else "",
            }
            for c in item.certificates
        ],
        "later": _later(item, days),
        "events": [f"{plain(e.kind)}, {times.bracket(context.place, e.at)}" for e in item.events],
    }


def _later(item: Equipment, days: list[date]) -> str:
    """What is filed of the instrument's state after this job: the next calibration, if one is known."""
    if not item.needs_certificate or not days:
        return ""
    after = [c for c in item.certificates if c.ended_at is None and c.calibrated_on > days[-1]]
    if not after:
        return "State after this job: not known; no later calibration was filed when this was sealed."
    first = min(after, key=lambda c: c.calibrated_on)
    found = "no as-found readings" if first.no_as_found else "as-found readings"
    return (
        f"State after this job: calibrated again {times.day_text(first.calibrated_on)}, certificate "
        f"{first.number}, filed with {found}. What they mean for this job is for a look-back to say."
    )


def _standing(item: Equipment, day: date) -> str:
    """Which certificate covers a local day of use; a statement of dates, no verdict."""
    shown = times.day_text(day)
    if not item.needs_certificate:
        return f"{shown}: no certificate asked for"
    usable = [c for c in item.certificates if c.ended_at is None and c.calibrated_on <= day]
    if not usable:
        return f"{shown}: no certificate on file"
    newest = max(usable, key=lambda c: c.calibrated_on)
    if item.interval_months is None:
        return f"{shown}: certificate {newest.number}, no interval set"
    due = add_months(newest.calibrated_on, item.interval_months)
    words = "valid through" if day <= due else "was valid only through"
    return f"{shown}: certificate {newest.number}, {words} {times.day_text(due)}"


# ------------------------------------------------------------------ 9


def people_view(context: PageContext) -> dict[str, Any]:
    day = context.place.local_date(context.assessment.gate_at)
    return {
        "people": [
            {
                "name": person.name,
                "login": person.login,
                "roles": joined([role_words(role) for role in person.roles]),
                "qualifications": [_qualification(q, day) for q in person.qualifications],
            }
            for person in context.facts.people
        ],
        "day": times.day_text(day),
        "signatures": [_signature(context, item) for item in context.facts.sign_offs],
    }


def _qualification(item: Qualification, day: date) -> str:
    through = f"through {times.day_text(item.expires_on)}" if item.expires_on else "without end"
    text = f"{item.kind}, {item.issuer} {item.number}, from {times.day_text(item.issued_on)} {through}"
    if item.revoked_on is not None:
        text += f", revoked {times.day_text(item.revoked_on)}"
    if item.ended_at is None and item.expires_on is not None and item.expires_on < day:
        text += " (expired on the day of the gate)"
    return text


def _signature(context: PageContext, item: Any) -> dict[str, Any]:
    state = next((s for s in context.assessment.sign_offs if s.sign_off_id == item.id), None)
    return {
        "role": role_words(item.role),
        "who": context.name(item.person),
        "when": times.bracket(context.place, item.at),
        "covered": f"{state.covered} of {counted(state.coverable, 'item', 'items')}"
        if state
        else f"{len(item.covers)} items",
        "root": grouped(item.covers_root),
        "fresh": "" if state is None or state.fresh else "stale: something changed afterwards",
        "because": [context.record_name(i) for i in state.stale_because] if state else [],
        "how": "signed again with a PIN" if item.reauthenticated else "without signing in again",
        "text": item.statement_version,
        "no_review": NO_REVIEW if reviews_own_work(context, item) else "",
    }
