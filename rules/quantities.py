"""Units, conversion, and the grammar of limits that packs are written in."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A parsed limit in the program's unit.

    Attributes:
        lower, upper: the bounds, None where open.
        lower_included, upper_included: False for "more than" and "less than".
        unit: the program's unit (mm, deg, V, kPa, degC, percent, s, days, months, km/h, m/s2, deg/s, lx, um, times).
        text: the limit as written in the pack.
        placard_half_width: for "placard ± 10 kPa", the half width; bounds are then None.
    """

    lower: float | None
    upper: float | None
    unit: str
    text: str
    lower_included: bool = True
    upper_included: bool = True
    placard_half_width: float | None = None
