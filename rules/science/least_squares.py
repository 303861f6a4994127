"""Linear least squares by Householder reflections, with every scalar product summed without loss.

Tested against the certified values of NIST StRD (Norris, Longley).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

# A column that the others explain to this share of its length adds nothing that can be computed.
DEPENDENT: Final = 1e-10

Row = tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """The solution of ``design · coefficients ≈ observed``.

    Attributes:
        coefficients: one for each column of the design.
        residuals: observed minus fitted, unweighted, one for each row.
        covariance: inverse of X'WX: the covariance of the coefficients where each weight is 1/u^2; for
            observations of one common u without weights, times u^2.
        degrees_of_freedom: rows minus columns.
    """

    coefficients: Row
    residuals: Row
    covariance: tuple[Row, ...]
    degrees_of_freedom: int

    @property
    def residual_sd(self) -> float | None:
        """Standard deviation of the residuals, divisor rows minus columns; None without freedom."""
        if self.degrees_of_freedom < 1:
            return None
        return math.sqrt(_dot(self.residuals, self.residuals) / self.degrees_of_freedom)


def least_squares(
    design: Sequence[Sequence[float]], observed: Sequence[float], weights: Sequence[float] | None = None
) -> Fit:
    """Fit by least squares; a column of ones in the design gives the intercept.

    Args:
        design: n rows of p numbers each, n >= p.
        observed: n numbers.
        weights: n positive numbers (1/u^2 of each observation); None weighs all alike.

    Raises:
        ValueError: shapes that do not fit, numbers that are not finite, a weight that is not positive, or
            columns that depend on each other.
    """
    rows = [[float(value) for value in row] for row in design]
    _check(rows, observed, weights)
    roots = [1.0] * len(rows) if weights is None else [math.sqrt(weight) for weight in weights]
    weighted = [[root * value for value in row] for root, row in zip(roots, rows, strict=True)]
    columns = [list(column) for column in zip(*weighted, strict=True)]
    sizes = [math.sqrt(_dot(column, column)) for column in columns]
    if min(sizes) == 0.0:
        raise ValueError("a column of the design is zero")
    scaled = [[value / size for value in column] for column, size in zip(columns, sizes, strict=True)]
    reflectors, triangle = _triangular(scaled)

    solution = [0.0] * len(columns)
    residuals = [float(value) for value in observed]
    # The second pass fits what the first one left: it takes away most of the rounding of the first.
    for _ in range(2):
        target = [root * value for root, value in zip(roots, residuals, strict=True)]
        step = _back_substituted(triangle, _reflected(reflectors, target))
        solution = [old + new / size for old, new, size in zip(solution, step, sizes, strict=True)]
        residuals = [
            math.fsum((value, *(-part * b for part, b in zip(row, solution, strict=True))))
            for row, value in zip(rows, observed, strict=True)
        ]
    return Fit(
        coefficients=tuple(solution),
        residuals=tuple(residuals),
        covariance=_covariance(triangle, sizes),
        degrees_of_freedom=len(rows) - len(columns),
    )


def _check(
    rows: Sequence[Sequence[float]], observed: Sequence[float], weights: Sequence[float] | None
) -> None:
    width = len(rows[0]) if rows else 0
    if width == 0 or len(rows) < width or any(len(row) != width for row in rows):
        raise ValueError("the design needs at least as many rows as columns, all of one width")
    if len(observed) != len(rows) or (weights is not None and len(weights) != len(rows)):
        raise ValueError("one observation and one weight for each row are needed")
    numbers = [value for row in rows for value in row] + list(observed) + list(weights or ())
    if not all(math.isfinite(number) for number in numbers):
        raise ValueError("a number is not finite")
    if weights is not None and min(weights) <= 0.0:
        raise ValueError("weights must be positive")


def _triangular(columns: Sequence[Sequence[float]]) -> tuple[list[list[float]], list[list[float]]]:
    """The reflectors (unit vectors) and the upper triangle, row by row, of columns of length 1."""
    work = [list(column) for column in columns]
    reflectors: list[list[float]] = []
    for k in range(len(work)):
        tail = work[k][k:]
        size = math.sqrt(_dot(tail, tail))
        if size <= DEPENDENT:
            raise ValueError("the columns of the design depend on each other")
        # Away from the pivot's own sign: no cancellation.
        tail[0] += math.copysign(size, tail[0])
        length = math.sqrt(_dot(tail, tail))
        reflector = [0.0] * k + [value / length for value in tail]
        reflectors.append(reflector)
        work[k:] = [_reflect(reflector, column) for column in work[k:]]
    triangle = [[work[j][i] if j >= i else 0.0 for j in range(len(work))] for i in range(len(work))]
    return reflectors, triangle


def _reflected(reflectors: Sequence[Sequence[float]], vector: Sequence[float]) -> list[float]:
    turned = list(vector)
    for reflector in reflectors:
        turned = _reflect(reflector, turned)
    return turned


def _reflect(reflector: Sequence[float], vector: Sequence[float]) -> list[float]:
    twice = 2.0 * _dot(reflector, vector)
    return [value - twice * part for value, part in zip(vector, reflector, strict=True)]


def _back_substituted(triangle: Sequence[Sequence[float]], right: Sequence[float]) -> list[float]:
    width = len(triangle)
    solution = [0.0] * width
    for i in reversed(range(width)):
        known = math.fsum((right[i], *(-triangle[i][j] * solution[j] for j in range(i + 1, width))))
        solution[i] = known / triangle[i][i]
    return solution


def _covariance(triangle: Sequence[Sequence[float]], sizes: Sequence[float]) -> tuple[Row, ...]:
    width = len(triangle)
    inverse = [
        _back_substituted(triangle, [1.0 if i == k else 0.0 for i in range(width)]) for k in range(width)
    ]
    return tuple(
        tuple(
            math.fsum(inverse[k][i] * inverse[k][j] for k in range(width)) / (sizes[i] * sizes[j])
            for j in range(width)
        )
        for i in range(width)
    )


def _dot(left: Sequence[float], right: Sequence[float]) -> float:
    return math.fsum(a * b for a, b in zip(left, right, strict=True))
