"""From the tape readings on record to where the target's bar stands, or why that is not known."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, plain
from rules.checks.one_reading import known_u
from rules.checks.tape_sets import (
    largest_scale,
    mean_of,
    one_value_each,
    place_words,
    sets_agree,
    uncertainties_known,
    without_copies,
)
from rules.checks.targets import not_serving, serving_one, serving_sets
from rules.quantities import Limit
from rules.rounding import to_six
from rules.science.pose import Observation, Pose, PoseError, solve
from rules.verdict import Reason, not_shown

FRONT: Final = "front_axle_marks"
# Reading names: from the left or right floor mark to the left or right end of the bar.
ENDS: Final = ("LL", "LR", "RL", "RR")
PLACES: Final = tuple(f"{axle}_{ends}" for axle in ("d", "b") for ends in ENDS)
# A bar that seems turned further than this was not set up so: left and right were exchanged (project
# default).
MOST_TURN_DEG: Final = 45.0
_READ_FOUR: Final = "Read the four distances from the axle's marks to the ends of the bar."


@dataclass(frozen=True, slots=True, kw_only=True)
class Lengths:
    """What was measured beside the distances, mm; ``wheelbase`` None where nothing asks for it."""

    bar: float
    front_track: float | None
    rear_track: float | None
    wheelbase: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tape:
    """A solved position with what it was solved from; ``counts``: readings averaged, by place."""

    pose: Pose
    observations: tuple[Observation, ...]
    counts: tuple[int, ...]
    lengths: Lengths
    nominal: float


def nominal_of(limit: Limit) -> float:
    """The distance meant: the middle of its limits, or the one limit given."""
    if limit.lower is not None and limit.upper is not None:
        return (limit.lower + limit.upper) / 2.0
    return limit.lower if limit.lower is not None else (limit.upper or 0.0)


def tape_of(context: CheckContext, draft: Draft, distance: Limit, *, on_thrust_line: bool) -> Tape | None:
    """Where the bar stands; None with the reasons on the draft.

    Reason codes: missing, evidence_stale, uncertainty_unknown, readings_disagree, no_redundancy, conflict.
    """
    sets = serving_sets(context, "target_distance")
    by_place = {place: tuple(r for r in sets.readings if r.place == place) for place in PLACES}
    by_place = {place: readings for place, readings in by_place.items() if readings}
    if sets.reason is not None:
        _no_distances(context, draft, sets.reason)
    elif len(by_place) < 3:
        _no_distances(context, draft, not_shown("missing"))
    lengths = _lengths(context, draft, tuple(by_place), on_thrust_line=on_thrust_line)
    readings = tuple(reading for row in by_place.values() for reading in row)
    draft.rests_on(*readings)
    draft.uses(reading.instrument for reading in readings)
    if sets.reason is not None or len(by_place) < 3 or lengths is None:
        return None
    if not all(math.isfinite(item.value) and item.value > 0.0 for item in readings):
        _no_distances(context, draft, not_shown("unreadable"))
        return None
    if not uncertainties_known(draft, readings) or not one_value_each(draft, by_place):
        return None
    if not sets_agree(draft, by_place):
        return None
    by_place = {place: without_copies(row) for place, row in by_place.items()}
    marks = _marks(context, lengths)
    scale = {item.instrument: largest_scale(readings, item.instrument) for item in readings}
    observations = tuple(mean_of(place, marks[place[0]], row, scale) for place, row in by_place.items())
    counts = tuple(len(row) for row in by_place.values())
    return _solved(draft, observations, counts, lengths, nominal_of(distance))


# ------------------------------------------------------------------ lengths beside the distances


def _no_distances(context: CheckContext, draft: Draft, reason: Reason) -> None:
    if reason.code == "unreadable":
        sentence = "One of the distances on record is no distance."
    elif reason.code == "missing":
        sentence = "There are fewer than three distances from the floor marks to the bar on record."
    else:
        words = "set of distances to the bar"
        sentence = not_serving(context, words, reason, "target_distance")
    draft.open(reason, sentence, _READ_FOUR, "now")


def _lengths(
    context: CheckContext, draft: Draft, places: Sequence[str], *, on_thrust_line: bool
) -> Lengths | None:
    from_front = context.proof.arguments.get("measured_from") == FRONT
    has_front = any(place.startswith("d_") for place in places) or (not places and from_front)
    has_rear = any(place.startswith("b_") for place in places) or (not places and not from_front)
    bar = _bar(context, draft)
    front = _length(context, draft, "datum_separation_front", "front marks") if has_front else None
    rear = _length(context, draft, "datum_separation_rear", "rear marks") if has_rear else None
    wheelbase = None
    asks_wheelbase = (has_front and has_rear) or (has_rear if from_front else has_front)
    if asks_wheelbase or (on_thrust_line and from_front):
        wheelbase = _wheelbase(context, draft)
        if wheelbase is None:
            return None
    if bar is None or (has_front and front is None) or (has_rear and rear is None):
        return None
    return Lengths(bar=bar, front_track=front, rear_track=rear, wheelbase=wheelbase)


def _bar(context: CheckContext, draft: Draft) -> float | None:
    """The bar's length as read from its stand; it must be the bar that the maker's text names."""
    reading, reason = serving_one(context, "bar_length")
    change = "Record the length of the bar with the tag of its stand."
    if reading is None:
        draft.open(
            reason or not_shown("missing"),
            not_serving(context, "length of the bar", reason, "bar_length"),
            change,
            "now",
        )
        return None
    draft.rests_on(reading)
    draft.uses([reading.instrument])
    u = known_u(reading)
    if u is None:
        sentence = "The bar names no stand with a method budget, so the uncertainty of its length is unknown."
        draft.not_shown("uncertainty_unknown", sentence, change, "now")
        return None
    if reading.value <= 0.0:
        draft.not_shown("missing", "The length of the bar on record is no length.", change, "now")
        return None
    asked = context.proof.arguments.get("bar_length")
    if isinstance(asked, float) and to_six(abs(reading.value - asked)) > to_six(context.z * u):
        shown = plain(reading.value, 1, (asked, asked - context.z * u, asked + context.z * u))
        sentence = f"The bar on record is {shown} mm long, the text asks for one of {asked:g} mm."
        change = f"Set up the bar of {asked:g} mm and measure again, or correct its length on record."
        draft.not_shown("conflict", sentence, change, "now")
    return reading.value


def _length(context: CheckContext, draft: Draft, quantity: str, words: str) -> float | None:
    """How far two floor marks lie apart; with an instrument, as every reading."""
    reading, reason = serving_one(context, quantity, of_the_car=True)
    change = f"Measure how far the {words} lie apart."
    if reading is None or reading.value <= 0.0:
        sentence = not_serving(context, f"distance between the {words}", reason, quantity)
        draft.open(reason or not_shown("missing"), sentence, change, "now")
        return None
    draft.rests_on(reading)
    draft.uses([reading.instrument])
    if known_u(reading) is None:
        sentence = f"The distance between the {words} names no instrument, so its uncertainty is unknown."
        draft.not_shown("uncertainty_unknown", sentence, change, "now")
        return None
    return reading.value


def _wheelbase(context: CheckContext, draft: Draft) -> float | None:
    """Measured between the marks of both axles, or the vehicle's own wheelbase."""
    quantity = "datum_front_to_rear"
    taken = any(item.quantity == quantity and item.ended_at is None for item in context.facts.readings)
    nominal = context.facts.vehicle.wheelbase_mm
    if not taken and nominal is not None and nominal > 0.0:
        return nominal
    reading, reason = serving_one(context, quantity, of_the_car=True)
    contradicts = reason is not None and reason.code == "conflict"
    if reading is None and not contradicts and nominal is not None and nominal > 0.0:
        return nominal
    words = "distance from the front marks to the rear marks"
    change = "Record the wheelbase of the vehicle, or measure from the front marks to the rear marks."
    if reading is None or reading.value <= 0.0:
        draft.open(
            reason or not_shown("missing"), not_serving(context, words, reason, quantity), change, "car_here"
        )
        return None
    draft.rests_on(reading)
    draft.uses([reading.instrument])
    if known_u(reading) is None:
        sentence = f"The {words} names no instrument, so its uncertainty is unknown."
        draft.not_shown("uncertainty_unknown", sentence, change, "now")
        return None
    return reading.value


# ------------------------------------------------------------------ the marks


def _marks(context: CheckContext, lengths: Lengths) -> dict[str, tuple[float, float]]:
    """x and half the distance of the marks of each axle, from the axle that the proof measures from."""
    from_front = context.proof.arguments.get("measured_from") == FRONT
    between = lengths.wheelbase or 0.0
    return {
        "d": (0.0 if from_front else between, (lengths.front_track or 0.0) / 2.0),
        "b": (-between if from_front else 0.0, (lengths.rear_track or 0.0) / 2.0),
    }


# ------------------------------------------------------------------ solving and checking the fit


def _solved(
    draft: Draft,
    observations: tuple[Observation, ...],
    counts: tuple[int, ...],
    lengths: Lengths,
    nominal: float,
) -> Tape | None:
    try:
        pose = solve(observations, lengths.bar, nominal)
    except (PoseError, ValueError, ArithmeticError) as error:
        _unsolved(draft, error)
        return None
    if not _possible(pose, nominal):
        _tell_disagree(draft, "The distances fit only if left and right are exchanged", "")
        return None
    tape = Tape(pose=pose, observations=observations, counts=counts, lengths=lengths, nominal=nominal)
    limit = pose.chi_squared_limit
    if limit is None:
        draft.not_shown(
            "no_redundancy",
            "Three distances give a position, but nothing checks it.",
            "Read the fourth distance.",
            "now",
            "A single wrong reading would not be noticed.",
        )
    elif to_six(pose.chi_squared) > to_six(limit):
        _disagree(draft, tape, limit)
        return None
    return tape


def _unsolved(draft: Draft, error: Exception) -> None:
    if isinstance(error, PoseError) and error.code == "no_solution":
        _tell_disagree(draft, "No position of the bar fits the distances", "")
        return
    draft.not_shown(
        "missing",
        "The distances on record do not fix where the bar stands and how it is turned.",
        _READ_FOUR,
        "now",
    )


def _possible(pose: Pose, nominal: float) -> bool:
    """Does the bar stand on the side of the car where it was set up, and face it?"""
    if pose.x * nominal <= 0.0 and nominal != 0.0:
        return False
    return abs(math.degrees(pose.psi)) <= MOST_TURN_DEG


def _tell_disagree(draft: Draft, sentence: str, named: str) -> None:
    draft.not_shown(
        "readings_disagree",
        f"{sentence}. Distance, sideways position, yaw and residuals are withheld.",
        f"Correct or set aside {f'reading {named}' if named else 'the reading that is wrong'} and read the "
        "four distances again, left and right as seen from the driver's seat.",
        "now",
        "Where the bar stands is not shown while the readings disagree.",
    )


def _disagree(draft: Draft, tape: Tape, limit: float) -> None:
    """Too large a misfit; with more than one reading to spare, the one that stands out is named."""
    pose = tape.pose
    draft.number("chi_squared", pose.chi_squared, "ratio")
    draft.number("chi_squared_limit", limit, "ratio")
    size = plain(pose.chi_squared, 1, (limit,))
    sentence = (
        f"The distances do not fit together: chi-square {size}, and {plain(limit, 2)} is the most for "
        f"{len(tape.observations)} distances"
    )
    if _fits_exchanged(tape):
        sentence += "; they would fit with left and right of the bar exchanged"
        _tell_disagree(draft, sentence, "")
        return
    sizes = [abs(value) if value is not None else 0.0 for value in pose.standardized]
    if pose.degrees_of_freedom < 2:
        _tell_disagree(draft, f"{sentence}; which one is wrong, four distances cannot say", "")
        return
    worst = tape.observations[sizes.index(max(sizes))].place
    named = f"reading {place_words(worst)} stands out at {plain(max(sizes), 1)} times its standard deviation"
    _tell_disagree(draft, f"{sentence}; {named}", worst)


def _fits_exchanged(tape: Tape) -> bool:
    """Would the same distances fit if the ends of the bar were exchanged?"""
    turned = tuple(
        Observation(
            place=item.place,
            mark=item.mark,
            end="right" if item.end == "left" else "left",
            distance=item.distance,
            u=item.u,
        )
        for item in tape.observations
    )
    try:
        pose = solve(turned, tape.lengths.bar, tape.nominal)
    except (PoseError, ValueError, ArithmeticError):
        return False
    limit = pose.chi_squared_limit
    return limit is not None and pose.chi_squared <= limit and _possible(pose, tape.nominal)
