"""What a floor survey shows: slope, flatness, the worst point, points that stand out, what it spans."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.rounding import to_six
from rules.science.plane import Plane, Point, fit_plane
from rules.science.propagation import carried_through

# Fewer points say too little about a floor (project default).
LEAST_POINTS: Final = 9
# A residual of this many times its own standard deviation, estimated without it, stands out: a drain, a lift
# plate, a slip of the pen (project default).
STANDS_OUT: Final = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """Results of one survey; lengths in mm, angles in degrees.

    Attributes:
        slope_deg, u_slope_deg: angle of steepest rise and its standard uncertainty.
        uphill_deg: direction of the rise, from the x axis towards the y axis; None for a level floor.
        flatness_mm, u_flatness_mm: largest minus smallest residual and its standard uncertainty.
        residual_sd_mm: standard deviation of the residuals, divisor n - 3.
        worst: index of the point farthest from the plane.
        standing_out: indices of points that stand out from all others.
        span_x_mm, span_y_mm: extent of the points along and across the bay.
        largest_leverage: how much of its own height the plane takes from the point that bears most, 0 to 1.
    """

    plane: Plane
    slope_deg: float
    u_slope_deg: float
    uphill_deg: float | None
    flatness_mm: float
    u_flatness_mm: float
    residual_sd_mm: float
    worst: int
    standing_out: tuple[int, ...]
    span_x_mm: float
    span_y_mm: float
    largest_leverage: float


def positions(points: Sequence[Point]) -> int:
    """At how many different places the floor was read."""
    return len({(to_six(x), to_six(y)) for x, y, _ in points})


def floor_of(points: Sequence[Point], u_z: float) -> Floor:
    """Slope and flatness by the least-squares plane; all coordinates and ``u_z`` in mm.

    The zone of ISO 1101 is the minimum zone; the least-squares value (ISO 12781-1) is never smaller.

    Raises:
        ValueError: fewer than nine places, points on one line, or numbers that are not finite.
    """
    if positions(points) < LEAST_POINTS:
        raise ValueError("a floor survey needs at least nine places")
    plane = fit_plane(points)
    slope = plane.slope
    sd = plane.residual_sd
    return Floor(
        plane=plane,
        slope_deg=math.degrees(math.atan(slope)),
        u_slope_deg=math.degrees(plane.slope_u(u_z) / (1.0 + slope * slope)),
        uphill_deg=plane.uphill_deg,
        flatness_mm=plane.flatness,
        u_flatness_mm=math.sqrt(2.0) * u_z,
        residual_sd_mm=0.0 if sd is None else sd,
        worst=max(range(len(points)), key=lambda i: (to_six(abs(plane.residuals[i])), -i)),
        standing_out=_standing_out(points, plane),
        span_x_mm=max(x for x, _, _ in points) - min(x for x, _, _ in points),
        span_y_mm=max(y for _, y, _ in points) - min(y for _, y, _ in points),
        largest_leverage=max(_leverage(plane, (1.0, x, y)) for x, y, _ in points),
    )


def _standing_out(points: Sequence[Point], plane: Plane) -> tuple[int, ...]:
    """By the residual over its standard deviation as the other points give it (deleted residual)."""
    squares = math.fsum(r * r for r in plane.residuals)
    freedom = len(points) - 4
    found = []
    for index, ((x, y, _), residual) in enumerate(zip(points, plane.residuals, strict=True)):
        free = 1.0 - _leverage(plane, (1.0, x, y))
        if free <= 0.0 or freedom < 1:
            continue
        others = max(0.0, squares - residual * residual / free) / freedom
        if to_six(residual * residual) > to_six(STANDS_OUT * STANDS_OUT * others * free):
            found.append(index)
    return tuple(found)


def _leverage(plane: Plane, row: tuple[float, float, float]) -> float:
    return carried_through([row], plane.covariance)[0][0]
