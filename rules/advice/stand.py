"""Moving a target's stand onto its line: by how much, which way, in words."""

from collections.abc import Iterable
from dataclasses import dataclass

from rules.checks.target_words import ALL, move_words
from rules.rounding import to_six
from rules.science.target_advice import Line, Quantity, Stands
from rules.science.target_advice import StandMove as Move
from rules.science.target_advice import stand_move as _move


@dataclass(frozen=True, slots=True, kw_only=True)
class StandMove:
    """How to move the stand, rounded once to six decimals.

    ``raise_mm``: the target on its stand, below zero to lower it; None where its height is not known or not
    asked for. ``words``: all of it in one line.
    """

    towards_car_mm: float
    to_right_mm: float
    turn_anticlockwise_deg: float
    raise_mm: float | None
    words: str


def stand_move(
    stands: Stands,
    nominal_x: float,
    line: Line,
    *,
    raise_mm: float | None = None,
    quantities: Iterable[Quantity] = ALL,
) -> StandMove:
    """The move that brings the bar's centre onto its line at ``nominal_x`` and square to it.

    ``quantities`` limits the words, not the numbers: distance, sideways, yaw. With the bar at 3206.0 mm,
    4.15 mm to the right of the middle and turned 0.120 deg clockwise, a thrust line 0.075 deg to the right
    from 2760 mm behind: 6.0 mm towards the car, 3.6 mm to the right, 0.045 deg anticlockwise.
    """
    return told(_move(stands, nominal_x, line), raise_mm=raise_mm, quantities=quantities)


def told(move: Move, *, raise_mm: float | None = None, quantities: Iterable[Quantity] = ALL) -> StandMove:
    """A computed move with its words."""
    parts = [move_words(move, quantities)]
    if raise_mm is not None and abs(raise_mm) >= 0.05:
        parts.append(f"{'raise' if raise_mm > 0 else 'lower'} the target {abs(raise_mm):.1f} mm")
    return StandMove(
        towards_car_mm=to_six(move.towards_car_mm),
        to_right_mm=to_six(move.to_right_mm),
        turn_anticlockwise_deg=to_six(move.turn_anticlockwise_deg),
        raise_mm=None if raise_mm is None else to_six(raise_mm),
        words=", ".join(part for part in parts if part),
    )
