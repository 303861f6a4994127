"""Height of a target above the plane on which the car stands, and the tilt of its bar."""

import math
from dataclasses import dataclass
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, plain
from rules.checks.one_reading import Named, judge_value, known_u, value_words
from rules.checks.target_tape import FRONT
from rules.checks.targets import not_serving, serving_one
from rules.facts import Reading, live
from rules.quantities import Limit
from rules.rounding import to_six
from rules.science.plane import fit_plane
from rules.verdict import not_shown

PADS: Final = ("front_left", "front_right", "rear_left", "rear_right")
HEIGHT: Final = Named(name="height", words="Height of the target above the plane the car stands on")
TILT: Final = Named(name="bar_tilt", words="Tilt of the bar", digits=2)
_READ_FLOOR: Final = "Read the floor at the stand with the level, against the plane the wheels stand on."


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """How much higher the floor at the stand is than the plane the wheels stand on, mm."""

    value: float
    u: float


def judge_height(context: CheckContext, draft: Draft, limit: Limit, nominal_x: float) -> str:
    """The height by tape, brought to the wheels' plane by the step of the floor; its words where it is met.

    Without a reading of the floor at the stand there is no height: a level floor has to be shown.
    Reason codes: missing, evidence_stale, uncertainty_unknown, undecided, outside_limit,
    instrument_not_capable.
    """
    change = "Read the height of the target with the tape."
    tape = _reading(context, draft, "target_height", "height of the target", change)
    step = _step(context, draft, nominal_x)
    if tape is None or step is None:
        return ""
    u = known_u(tape)
    value = to_six(tape.value + step.value)
    together = None if u is None else math.hypot(u, step.u)
    wrong = value - _middle(limit)
    way = "Lower" if wrong > 0 else "Raise"
    change = f"{way} the target {plain(abs(wrong), 1)} mm and read its height again."
    draft.number("floor_step", step.value, "mm")
    decision = judge_value(draft, HEIGHT, (value, together), limit, context.z, change)
    return "" if decision.reason else f"height {value_words(HEIGHT, value, limit, decision)}"


def judge_tilt(context: CheckContext, draft: Draft, limit: Limit) -> str:
    """The tilt of the bar by gauge; its words where it is met."""
    change = "Level the bar and read its tilt again."
    reading = _reading(context, draft, "bar_tilt", "tilt of the bar", "Read the tilt of the bar.")
    if reading is None:
        return ""
    value = to_six(reading.value)
    decision = judge_value(draft, TILT, (value, known_u(reading)), limit, context.z, change)
    return "" if decision.reason else f"tilt of the bar {value_words(TILT, value, limit, decision)}"


def _middle(limit: Limit) -> float:
    bounds = [bound for bound in (limit.lower, limit.upper) if bound is not None]
    return math.fsum(bounds) / len(bounds) if bounds else 0.0


def _reading(context: CheckContext, draft: Draft, quantity: str, words: str, change: str) -> Reading | None:
    reading, reason = serving_one(context, quantity)
    if reading is None:
        sentence = not_serving(context, words, reason, quantity)
        draft.open(reason or not_shown("missing"), sentence, change, "now")
        return None
    draft.rests_on(reading)
    draft.uses([reading.instrument])
    return reading


# ------------------------------------------------------------------ the floor


def _step(context: CheckContext, draft: Draft, nominal_x: float) -> Step | None:
    """The step as read; where the wheel pads were read in the same frame, against the plane through them."""
    stand = _reading(context, draft, "stand_floor_z", "floor at the stand", _READ_FLOOR)
    if stand is None:
        return None
    u = known_u(stand)
    if u is None:
        _unknown(draft, "floor at the stand")
        return None
    on_pads = [
        item for item in live(context.facts.readings) if item.quantity == "floor_z" and item.place in PADS
    ]
    if not on_pads:
        return Step(value=stand.value, u=u)
    plane = _wheel_plane(context, draft, nominal_x, stand)
    if plane is None:
        return None
    return Step(value=to_six(stand.value - plane.value), u=math.hypot(u, plane.u))


def _wheel_plane(context: CheckContext, draft: Draft, nominal_x: float, stand: Reading) -> Step | None:
    """Height and uncertainty of the plane through the four wheel pads, where the stand is."""
    pads: list[Reading] = []
    for place in PADS:
        reading, reason = serving_one(context, "floor_z", place, of_the_car=True)
        if reading is None:
            words = place.replace("_", " ")
            sentence = not_serving(context, f"floor under the {words} wheel", reason, "floor_z", place)
            draft.open(
                reason or not_shown("missing"), sentence, "Read the floor under all four wheels.", "now"
            )
            continue
        draft.rests_on(reading)
        draft.uses([reading.instrument])
        pads.append(reading)
    if len(pads) < len(PADS) or not _of_one_frame(draft, [stand, *pads]):
        return None
    uncertainties = [known_u(item) for item in pads]
    known = [u for u in uncertainties if u is not None]
    if len(known) < len(pads):
        _unknown(draft, "floor under the wheels")
        return None
    where = _pad_places(context, draft)
    if where is None:
        return None
    points = [(x, y, pad.value) for (x, y), pad in zip(where, pads, strict=True)]
    plane = fit_plane(points)
    spot = (1.0, nominal_x, 0.0)
    variance = math.fsum(spot[i] * plane.covariance[i][j] * spot[j] for i in range(3) for j in range(3))
    return Step(value=plane.height(nominal_x, 0.0), u=max(known) * math.sqrt(max(0.0, variance)))


def _of_one_frame(draft: Draft, readings: list[Reading]) -> bool:
    """Heights are comparable where one level read them all, in one set."""
    if len({(item.instrument, item.set_no) for item in readings}) == 1:
        return True
    draft.not_shown(
        "conflict",
        "The floor at the stand and under the wheels was read in different sets or with different levels, so "
        "the heights have no common level.",
        "Read the floor at the stand and under all four wheels in one set, with one level.",
        "now",
    )
    return False


def _pad_places(context: CheckContext, draft: Draft) -> tuple[tuple[float, float], ...] | None:
    """Where the wheels stand, in the axes of the marks measured from; from the vehicle's own sizes."""
    vehicle = context.facts.vehicle
    wheelbase, track = vehicle.wheelbase_mm, vehicle.front_track_mm
    if not wheelbase or not track:
        draft.not_shown(
            "missing",
            "Wheelbase and track of the vehicle are not on record, so the wheels' plane is not known.",
            "Record wheelbase and front track of the vehicle.",
            "desk",
        )
        return None
    from_front = context.proof.arguments.get("measured_from") == FRONT
    front, rear = (0.0, -wheelbase) if from_front else (wheelbase, 0.0)
    half = track / 2.0
    return ((front, half), (front, -half), (rear, half), (rear, -half))


def _unknown(draft: Draft, words: str) -> None:
    draft.not_shown(
        "uncertainty_unknown",
        f"The reading of the {words} names no instrument with a method budget, so its uncertainty is not "
        "known.",
        _READ_FLOOR,
        "now",
    )
