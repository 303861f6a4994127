"""Page 1, the statement of record, in its fixed order; and the rest of its thick box on page 2."""

from typing import Any, Final

from jobs.packets.manifest import grouped
from jobs.packets.pages import times
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.done import done_text
from jobs.packets.pages.open_points import Point, open_points
from jobs.packets.pages.seal_words import seal_line
from jobs.packets.pages.signers import NO_REVIEW, reviews_own_work
from jobs.packets.pages.words import (
    GATE_WORDS,
    SIGNATURE_HEADS,
    counted,
    joined,
    plain,
    role_words,
    sentence_case,
)
from rules.explain import VERDICT_WORDS
from rules.facts import Moment, Place, SignOff, live
from rules.operation_names import plain_operation
from rules.result import ProcedureResult, Requirement
from rules.vocabulary import plain_sensor

LIMITS_TEXT: Final = (
    "This packet records what was shown to the portal, when, and by whom, and what follows from it by the "
    "stated computations. It does not certify that the vehicle or any of its systems is safe or works in "
    "every situation. It does not replace the vehicle maker's service information, inspection by a licensed "
    "person, or local law. Each verdict is about one requirement at 95 %; a packet of many verdicts carries "
    "no overall probability."
)
CHECK_TEXT: Final = (
    "Open check.html of its bundle in a browser, or run check.pyz with Python, without a network, and give "
    "it this file. It recomputes every hash and verdict from the data enclosed and must show these sixteen "
    "groups."
)
# So many open points are told on page 1; the others follow on page 2 and page 1 says how many.
POINTS_ON_PAGE_1: Final = 6
# With more procedures than this each further one takes the room of two points.
ROWS_WITH_ALL_POINTS: Final = 5
BOX_ORDER: Final = ("not_shown", "waived", "not_met", "refused")


def front_view(context: PageContext) -> dict[str, Any]:
    """Everything page 1 shows, as plain data for the template."""
    citations = _Citations()
    rows = [_row(context, requirement, citations) for requirement in _shown_rows(context)]
    compact = len(rows) > 3 or len(open_points(context)) > 2
    points = open_points(context, short=compact)
    room = max(1, POINTS_ON_PAGE_1 - 2 * max(0, len(rows) - ROWS_WITH_ALL_POINTS))
    return {
        "vehicle": _vehicle(context),
        "shop": _shop(context),
        "dates": _dates(context),
        "touched": _touched(context),
        "rows": rows,
        "not_required": _not_required(context),
        "citations": citations.lines,
        "packs": [
            f"{name} {edition} {grouped(sha256[:8])}" for name, edition, sha256 in context.assessment.packs
        ],
        "compact": compact,
        "box": _box(context, points[:room], points[room:]),
        "more": len(points[room:]),
        "rest": _box(context, points[room:], []) if points[room:] else None,
        "signatures": _signatures(context),
        "root_lines": [grouped(context.root[:32]), grouped(context.root[32:])],
        "check": CHECK_TEXT,
        "seal": seal_line(context.source.signer),
        "limits": LIMITS_TEXT,
    }


class _Citations:
    """Numbers each cited text once."""

    def __init__(self) -> None:
        self.texts: list[str] = []

    def number(self, text: str) -> int:
        if text not in self.texts:
            self.texts.append(text)
        return self.texts.index(text) + 1

    @property
    def lines(self) -> list[str]:
        return [f"[{place}] {sentence_case(text)}." for place, text in enumerate(self.texts, start=1)]


def _shown_rows(context: PageContext) -> list[Requirement]:
    return [item for item in context.assessment.requirements if item.state != "not_required"]


def _row(context: PageContext, requirement: Requirement, citations: _Citations) -> dict[str, Any]:
    result = context.results.get(requirement.procedure_id)
    verdict = "not_shown" if result is None else result.verdict
    mark = citations.number(requirement.citation + _looked_up(context, requirement.procedure_id))
    return {
        "verdict": verdict,
        "word": VERDICT_WORDS[verdict],
        "title": requirement.title,
        "text": f"{requirement.procedure_id}, {requirement.pack} {requirement.edition}",
        "because": _because(requirement),
        "cited": f"[{mark}]",
        "done": done_text(context, requirement),
        "count": _count(context, requirement, result),
        "decision": _decision(result),
    }


def _looked_up(context: PageContext, procedure_id: str) -> str:
    """When and by whom the text of a procedure was looked up last; empty where it was not."""
    lookups = [item for item in live(context.facts.lookups) if item.procedure_id == procedure_id]
    if not lookups:
        return ""
    last = max(lookups, key=lambda item: item.received_at)
    when = (
        times.short_instant(context.place, last.retrieved_at.high)
        if last.retrieved_at
        else "at no time recorded"
    )
    return f", looked up {when}, {context.name(last.retrieved_by)}"


def _because(requirement: Requirement) -> str:
    """The facts that made the trigger true; the trigger's own words where it names none."""
    wanted = "unknown" if requirement.state == "cannot_tell" else "true"
    for because in requirement.because:
        if because.truth != wanted:
            continue
        facts = [part.fact for part in because.parts if part.truth == wanted and part.fact]
        if not facts and all(part.depth == 0 for part in because.parts):
            return "Every job."
        text = sentence_case("; ".join(_telling(facts))) or because.plain
        return f"{text}." if len(text) <= 110 else because.plain
    return "Not settled." if requirement.state == "cannot_tell" else ""


# How the determination writes that an operation on the list made a part of the rule true.
ON_THE_LIST: Final = "on the list: "


def _telling(facts: list[str]) -> list[str]:
    """The operations that did it, where some did; otherwise every fact. Fitted sensors stand in chapter 3."""
    done = [fact.removeprefix(ON_THE_LIST) for fact in facts if fact.startswith(ON_THE_LIST)]
    return list(dict.fromkeys(done or facts))


def _count(context: PageContext, requirement: Requirement, result: ProcedureResult | None) -> str:
    if requirement.state == "cannot_tell":
        return "cannot tell whether required"
    if result is None:
        return ""
    verdicts = [f.verdict for f in context.assessment.findings if f.procedure_id == requirement.procedure_id]
    if not verdicts:
        return ""
    parts = [f"{verdicts.count('met')} of {len(verdicts)} met"]
    for verdict in ("not_met", "not_shown"):
        if verdicts.count(verdict):
            parts.append(f"{verdicts.count(verdict)} {VERDICT_WORDS[verdict]}")
    return ", ".join(parts)


def _decision(result: ProcedureResult | None) -> str:
    return "refused" if result is not None and result.refused else ""


def _vehicle(context: PageContext) -> dict[str, Any]:
    vehicle = context.facts.vehicle
    ways = [plain(reading.way) for reading in live(context.facts.identity_readings)]
    read = {reading.vin_read for reading in live(context.facts.identity_readings)}
    agree = "agree" if read <= {vehicle.vin} and len(ways) > 1 else "do not all agree"
    lines = [f"{sentence_case(joined(list(dict.fromkeys(ways))))}: {agree}." if len(ways) > 1 else ""]
    lines.append(_odometer(context))
    plate = _given(context, "order/plate", context.source.order.plate, "Plate")
    return {
        "name": f"{vehicle.make} {vehicle.model} {vehicle.model_year}",
        "vin": vehicle.vin,
        "text": " ".join(line for line in (*lines, plate) if line),
    }


def _odometer(context: PageContext) -> str:
    """Odometer as typed: the first reading of the visit and the one at delivery."""
    readings = [r for r in live(context.facts.readings) if r.quantity == "odometer"]
    if not readings:
        return "Odometer: not recorded."
    ordered = sorted(readings, key=lambda reading: reading.at.low)
    first, last = ordered[0], ordered[-1]
    text = f"Odometer in {first.typed_value} {first.typed_unit}"
    return f"{text}." if last is first else f"{text}, last {last.typed_value} {last.typed_unit}."


def _given(context: PageContext, path: str, value: str, label: str) -> str:
    """The value where this packet gives it, ``withheld`` where it does not, empty where none is recorded."""
    if not value:
        return ""
    return f"{label}: withheld." if path in context.source.withheld else f"{label}: {value}."


def _shop(context: PageContext) -> dict[str, Any]:
    order, place = context.source.order, context.place
    bays = list(dict.fromkeys(s.bay for s in context.facts.sessions if s.bay))
    parts = [
        _given(context, "order/customer_name", order.customer_name, "Owner"),
        f"Payer: {order.payer}." if order.payer else "",
        f"Claim {order.claim_number}." if order.claim_number else "",
    ]
    return {
        "name": f"{place.name} ({place.code})" + (f", bay {', '.join(bays)}" if bays else ""),
        "position": f"{_degrees(place.lat)}, {_degrees(place.lon)}",
        "text": " ".join(part for part in parts if part),
    }


def _degrees(value: float) -> str:
    return f"{value:.4f}".replace("-", "−")


def _dates(context: PageContext) -> dict[str, Any]:
    facts, place = context.facts, context.place
    done = [o.done for o in live(facts.operations) if o.done]
    started = [o.started or o.done for o in live(facts.operations) if o.started or o.done]
    ended = [s.ended for s in facts.sessions if s.ended]
    work = "not recorded"
    if started:
        first = min(moment.low for moment in started if moment is not None)
        last = (
            max(moment.high for moment in (*done, *ended) if moment is not None) if (done or ended) else None
        )
        work = times.span(place, first, last)
    delivered = facts.delivery
    out = "not recorded when this was sealed" if delivered is None else _when(place, delivered.at)
    return {
        "zone": times.zone_text(place, facts.opened.high),
        "into": _when(place, facts.opened),
        "work": work,
        "out": out,
    }


def _when(place: Place, moment: Moment) -> str:
    return times.short_instant(place, moment.high)


def _touched(context: PageContext) -> str:
    facts, place = context.facts, context.place
    operations = [
        f"{plain_operation(o.operation)}"
        + (f" {times.clock_text(place, o.done.high)}" if o.done else ", no time recorded")
        for o in live(facts.operations)
    ]
    lines = live(facts.estimate_lines)
    unmapped = [line for line in lines if not line.operations and not line.touches_nothing]
    parts = [f"{sentence_case('; '.join(operations))}." if operations else "No operation is recorded."]
    if lines:
        mapped = "none unmapped" if not unmapped else f"{len(unmapped)} not mapped to an operation"
        parts.append(f"{sentence_case(counted(len(lines), 'estimate line', 'estimate lines'))}, {mapped}.")
    closed = live(facts.closings)
    if closed:
        last = max(closed, key=lambda closing: closing.at.high)
        parts.append(f"List closed {times.clock_text(place, last.at.high)} by {context.name(last.by)}.")
    else:
        parts.append("The list of operations was not closed.")
    fitted = sorted({way.sensor for way in live(facts.fitted_ways) if way.state == "yes"})
    parts.append(f"Recorded as fitted: {joined([plain_sensor(s) for s in fitted])}." if fitted else "")
    return " ".join(part for part in parts if part)


def _not_required(context: PageContext) -> str:
    names = [item.title for item in context.assessment.requirements if item.state == "not_required"]
    if not names:
        return "Nothing was looked at and found not required."
    return f"{'; '.join(names)}. All their triggers are false (chapter 2)."


def _box(context: PageContext, points: list[Point], later: list[Point]) -> dict[str, Any]:
    """The four lines with their points; ``more`` marks a line whose points all stand on page 2."""
    lines = [
        {
            "kind": kind,
            "word": kind.replace("_", " "),
            "points": [point for point in points if point.kind == kind],
            "more": any(point.kind == kind for point in later),
            "note": _without_effect(context, kind),
        }
        for kind in BOX_ORDER
    ]
    disposition = context.assessment.disposition
    return {
        "lines": lines,
        "whole": VERDICT_WORDS[context.assessment.verdict],
        "gate": GATE_WORDS[disposition],
        "left": context.assessment.left_against_hold,
    }


def _without_effect(context: PageContext, kind: str) -> str:
    """That a waiver or refusal was signed and changes nothing: not hidden, not taken for one that counts."""
    told = {"waived": ("waiver", "chapter 11"), "refused": ("refusal", "chapter 4")}.get(kind)
    if told is None:
        return ""
    name, where = told
    count = sum(d.kind == name and not d.effect for d in context.assessment.decisions)
    return f"{counted(count, name, name + 's')} without effect, see {where}." if count else ""


def _signatures(context: PageContext) -> list[dict[str, Any]]:
    """The signatures that were given, newest of each kind last, with what each covers."""
    states = {state.sign_off_id: state for state in context.assessment.sign_offs}
    rows = []
    for sign_off in sorted(context.facts.sign_offs, key=lambda item: item.at.high):
        state = states.get(sign_off.id)
        covered = (
            f"{state.covered} of {counted(state.coverable, 'item', 'items')}" if state else "does not count"
        )
        role = _signer_role(context, sign_off.person, sign_off.role)
        rows.append(
            {
                "head": SIGNATURE_HEADS.get(sign_off.role, sign_off.role),
                "text": f"{context.name(sign_off.person)}, {role}, "
                f"{times.short_instant(context.place, sign_off.at.high)}"
                + _left_text(context, sign_off)
                + (f"; {NO_REVIEW}" if reviews_own_work(context, sign_off) else ""),
                "covered": covered,
                "root": grouped(sign_off.covers_root[:16]),
                "stale": bool(state and not state.fresh),
            }
        )
    if not any(sign_off.role == "release" for sign_off in context.facts.sign_offs):
        rows.append(_no_release(context))
    return rows


def _no_release(context: PageContext) -> dict[str, Any]:
    """Nobody let the car go; whether it left all the same stands here and nowhere smaller."""
    delivered = context.facts.delivery
    text = "nobody has released the car"
    if delivered is not None:
        against = ", against hold" if context.assessment.left_against_hold else ""
        text += f"; it left {times.short_instant(context.place, delivered.at.high)}{against}"
    return {"head": SIGNATURE_HEADS["release"], "text": text, "covered": "", "root": "", "stale": False}


def _signer_role(context: PageContext, login: str, role: str) -> str:
    if role != "release":
        return role_words(role)
    person = next((p for p in context.facts.people if p.login == login), None)
    return joined([role_words(held) for held in person.roles]) if person else "release"


def _left_text(context: PageContext, sign_off: SignOff) -> str:
    """When the car left, beside the release: after it, before it, or at a time that leaves it open."""
    delivered = context.facts.delivery
    if sign_off.role != "release" or delivered is None:
        return ""
    left = f"; left {times.short_instant(context.place, delivered.at.high)}"
    if context.assessment.left_against_hold:
        return f"{left}, against hold"
    if delivered.at.high < sign_off.at.low:
        return f"{left}, before this release"
    return f"{left}, after release"
