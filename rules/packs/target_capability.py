"""How well a target's distance, sideways position and yaw will be known, before anything is read."""

import math
from typing import Final

from rules.packs.methods import Bench, UnknownUncertaintyError, VehicleSize
from rules.packs.model import PackEdition, Procedure, Proof
from rules.quantities import Limit
from rules.science.pose import Design, PoseError, predict

# The size of a middling car, where the group names none for the model (project default), mm.
DEFAULT_SIZE: Final = VehicleSize(model="", wheelbase_mm=2800.0, track_mm=1580.0)


def target_u(edition: PackEdition, procedure: Procedure, proof: Proof, argument: str, bench: Bench) -> float:
    """u (mm, mm, deg) of ``distance``, ``sideways`` or ``yaw`` at the nominal position.

    Of the least favorable model that the procedure is for: four tape readings, and the thrust line over its
    length.

    Raises:
        UnknownUncertaintyError: a method is missing at this place, or the layout fixes no position.
    """
    tape = bench.method("target_distance")
    u_thrust = 0.0
    if argument != "distance" and proof.arguments.get("centred_on") == "thrust_line":
        u_thrust = _u_thrust(bench)
    worst = 0.0
    for size in _sizes(edition, procedure, bench):
        arm = _distance(proof) + (size.wheelbase_mm if _from_front(proof) else 0.0)
        design = Design(
            distance=_distance(proof),
            track=size.track_mm,
            bar=_bar(proof),
            u=tape.u_independent,
            u_relative=tape.u_relative,
            thrust_arm=arm if u_thrust else 0.0,
            u_thrust_deg=u_thrust,
        )
        try:
            predicted = predict(design)
        except (PoseError, ValueError):
            raise UnknownUncertaintyError("the tape cannot fix this position") from None
        found = {
            "distance": predicted.u_distance,
            "sideways": predicted.u_sideways,
            "yaw": predicted.u_yaw_deg,
        }
        worst = max(worst, found[argument])
    return worst


def _u_thrust(bench: Bench) -> float:
    try:
        left, right = bench.u("rear_toe_left", 0.0), bench.u("rear_toe_right", 0.0)
    except UnknownUncertaintyError as error:
        raise UnknownUncertaintyError(f"{error}, thrust uncertainty unknown") from None
    return math.hypot(left, right) / 2.0


def _sizes(edition: PackEdition, procedure: Procedure, bench: Bench) -> tuple[VehicleSize, ...]:
    models = {
        model for trigger in edition.triggers for model, called in trigger.by_model if called == procedure.id
    }
    named = tuple(size for size in bench.group.vehicles if size.model in models)
    if models and named:
        return named
    return bench.group.vehicles or (DEFAULT_SIZE,)


def _from_front(proof: Proof) -> bool:
    return proof.arguments.get("measured_from") != "rear_axle_marks"


def _distance(proof: Proof) -> float:
    limit = proof.arguments.get("distance")
    if not isinstance(limit, Limit):
        raise UnknownUncertaintyError("the pack names no distance")
    ends = [end for end in (limit.lower, limit.upper) if end is not None]
    middle = math.fsum(ends) / len(ends) if ends else 0.0
    if middle == 0.0:
        raise UnknownUncertaintyError("the pack names no distance")
    return abs(middle)


def _bar(proof: Proof) -> float:
    bar = proof.arguments.get("bar_length")
    return float(bar) if isinstance(bar, int | float) else 0.0
