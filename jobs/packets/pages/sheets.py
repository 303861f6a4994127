"""Chapter 13: one sheet per computed proof: inputs, the rule in words and symbols, numbers, result."""

from typing import Any, Final

from jobs.packets.pages import times
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.procedures import proof_view
from jobs.packets.pages.words import plain, sentence_case
from rules.facts import ClimateLog, DriveLog, IdentityReading, Reading, Record, Scan, VoltageLog
from rules.packs.model import Argument
from rules.quantities import Limit

# How each computed check decides, in the order of its steps. Standards are named where a step follows one.
RULES: Final[dict[str, tuple[str, ...]]] = {
    "identity_agrees": (
        "check digit: sum of value x weight over 17 places, mod 11 (49 CFR 565.15); 10 is written X",
        "met: all readings equal after taking out spaces and capitals, and each one asked for is there",
    ),
    "tyre_pressures": (
        "guard g = z u (JCGM 106:2012)",
        "met: L + g <= p <= U - g for each tyre; across an axle |left - right| with u x 1.414",
        "not met: p < L - g or p > U + g; otherwise not shown",
    ),
    "voltage_log": (
        "straight line between samples, none across a step longer than the longest gap",
        "not met: a stretch below L - g (above U + g) lasts longer than the allowance",
        "not shown: a stretch below L + g (above U - g) lasts longer, or a gap is left",
    ),
    "drive_log": (
        "a step counts when: inside the session, key on, step <= longest gap, both speeds within the limits,",
        "  speed change and turn rate within theirs, sun high enough; else the first that fails names it",
        "runs of counting steps shorter than the shortest counted are dropped; T = sum of the runs kept",
        "second pass with every gap counting: T high; met: T >= needed and longest >= needed",
    ),
    "odometer_agrees": (
        "true distance lies in (O2 - O1 - r, O2 - O1 + r), r the resolution of the display",
        "track lies in [S (1 - p), S (1 + p) + gap seconds x 130 km/h]; met: the two overlap",
    ),
    "adhesive_ready": (
        "m(t) = minutes of the data sheet for the lowest temperature and humidity in [set, t], minus 1.645 u",
        "ready = earliest t with t >= set + m(t); met: no road movement before it",
    ),
    "codes_compare": (
        "key of a code: module, code, failure type; remaining: before and after; new: after, not before",
        "a module that answered before and not after is silent: it may hold a code nobody saw",
    ),
    "no_codes": ("met: no code of the module is present or intermittent, save those the pack allows",),
    "equipment_valid": (
        "due = calibrated on + interval in months, cut to the end of the month; valid through that local day",
    ),
    "in_order": (
        "each event is an interval of true time; in order: the earlier ends before the later begins",
    ),
    "within": ("longest and shortest difference of two intervals against the limit, limits included",),
}


def sheets_view(context: PageContext) -> list[dict[str, Any]]:
    """A sheet for each proof that rests on a computation or shows numbers."""
    views: list[dict[str, Any]] = []
    for finding in context.assessment.findings:
        rule = RULES.get(finding.check, ())
        if not rule and not finding.outcome.numbers:
            continue
        number = f"13.{len(views) + 1}"
        proof = context.proofs.get((finding.pack, finding.edition, finding.procedure_id, finding.proof_id))
        views.append(
            {
                **proof_view(context, finding, number),
                "procedure": finding.procedure_id,
                "engine": context.assessment.engine_version,
                "rule": rule,
                "arguments": [
                    (sentence_case(plain(key)), _argument(value))
                    for key, value in (sorted(proof.arguments.items()) if proof else [])
                ],
                "inputs": [row for item in finding.outcome.evidence if (row := _input(context, item))],
            }
        )
    return views


def _argument(value: Argument) -> str:
    """An argument of the pack as it is written there; bare numbers in the program's unit."""
    if isinstance(value, Limit):
        return value.text
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ", ".join(plain(i) if isinstance(i, str) else f"{plain(i[0])}: {plain(i[1])}" for i in value)
    return f"{value:g}" if isinstance(value, int | float) else plain(value)


def _input(context: PageContext, record_id: str) -> tuple[str, str, str] | None:
    """Name, value as recorded, and time of one record that the verdict rests on."""
    found = context.records.get(record_id)
    if found is None:
        return None
    record = found[1]
    value = _input_value(record)
    if not value:
        return None
    return sentence_case(context.record_name(record_id)), value, _input_time(context, record)


def _input_value(record: Record) -> str:
    if isinstance(record, Reading):
        typed = f"{record.typed_value} {record.typed_unit}"
        own = f"{record.value:g} {record.unit}"
        text = typed if record.typed_unit == record.unit else f"{own} (typed {typed})"
        return text + (f", {record.instrument}" if record.instrument else "")
    if isinstance(record, IdentityReading):
        return record.vin_read
    if isinstance(record, Scan):
        return f"{sum(m.answered for m in record.modules)} of {len(record.modules)} modules answered"
    if isinstance(record, DriveLog):
        return f"{len(record.fixes)} positions"
    if isinstance(record, VoltageLog | ClimateLog):
        return f"{len(record.samples)} samples" + (f", {record.instrument}" if record.instrument else "")
    return ""


def _input_time(context: PageContext, record: Record) -> str:
    if isinstance(record, Reading | IdentityReading):
        return times.bracket(context.place, record.at)
    if isinstance(record, Scan):
        return times.bracket(context.place, record.ended)
    if isinstance(record, DriveLog) and record.fixes:
        return times.bracket(context.place, record.clock.moment(record.fixes[0].t))
    if isinstance(record, VoltageLog | ClimateLog) and record.samples:
        return times.bracket(context.place, record.clock.moment(record.samples[0][0]))
    return ""
