"""light_level: each of five points within the limits, and the brightest not too far from the darkest."""

import math
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, listed, plain
from rules.checks.one_reading import Named
from rules.checks.sentences import begin
from rules.checks.several import numbers_asked
from rules.checks.taken import Wanted, take
from rules.checks.values import judge_reading, limit_argument
from rules.conformity import decide_limit
from rules.facts import Reading
from rules.quantities import Limit
from rules.rounding import to_six
from rules.verdict import MET, NOT_MET, Number, Outcome

# Middle and corners of the target's field (common practice, no source).
LEAST_POINTS: Final = 5
_CHANGE: Final = "Even out the light: close doors, shade or switch lamps, and read all points again."


def light_level(context: CheckContext) -> Outcome:
    """Arguments ``limit`` (lx) for each of five points and ``brightest_over_darkest`` (times).

    Readings light_level of the session's own bay, at the proof's id, numbered from 1. The ratio is compared
    plainly: one meter reads both. Reason codes: missing, evidence_stale, conflict, unreadable,
    uncertainty_unknown, outside_limit, undecided, instrument_not_capable.
    """
    limit = limit_argument(context, "limit")
    ratio = context.proof.arguments.get("brightest_over_darkest")
    even = f", the brightest {ratio.text} the darkest" if isinstance(ratio, Limit) else ""
    draft = begin(context, f"Light at each of {LEAST_POINTS} points must be {limit.text}{even}")
    readings = []
    numbered = numbers_asked(context, "light_level", LEAST_POINTS)
    for number in numbered:
        asked = Wanted(
            quantity="light_level",
            places=(f"{context.proof.id}_{number}",),
            words=f"light at point {number}",
            own_bay=True,
        )
        reading = take(context, draft, asked)
        if reading is None:
            continue
        readings.append(reading)
        judge_reading(
            context, draft, reading, Named(name=f"point_{number}", words=f"Light at point {number}"), limit
        )
    if isinstance(ratio, Limit) and len(readings) > 1:
        _judge_ratio(draft, readings, ratio, is_whole=len(readings) == len(numbered))
    if draft.tally.verdict == MET:
        values = listed(plain(item.value, 0) for item in readings)
        draft.say(f"The {len(readings)} points show {values} {limit.unit}.")
    return draft.outcome()


def _judge_ratio(draft: Draft, readings: list[Reading], limit: Limit, *, is_whole: bool) -> None:
    """Of some of the points only: further ones can make it larger, never smaller."""
    values = [item.value for item in readings]
    if not all(math.isfinite(value) for value in values) or min(values) <= 0:
        draft.not_shown(
            "unreadable", "The darkest point shows no light, so nothing can be compared.", _CHANGE, "now"
        )
        return
    ratio = to_six(max(values) / min(values))
    decision = decide_limit(ratio, 0.0, limit, 0.0)
    draft.numbers.append(
        Number(
            name="brightest_over_darkest",
            value=ratio,
            unit=limit.unit,
            u=0.0,
            guard=0.0,
            lower=limit.lower,
            upper=limit.upper,
            p_in=decision.p_in,
        )
    )
    if decision.verdict == NOT_MET and (is_whole or (limit.upper is not None and ratio > limit.upper)):
        shown = plain(ratio, 2, (limit.lower, limit.upper))
        draft.not_met(
            "outside_limit",
            f"The brightest point has {shown} times the light of the darkest.",
            _CHANGE,
            "now",
        )
