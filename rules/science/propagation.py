"""Uncertainty of results that rest on inputs which vary together (JCGM 100:2008, 5.2.2)."""

import math
from collections.abc import Sequence

Row = tuple[float, ...]


def carried_through(
    steps: Sequence[Sequence[float]], covariance: Sequence[Sequence[float]]
) -> tuple[Row, ...]:
    """Covariance of the results, J C J'.

    Args:
        steps: J, one row for each result: how much it changes for a change of one in each input.
        covariance: C of the inputs, symmetric, in the products of their units.

    Returns:
        One row for each result, in the products of the results' units.
    """
    inputs = range(len(covariance))
    return tuple(
        tuple(
            math.fsum(one[k] * covariance[k][m] * other[m] for k in inputs for m in inputs) for other in steps
        )
        for one in steps
    )
