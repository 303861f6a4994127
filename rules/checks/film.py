"""film_build: the mean thickness of paint over a radar, and no single point surely above."""

import math

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, listed, plain
from rules.checks.one_reading import Named, judge_value, known_u, u_of_mean, value_words
from rules.checks.sentences import begin
from rules.checks.sentences import plain as plain_name
from rules.checks.several import numbers_asked
from rules.checks.taken import take
from rules.checks.values import limit_argument, own_place
from rules.conformity import decide_limit
from rules.facts import Reading, live
from rules.quantities import Limit
from rules.rounding import to_six
from rules.verdict import MET, NOT_MET, Number, Outcome


def film_build(context: CheckContext) -> Outcome:
    """Arguments ``points`` (how many at least), ``zone``, ``limit`` (um).

    The mean is judged with u = sqrt(mean of u^2 / n + u_cert^2): repetition is averaged away, what the
    certificate leaves open is not. Of single points none may be surely outside. Reason codes: missing,
    evidence_stale, conflict, unreadable, uncertainty_unknown, outside_limit, undecided,
    instrument_not_capable.
    """
    points = context.proof.arguments.get("points")
    if not isinstance(points, int) or isinstance(points, bool) or points < 1:
        raise TypeError(f"points of proof {context.proof.id} is no number of points")
    limit = limit_argument(context, "limit")
    zone = plain_name(str(context.proof.arguments.get("zone", "")))
    draft = begin(context, f"Film build over the {zone}, mean of {points} points, must be {limit.text}")
    readings = []
    numbered = numbers_asked(context, "film_build", points)
    for number in numbered:
        asked = own_place(context, "film_build", f"film build over the {zone}, point {number}", number)
        reading = take(context, draft, asked)
        if reading is not None and _in_unit(draft, reading, limit, number):
            readings.append(reading)
            _judge_point(context, draft, reading, number, limit)
    if len(readings) == len(numbered):
        _judge_mean(context, draft, readings, limit)
    return draft.outcome()


def _in_unit(draft: Draft, reading: Reading, limit: Limit, number: int) -> bool:
    if reading.unit == limit.unit and math.isfinite(reading.value) and reading.value >= 0.0:
        return True
    draft.not_shown(
        "unreadable", f"Point {number} is no thickness in {limit.unit}.", f"Read point {number} again.", "now"
    )
    return False


def _judge_point(context: CheckContext, draft: Draft, reading: Reading, number: int, limit: Limit) -> None:
    u = known_u(reading)
    if u is None or not math.isfinite(u):
        return  # the mean says that the uncertainty is unknown
    decision = decide_limit(reading.value, u, limit, context.z)
    draft.number(f"point_{number}", reading.value, limit.unit)
    if decision.verdict != NOT_MET:
        return
    named = Named(name=f"point_{number}", words=f"Point {number}", digits=0)
    draft.numbers[-1] = Number(
        name=named.name,
        value=to_six(reading.value),
        unit=limit.unit,
        u=to_six(u),
        guard=decision.guard,
        lower=limit.lower,
        upper=limit.upper,
        p_in=decision.p_in,
    )
    shown = value_words(named, reading.value, limit, decision)
    draft.not_met(
        "outside_limit",
        f"Point {number} shows {shown}, standard uncertainty {plain(u, 1)} {limit.unit}.",
        "Bring the film build within the limit, or fit a part that is not refinished.",
        "car_here",
        "One point is outside by more than its uncertainty.",
    )


def _judge_mean(context: CheckContext, draft: Draft, readings: list[Reading], limit: Limit) -> None:
    count = len(readings)
    mean = to_six(math.fsum(item.value for item in readings) / count)
    u = _u_of_mean(context, readings, limit.unit)
    named = Named(name="mean", words=f"Mean of {count} points")
    change = "Bring the film build within the limit, or fit a part that is not refinished."
    decision = judge_value(draft, named, (mean, u), limit, context.z, change)
    if draft.tally.verdict == MET:
        values = listed(plain(item.value, 0) for item in readings)
        shown = value_words(named, mean, limit, decision)
        draft.say(f"The {count} points show {values} {limit.unit}, mean {shown}.")


def _u_of_mean(context: CheckContext, readings: list[Reading], unit: str) -> float | None:
    """Repetition is averaged away; certificate and correction are one amount for all points."""
    if any(known_u(item) is None for item in readings):
        return None
    repeated = u_of_mean(readings, [item.u or 0.0 for item in readings])
    corrected = max(item.u_added for item in readings)
    certified = certificate_u(context, {item.instrument for item in readings}, unit)
    return math.sqrt(math.fsum((repeated * repeated, corrected * corrected, certified * certified)))


def certificate_u(context: CheckContext, tags: set[str | None], unit: str) -> float:
    """The largest standard uncertainty that the gauges' certificates state; 0 where they state none."""
    stated = [
        point.expanded_u / point.k
        for gauge in context.facts.equipment
        if gauge.tag in tags
        for certificate in live(gauge.certificates)
        if certificate.confirmed
        for point in certificate.points
        if point.unit == unit and point.k > 0
    ]
    return max(stated, default=0.0)
