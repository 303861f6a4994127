"""tyre_pressures: each tyre against the placard, left against right, warm tyres brought back to ambient."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, listed, plain
from rules.checks.freshness import serving
from rules.checks.movements import RoadMovement, driven_before, road_movements
from rules.checks.one_reading import Named, judge_value, known_u
from rules.checks.sentences import begin
from rules.checks.stale_words import why_stale
from rules.facts import Reading, Vehicle, live
from rules.quantities import Limit
from rules.rounding import to_six
from rules.science.clocks import fresh
from rules.science.tyres import Measured, cold_pressure
from rules.verdict import MET, Outcome, Reason

# Tyres driven within this time before the reading are taken as warm (common practice, no source).
WARM_FOR: Final = timedelta(hours=3)
# A temperature belongs to a pressure read within this time of it (project default).
WITH_PRESSURE_S: Final = 900.0
AXLES: Final = (("front", "front_left", "front_right"), ("rear", "rear_left", "rear_right"))
WORDS: Final = {
    "front_left": "front left",
    "front_right": "front right",
    "rear_left": "rear left",
    "rear_right": "rear right",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """One tyre as it is judged: kPa at ambient temperature; ``u`` None where it is not known."""

    place: str
    reading: Reading
    pressure: float | None
    u: float | None
    is_warm: bool


def tyre_pressures(context: CheckContext) -> Outcome:
    """Arguments ``each`` (a limit, usually "placard ± 10 kPa") and ``across_axle`` (left against right).

    A tyre read within three hours of a recorded road movement is brought to ambient temperature with its own
    temperature (quantity tyre_temperature) and the ambient one (temp at ambient); without them its
    uncertainty is unknown. Reason codes: missing, evidence_stale, uncertainty_unknown, outside_limit,
    undecided, instrument_not_capable.
    """
    draft = begin(context, _required(context))
    movements = road_movements(context.facts, context.gate_at)
    corners: dict[str, Corner] = {}
    for axle, left, right in AXLES:
        limit = limit_for(context.proof.arguments.get("each"), context.facts.vehicle, axle)
        for place in (left, right):
            corner = _corner(context, draft, place, movements)
            if corner is not None:
                corners[place] = corner
                _judge_corner(draft, corner, limit, context.z)
        if left in corners and right in corners:
            _judge_axle(context, draft, axle, (corners[left], corners[right]))
    if draft.tally.verdict == MET:
        values = listed(f"{WORDS[place]} {plain(c.pressure or 0.0)} kPa" for place, c in corners.items())
        draft.say(f"All four tires are within their limits: {values}.")
    return draft.outcome()


def _required(context: CheckContext) -> str:
    each, across = (context.proof.arguments.get(name) for name in ("each", "across_axle"))
    own = each.text if isinstance(each, Limit) else "the limit"
    pair = f", left and right differ by {across.text}" if isinstance(across, Limit) else ""
    return f"Every tire must have {own}{pair}"


def limit_for(argument: object, vehicle: Vehicle, axle: str) -> Limit | None:
    """The limit of one axle in kPa, "placard" filled in; None where the placard value is not recorded."""
    if not isinstance(argument, Limit):
        return None
    half = argument.placard_half_width
    if half is None:
        return argument
    placard = vehicle.placard_front_kpa if axle == "front" else vehicle.placard_rear_kpa
    if placard is None:
        return None
    return Limit(lower=placard - half, upper=placard + half, unit="kPa", text=argument.text)


# ------------------------------------------------------------------ readings


def _corner(
    context: CheckContext, draft: Draft, place: str, movements: Sequence[RoadMovement]
) -> Corner | None:
    found = [r for r in context.facts.readings if r.quantity == "tyre_pressure" and r.place == place]
    reading, reason = serving(context, found, lambda item: item.at, lambda item: (item.value, item.u))
    if reading is None:
        why = why_stale(context, found, lambda item: item.at)
        _open_serving(draft, reason, f"tire pressure {WORDS[place]}", why)
        return None
    draft.rests_on(reading)
    draft.uses([reading.instrument])
    if not driven_before(movements, reading.at, WARM_FOR):
        return Corner(place=place, reading=reading, pressure=reading.value, u=known_u(reading), is_warm=False)
    return _warm_corner(context, draft, reading)


def _open_serving(draft: Draft, reason: Reason | None, what: str, why: str) -> None:
    code = "missing" if reason is None else reason.code
    sentence = (
        f"There is no reading of the {what}."
        if code == "missing"
        else f"The {what} is on record with two values for one time."
        if code == "conflict"
        else f"No reading of the {what} serves this session. {why}"
    )
    draft.not_shown(code, sentence, f"Read the {what} with a gauge that is in date.", "now")


def _warm_corner(context: CheckContext, draft: Draft, reading: Reading) -> Corner:
    """Pressure at ambient temperature; ``pressure`` and ``u`` None where a temperature is missing."""
    tyre = _temperature(context, reading, "tyre_temperature", reading.place)
    ambient = _temperature(context, reading, "temp", "ambient")
    u = known_u(reading)
    if tyre is None or ambient is None or tyre.u is None or ambient.u is None or u is None:
        draft.not_shown(
            "uncertainty_unknown",
            f"The {WORDS[reading.place]} tire was read within three hours of a drive, and the temperatures "
            "needed to say what it would show cold are not recorded with their uncertainty.",
            "Let the tires cool for three hours and read them again, or record tire and ambient temperature.",
            "now",
        )
        return Corner(place=reading.place, reading=reading, pressure=None, u=None, is_warm=True)
    draft.rests_on(tyre, ambient)
    draft.uses([tyre.instrument, ambient.instrument])
    cold = cold_pressure(
        Measured(value=reading.value, u=u),
        Measured(value=tyre.value, u=tyre.u),
        Measured(value=ambient.value, u=ambient.u),
    )
    draft.note(
        f"{WORDS[reading.place].capitalize()}: read warm at {plain(reading.value)} kPa and "
        f"{plain(tyre.value)} degC, {plain(cold.value)} kPa at {plain(ambient.value)} degC."
    )
    return Corner(place=reading.place, reading=reading, pressure=to_six(cold.value), u=cold.u, is_warm=True)


def _temperature(context: CheckContext, pressure: Reading, quantity: str, place: str) -> Reading | None:
    """The last temperature shown to be taken within 15 minutes of the pressure; none where two differ."""
    found = [
        item
        for item in live(context.facts.readings)
        if item.quantity == quantity
        and item.place == place
        and "true"
        in (fresh(item.at, pressure.at, WITH_PRESSURE_S), fresh(pressure.at, item.at, WITH_PRESSURE_S))
    ]
    last = max(found, key=lambda item: (item.at.low, item.id), default=None)
    if last is None or any(item.at == last.at and item.value != last.value for item in found):
        return None
    return last


# ------------------------------------------------------------------ judging


def _judge_corner(draft: Draft, corner: Corner, limit: Limit | None, z: float) -> None:
    if corner.pressure is None:
        return
    if limit is None:
        draft.not_shown(
            "missing",
            "The pressure on the vehicle's placard is not recorded.",
            "Record the placard pressures of the vehicle.",
            "desk",
        )
        return
    named = Named(name=corner.place, words=f"{WORDS[corner.place].capitalize()} tire")
    change = "Set the pressure and read it again."
    judge_value(draft, named, (corner.pressure, corner.u), limit, z, change)


def _judge_axle(context: CheckContext, draft: Draft, axle: str, pair: tuple[Corner, Corner]) -> None:
    """Left against right; a gauge error common to both sides cancels here, so only the random part counts."""
    limit = context.proof.arguments.get("across_axle")
    left, right = pair
    if not isinstance(limit, Limit) or left.pressure is None or right.pressure is None:
        return
    u = None if left.u is None or right.u is None else math.sqrt(left.u * left.u + right.u * right.u)
    named = Named(name=f"{axle}_difference", words=f"{axle.capitalize()} axle, left against right")
    change = "Set both tires of the axle to the same pressure and read them again."
    judge_value(draft, named, (abs(left.pressure - right.pressure), u), limit, context.z, change)
