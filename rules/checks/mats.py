"""mat_positions: how far each mat lies from its drawn place, and how far it is turned."""

import math
from dataclasses import replace

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, listed
from rules.checks.one_reading import Named, judge_value, known_u, value_words
from rules.checks.sentences import begin
from rules.checks.taken import take
from rules.checks.values import judge_reading, limit_argument, own_place
from rules.facts import Reading
from rules.packs.signed import as_judged
from rules.quantities import Limit
from rules.rounding import to_six
from rules.verdict import MET, Outcome


def mat_positions(context: CheckContext) -> Outcome:
    """Arguments ``mats`` (how many), ``each_centre`` (mm) and ``each_turn`` (deg).

    Readings mat_dx, mat_dy and mat_turn at the proof's id with the number of the mat. The centre is judged by
    its distance from the drawn point, one-sided. Reason codes: missing, evidence_stale, conflict, unreadable,
    uncertainty_unknown, outside_limit, undecided.
    """
    count = context.proof.arguments.get("mats")
    if not isinstance(count, int) or isinstance(count, bool) or count < 1:
        raise TypeError(f"mats of proof {context.proof.id} is no number of mats")
    centre = _one_sided(limit_argument(context, "each_centre"))
    turn = as_judged(context.proof, "each_turn", context.proof.arguments.get("each_turn"))
    turned = f", turned {turn.text}" if isinstance(turn, Limit) else ""
    draft = begin(context, f"Each of {count} mats must lie {centre.text} from its drawn place{turned}")
    shown = [_judge_mat(context, draft, number, centre) for number in range(1, count + 1)]
    if isinstance(turn, Limit):
        for number in range(1, count + 1):
            _judge_turn(context, draft, number, turn)
    if draft.tally.verdict == MET:
        draft.say(f"Distances from the drawn places: {listed(shown)}.")
    return draft.outcome()


def _one_sided(limit: Limit) -> Limit:
    """``0 mm ± 12 mm`` of a distance is at most 12 mm: a distance has no lower limit."""
    if limit.upper is None:
        raise ValueError("the limit of a mat's centre has no upper end")
    return replace(limit, lower=None, lower_included=True)


def _judge_mat(context: CheckContext, draft: Draft, number: int, limit: Limit) -> str:
    parts = [
        take(context, draft, own_place(context, f"mat_{axis}", f"mat {number} {axis}", number))
        for axis in ("dx", "dy")
    ]
    if any(part is None for part in parts):
        return ""
    x, y = (part for part in parts if part is not None)
    if not _fit_together(draft, number, x, y, limit):
        return ""
    u_x, u_y = known_u(x), known_u(y)
    # The distance is known no worse than the worse of its two parts.
    u = None if u_x is None or u_y is None else max(u_x, u_y)
    named = Named(name=f"mat_{number}", words=f"Mat {number}")
    distance = to_six(math.hypot(x.value, y.value))
    change = f"Set mat {number} on its drawn place and measure it again."
    decision = judge_value(draft, named, (distance, u), limit, context.z, change)
    return f"mat {number} {value_words(named, distance, limit, decision)}"


def _fit_together(draft: Draft, number: int, x: Reading, y: Reading, limit: Limit) -> bool:
    if x.unit != limit.unit or y.unit != limit.unit:
        draft.not_shown(
            "unreadable",
            f"Mat {number} is not measured in {limit.unit}.",
            f"Measure mat {number} again.",
            "now",
        )
        return False
    if x.set_no == y.set_no:
        return True
    draft.not_shown(
        "conflict",
        f"Mat {number}: sideways and lengthways were read in different sets ({x.set_no} and {y.set_no}).",
        f"Measure both for mat {number} again.",
        "now",
    )
    return False


def _judge_turn(context: CheckContext, draft: Draft, number: int, limit: Limit) -> None:
    reading = take(context, draft, own_place(context, "mat_turn", f"mat {number} turn", number))
    if reading is not None:
        named = Named(name=f"mat_{number}_turn", words=f"Turn of mat {number}", digits=2)
        judge_reading(context, draft, reading, named, limit)
