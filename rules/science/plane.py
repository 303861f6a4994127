"""The plane that fits points of a floor best: slope, direction, flatness, and how well they are known."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.science.least_squares import Row, least_squares
from rules.science.propagation import carried_through

Point = tuple[float, float, float]

# Points closer to one line than this share of their extent carry no plane.
_LINE: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """z = a + b x + c y by least squares of the vertical deviations (ISO 12781-1 reference plane).

    Attributes:
        a: height at the origin, in the unit of z.
        b, c: rise in x and in y, unit of z per unit of x and y.
        residuals: height of each point above the plane.
        covariance: of (a, b, c) for a standard uncertainty of 1 in every z.
    """

    a: float
    b: float
    c: float
    residuals: Row
    covariance: tuple[Row, ...]

    def height(self, x: float, y: float) -> float:
        """Height of the plane at (x, y)."""
        return math.fsum((self.a, self.b * x, self.c * y))

    @property
    def slope(self) -> float:
        """Steepest rise, unit of z per unit of x and y."""
        return math.hypot(self.b, self.c)

    @property
    def uphill_deg(self) -> float | None:
        """Direction of the rise from the x axis towards the y axis, -180 to 180; None for a level plane."""
        return None if self.slope == 0.0 else math.degrees(math.atan2(self.c, self.b))

    @property
    def flatness(self) -> float:
        """Largest minus smallest residual; never smaller than the minimum zone of ISO 1101."""
        return max(self.residuals) - min(self.residuals)

    @property
    def residual_sd(self) -> float | None:
        """Standard deviation of the residuals with divisor n - 3; None for three points."""
        freedom = len(self.residuals) - 3
        if freedom < 1:
            return None
        return math.sqrt(math.fsum(value * value for value in self.residuals) / freedom)

    def slope_u(self, u_z: float) -> float:
        """Standard uncertainty of the slope for points of standard uncertainty ``u_z`` each.

        From the uncertainties of b and c by the law of propagation (JCGM 100:2008, 5.1.2 and 5.2.2); a
        covariance of the two that would make it smaller is left out. On a level plane the direction is
        unknown, and the larger of the two is taken.
        """
        u_b, u_c = (u_z * math.sqrt(self.covariance[i][i]) for i in (1, 2))
        slope = self.slope
        if slope == 0.0:
            return max(u_b, u_c)
        shared = max(0.0, 2.0 * self.b * self.c * u_z * u_z * self.covariance[1][2])
        along_b, along_c = self.b * u_b, self.c * u_c
        return math.sqrt(math.fsum((along_b * along_b, along_c * along_c, shared))) / slope


def fit_plane(points: Sequence[Point]) -> Plane:
    """The least-squares plane through at least three points (x, y, z) that do not lie on one line.

    x and y share one unit, z may have another. x and y are centred first, so that large coordinates cost no
    digits.

    Raises:
        ValueError: fewer than three points, points on one line, or a number that is not finite.
    """
    if len(points) < 3:
        raise ValueError("a plane needs at least three points")
    if not all(math.isfinite(value) for point in points for value in point):
        raise ValueError("a coordinate is not finite")
    count = float(len(points))
    mean_x, mean_y = (math.fsum(point[axis] for point in points) / count for axis in (0, 1))
    offsets = [(x - mean_x, y - mean_y) for x, y, _ in points]
    if on_one_line(offsets):
        raise ValueError("the points lie on one line")
    fit = least_squares([(1.0, dx, dy) for dx, dy in offsets], [z for _, _, z in points])
    centre, b, c = fit.coefficients
    return Plane(
        a=math.fsum((centre, -b * mean_x, -c * mean_y)),
        b=b,
        c=c,
        residuals=fit.residuals,
        covariance=_moved(fit.covariance, mean_x, mean_y),
    )


def on_one_line(points: Sequence[tuple[float, float]]) -> bool:
    """Do all points lie on one line (or one spot), to a billionth of their extent?"""
    far = max(points, key=lambda point: math.hypot(point[0] - points[0][0], point[1] - points[0][1]))
    dx, dy = far[0] - points[0][0], far[1] - points[0][1]
    extent = math.hypot(dx, dy)
    if extent == 0.0:
        return True
    aside = (abs(dx * (y - points[0][1]) - dy * (x - points[0][0])) / extent for x, y in points)
    return max(aside) <= _LINE * extent


def _moved(covariance: Sequence[Row], x: float, y: float) -> tuple[Row, ...]:
    """Covariance of (a, b, c) from that of the plane around (x, y): a = centre - b x - c y."""
    step = ((1.0, -x, -y), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    return carried_through(step, covariance)
