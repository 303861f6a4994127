"""Chapters 2 to 4 and 11: what was required and why, the vehicle and its sensors, the owner, decisions."""

from typing import Any

from jobs.packets.pages import times
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.open_points import told_text
from jobs.packets.pages.words import ended, joined, person_name, plain, role_words, sentence_case
from rules.explain import requirement_table
from rules.facts import JobFacts, Record, Waiver
from rules.operation_names import plain_operation
from rules.vocabulary import plain_sensor


def ending(context: PageContext, record: Record) -> str:
    """``set aside 5 May 2026, 11:20`` for a record that stopped counting, empty for one that counts."""
    if record.ended_at is None:
        return ""
    return f"{plain(record.ended_how or 'ended')} {times.short_instant(context.place, record.ended_at)}"


# ------------------------------------------------------------------ 2


def requirements_view(context: PageContext) -> dict[str, Any]:
    facts = context.facts
    return {
        "table": requirement_table(context.assessment),
        "lines": [
            {
                "no": line.line_no,
                "text": line.text,
                "means": joined([plain_operation(o) for o in line.operations])
                or ("touches nothing" if line.touches_nothing else "not mapped"),
                "ended": ending(context, line),
            }
            for line in facts.estimate_lines
        ],
        "operations": [
            {
                "name": sentence_case(plain_operation(o.operation))
                + (f", {plain(o.zone_detail)}" if o.zone_detail else ""),
                "when": times.bracket(context.place, o.done) if o.done else "no time recorded",
                "who": context.name(o.by),
                "later": o.found_later,
                "ended": ending(context, o),
            }
            for o in facts.operations
        ],
        "closings": [
            {
                "when": times.bracket(context.place, c.at),
                "who": context.name(c.by),
                "ended": ending(context, c),
            }
            for c in facts.closings
        ],
        "lookups": [
            {
                "procedure": item.procedure_id,
                "text": ", ".join(
                    p for p in (item.document_number, f"edition {item.edition}", item.section) if p
                ),
                "when": times.bracket(context.place, item.retrieved_at)
                if item.retrieved_at
                else "no time recorded",
                "who": context.name(item.retrieved_by),
                "ended": ending(context, item),
            }
            for item in facts.lookups
        ],
    }


# ------------------------------------------------------------------ 3


def identity_view(context: PageContext) -> dict[str, Any]:
    facts = context.facts
    vehicle = facts.vehicle
    sensors = dict.fromkeys(way.sensor for way in facts.fitted_ways)
    functions = {item.sensor: item.functions for item in facts.sensor_functions}
    return {
        "rows": _vehicle_rows(context),
        "vin": vehicle.vin,
        "readings": [
            {
                "way": sentence_case(plain(r.way)) + (f", module {r.module}" if r.module else ""),
                "vin": r.vin_read,
                "same": r.vin_read == vehicle.vin,
                "when": times.bracket(context.place, r.at),
                "shown_by": _shown_by(context, r),
                "ended": ending(context, r),
            }
            for r in facts.identity_readings
        ],
        "scans": [
            {
                "stage": sentence_case(plain(scan.stage)),
                "when": times.bracket(context.place, scan.ended),
                "vins": sorted({vin for _, vin in scan.vin_per_module}),
                "modules": len(scan.modules),
                "answered": sum(module.answered for module in scan.modules),
                "codes": _codes(scan),
                "ended": ending(context, scan),
            }
            for scan in facts.scans
        ],
        "sensors": [
            {
                "name": sentence_case(plain_sensor(sensor)),
                "ways": [
                    f"{plain(way.way)}: {way.state}" + (f" ({ending(context, way)})" if way.ended_at else "")
                    for way in facts.fitted_ways
                    if way.sensor == sensor
                ],
                "functions": ", ".join(functions.get(sensor, ())),
            }
            for sensor in sensors
        ],
    }


def _codes(scan: Any) -> str:
    found = [
        f"{module.name} {code.code}" + (f"-{code.ftb}" if code.ftb else "") + f" {code.state}"
        for module in scan.modules
        for code in module.codes
    ]
    silent = [f"{module.name} did not answer" for module in scan.modules if not module.answered]
    return "; ".join((*found, *silent)) or "none"


def _vehicle_rows(context: PageContext) -> list[tuple[str, str]]:
    vehicle = context.facts.vehicle
    placard = [
        f"{value:g} kPa {axle}"
        for value, axle in ((vehicle.placard_front_kpa, "front"), (vehicle.placard_rear_kpa, "rear"))
        if value is not None
    ]
    return [
        ("Make, model, model year", f"{vehicle.make} {vehicle.model} {vehicle.model_year}"),
        ("Market", vehicle.market),
        ("Built on", times.day_text(vehicle.build_date) if vehicle.build_date else "not recorded"),
        ("Placard pressures", joined(placard) or "not recorded"),
        ("Wheelbase", f"{vehicle.wheelbase_mm:g} mm" if vehicle.wheelbase_mm else "not recorded"),
        ("Check digit of the VIN", f"rule for this market: {vehicle.check_digit_rule}"),
    ]


def _shown_by(context: PageContext, record: Record) -> str:
    return ", ".join(text for text in (context.record_name(item) for item in record.evidence) if text)


# ------------------------------------------------------------------ 4


def owner_view(context: PageContext) -> dict[str, Any]:
    order, withheld = context.source.order, context.source.withheld
    rows = []
    for name, value, label in (
        ("customer_name", order.customer_name, "Owner, as on the order"),
        ("customer_contact", order.customer_contact, "Contact"),
        ("payer", order.payer, "Payer"),
        ("claim_number", order.claim_number, "Claim number"),
        ("plate", order.plate, "Plate"),
    ):
        if value:
            rows.append((label, "withheld in this packet" if f"order/{name}" in withheld else value))
    told = [w for w in context.facts.waivers if w.customer_told_at]
    return {
        "rows": rows,
        "told": [
            f"Told of the waiver of {w.procedure_id}, {plain(w.proof_id)}: "
            f"{times.bracket(context.place, w.customer_told_at)}."
            for w in told
            if w.customer_told_at
        ],
        "refusals": [_refusal(context, item) for item in context.facts.refusals],
        "nothing": not rows and not told and not context.facts.refusals,
    }


def _refusal(context: PageContext, item: Any) -> dict[str, Any]:
    decision = next((d for d in context.assessment.decisions if d.decision_id == item.id), None)
    return {
        "procedure": item.procedure_id,
        "by": f"{item.refused_by_name}, {plain(item.relation)}",
        "when": times.bracket(context.place, item.at),
        "systems": ", ".join(item.systems_named),
        "lamp": item.lamp_state,
        "text": item.told_text_version,
        "witness": context.name(item.witness),
        "effect": bool(decision and decision.effect),
        "why_not": decision.why_not if decision else "not weighed",
    }


# ------------------------------------------------------------------ 11


def decisions_view(context: PageContext) -> dict[str, Any]:
    """Waivers that have effect, and late notes which have none; refusals are in chapter 4."""
    states = {decision.decision_id: decision for decision in context.assessment.decisions}
    rows = []
    for waiver in context.facts.waivers:
        state = states.get(waiver.id)
        rows.append(
            {
                "what": f"{waiver.procedure_id}, {plain(waiver.proof_id)}",
                "who": f"{context.name(waiver.granted_by)}, {role_words(waiver.role)}",
                "when": times.bracket(context.place, waiver.at),
                "reason": waiver.reason,
                "instead": ended(waiver.instead),
                "authority": _authority(context, waiver),
                "told": told_text(context, waiver),
                "effect": bool(state and state.effect),
                "why_not": plain(state.why_not.removeprefix("late note: ")) if state else "not weighed",
                "ended": ending(context, waiver),
            }
        )
    return {
        "waivers": [row for row in rows if row["effect"]],
        "late": [row for row in rows if not row["effect"]],
        "explanations": [
            {
                "about": f"{item.module} {item.code}" + (f"-{item.ftb}" if item.ftb else ""),
                "text": item.text,
                "who": f"{_name(context.facts, item.by)}, {role_words(item.role)}",
                "when": times.bracket(context.place, item.at),
            }
            for item in context.facts.explanations
        ],
    }


def _authority(context: PageContext, waiver: Waiver) -> str:
    """Who may waive this proof by the text that asks for it, and where that text stands."""
    found = [
        f
        for f in context.assessment.findings
        if (f.procedure_id, f.proof_id) == (waiver.procedure_id, waiver.proof_id)
    ]
    if not found:
        return "This job asks for no such proof."
    pack = f"{found[0].pack} {found[0].edition}"
    if not found[0].waivable:
        return f"By {pack} it cannot be waived."
    who = f"the {role_words(found[0].waive_role)}" if found[0].waive_role else "a manager"
    return f"By {pack} {who} may waive it."


def _name(facts: JobFacts, login: str) -> str:
    return person_name(facts, login)
