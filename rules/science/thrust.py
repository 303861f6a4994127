"""The line a car travels along, from the toe of its rear wheels."""

import math
from dataclasses import dataclass

from rules.rounding import to_six


@dataclass(frozen=True, slots=True, kw_only=True)
class ThrustLine:
    """Its angle from the body's centre line, deg, positive to the left (ISO 8855), and its standard u."""

    angle_deg: float
    u_deg: float

    @property
    def slope(self) -> float:
        """How far the line moves to the left per unit forward."""
        return math.tan(math.radians(self.angle_deg))

    def aside(self, length: float) -> float:
        """How far the line has moved to the left over ``length``, in the unit of ``length``.

        5960 mm at -0.075 deg: -7.80 mm.
        """
        return length * self.slope


def thrust_line(toe_left: float, toe_right: float, u_left: float, u_right: float) -> ThrustLine:
    """From individual rear toe, deg, toe-in positive: (right - left)/2, positive to the left.

    A wheel with toe-in points inwards: the left one to the right, the right one to the left. Makers' texts
    print the same amount with either sign, so the sign is ours and only the amount can be compared.

    Raises:
        ValueError: a number that is not finite, or a negative uncertainty.
    """
    if not all(math.isfinite(value) for value in (toe_left, toe_right, u_left, u_right)):
        raise ValueError("a toe or an uncertainty is not a finite number")
    if u_left < 0.0 or u_right < 0.0:
        raise ValueError("an uncertainty is negative")
    return ThrustLine(angle_deg=(toe_right - toe_left) / 2.0, u_deg=math.hypot(u_left, u_right) / 2.0)


def agrees_in_size(printed_deg: float, angle_deg: float, within_deg: float) -> bool:
    """Does a printed thrust angle, whatever its sign rule, have the same size to ``within_deg``?"""
    return to_six(abs(abs(printed_deg) - abs(angle_deg))) <= within_deg
