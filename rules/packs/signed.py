"""Limits of quantities that can be negative: "at most 0.15 deg" is meant for the size, whatever the side."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from rules.packs.model import Argument, Proof
from rules.quantities import Limit
from rules.vocabulary import QUANTITY_UNITS

_ARGUMENTS: Final[Mapping[str, frozenset[str]]] = {
    "thrust_angle": frozenset({"limit"}),
    "target_pose": frozenset({"sideways", "yaw", "bar_tilt"}),
    "mat_positions": frozenset({"each_turn"}),
    "learned_aim": frozenset({"yaw", "pitch", "roll"}),
    "point_position": frozenset({"along", "across", "height"}),
    "angle": frozenset({"limit"}),
}
# Lengths whose sign tells a side or a direction; every angle has one as well.
_SIGNED_LENGTHS: Final = frozenset(
    {
        "floor_z",
        "stand_floor_z",
        "mat_dx",
        "mat_dy",
        "seam_step",
        "point_along",
        "point_across",
        "point_height",
    }
)


def has_sign(proof: Proof, name: str) -> bool:
    """Can the value that this argument limits be negative, its sign telling only the side?"""
    if proof.check == "value" and name == "limit":
        quantity = str(proof.arguments.get("of", ""))
        return quantity in _SIGNED_LENGTHS or QUANTITY_UNITS.get(quantity) == "deg"
    return name in _ARGUMENTS.get(proof.check, ())


def as_judged(proof: Proof, name: str, argument: Argument | None) -> Argument | None:
    """The limit as it is judged: an upper end alone, not below zero, holds on both sides.

    A seam step of -20 mm is no smaller than one of 20 mm. Everything else is left as it is.
    """
    if not isinstance(argument, Limit) or argument.lower is not None or argument.upper is None:
        return argument
    if argument.upper < 0.0 or not has_sign(proof, name):
        return argument
    return replace(argument, lower=-argument.upper, lower_included=argument.upper_included)
