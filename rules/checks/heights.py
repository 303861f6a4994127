"""ride_heights: the arch at each wheel, left against right; pitch and roll are told, never judged."""

import math
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, listed, plain
from rules.checks.one_reading import Named, half_width, judge_value, known_u, value_words
from rules.checks.sentences import begin
from rules.checks.taken import take, wanted
from rules.checks.values import judge_reading, limit_argument
from rules.facts import Reading, Vehicle
from rules.quantities import Limit
from rules.rounding import to_six
from rules.verdict import MET, Outcome

AXLES: Final = (("front", "front_left", "front_right"), ("rear", "rear_left", "rear_right"))
# Where a camera's axis goes is told at this distance.
FAR_MM: Final = 30_000.0


def ride_heights(context: CheckContext) -> Outcome:
    """Arguments ``front``, ``rear`` (limits in mm of each arch_height), ``across_axle`` (left against right).

    The uncertainty of a difference is that of both readings together. Reason codes: missing, evidence_stale,
    conflict, unreadable, uncertainty_unknown, outside_limit, undecided, instrument_not_capable.
    """
    limits = {axle: limit_argument(context, axle) for axle, _, _ in AXLES}
    across = context.proof.arguments.get("across_axle")
    pair = f", left and right apart by {across.text}" if isinstance(across, Limit) else ""
    draft = begin(context, f"Ride height: front {limits['front'].text}, rear {limits['rear'].text}{pair}")
    taken: dict[str, Reading] = {}
    shown = []
    for axle, left, right in AXLES:
        for place in (left, right):
            reading = take(context, draft, wanted("arch_height", place))
            if reading is None:
                continue
            taken[place] = reading
            named = Named(name=place, words=f"Arch height {place.replace('_', ' ')}")
            decision = judge_reading(context, draft, reading, named, limits[axle])
            if decision is not None:
                text = value_words(named, reading.value, limits[axle], decision)
                shown.append(f"{place.replace('_', ' ')} {text}")
        if isinstance(across, Limit) and left in taken and right in taken:
            _judge_axle(context, draft, axle, (taken[left], taken[right]))
    if draft.tally.verdict == MET:
        draft.say(f"All four arches are within their limits: {listed(shown)}.")
    _tell_attitude(draft, context.facts.vehicle, taken, limits)
    return draft.outcome()


def _judge_axle(context: CheckContext, draft: Draft, axle: str, pair: tuple[Reading, Reading]) -> None:
    """Left against right, with the root of the squares of both uncertainties."""
    left, right = pair
    limit = limit_argument(context, "across_axle")
    u_left, u_right = known_u(left), known_u(right)
    u = None if u_left is None or u_right is None else math.sqrt(u_left * u_left + u_right * u_right)
    named = Named(name=f"{axle}_difference", words=f"{axle.capitalize()} axle, left against right")
    change = "Find out why the car stands uneven, put it right and measure again."
    judge_value(draft, named, (abs(left.value - right.value), u), limit, context.z, change)


# ------------------------------------------------------------------ attitude


def _tell_attitude(
    draft: Draft, vehicle: Vehicle, taken: dict[str, Reading], limits: dict[str, Limit]
) -> None:
    values = {place: reading.value for place, reading in taken.items()}
    if len(values) < 4 or not all(math.isfinite(value) for value in values.values()):
        return
    nominal = {axle: half_width(limit) for axle, limit in limits.items()}
    front, rear = nominal["front"], nominal["rear"]
    if vehicle.wheelbase_mm and front is not None and rear is not None:
        mean = {axle: (values[left] + values[right]) / 2.0 for axle, left, right in AXLES}
        pitch_mm = (mean["front"] - front[0]) - (mean["rear"] - rear[0])
        draft.note(_pitch_words(pitch_mm, vehicle.wheelbase_mm))
    if vehicle.front_track_mm:
        for axle, left, right in AXLES:
            draft.note(_roll_words(axle, values[left] - values[right], vehicle.front_track_mm))


def _pitch_words(rise_mm: float, wheelbase_mm: float) -> str:
    """``rise_mm``: how much higher the front stands than the rear, against the nominal heights."""
    angle = to_six(math.degrees(math.atan(rise_mm / wheelbase_mm)))
    if angle == 0.0:
        return "Attitude (told, not judged): level along the car."
    shift = abs(rise_mm) / wheelbase_mm * FAR_MM
    return (
        f"Attitude (told, not judged): nose {'up' if angle > 0 else 'down'} by {plain(abs(angle), 2)} deg, "
        f"which moves a camera's axis by {plain(shift, 0)} mm at 30 m."
    )


def _roll_words(axle: str, left_over_right_mm: float, track_mm: float) -> str:
    angle = to_six(math.degrees(math.atan(left_over_right_mm / track_mm)))
    if angle == 0.0:
        return f"Attitude (told, not judged): level across the {axle} axle."
    lower = "right" if angle > 0 else "left"
    by = f"{plain(abs(angle), 2)} deg at the {axle} axle"
    return f"Attitude (told, not judged): leaning to the {lower} by {by}."
