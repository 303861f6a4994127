"""The chi-square distribution by the incomplete gamma function: its share below a value, and its points."""

import math
from typing import Final

_MOST_TERMS: Final = 10_000
_EPSILON: Final = 1e-16
_TINY: Final = 1e-300


def share_below(value: float, degrees_of_freedom: int) -> float:
    """Probability that a chi-square variable lies at or below ``value``; 0 to 1.

    The regularised lower incomplete gamma function P(n/2, value/2): by its series below n/2 + 1, above it by
    the continued fraction of its complement (NIST Digital Library of Mathematical Functions, 8.11.4, 8.9.2).

    Raises:
        ValueError: no degree of freedom, or a value that is negative or not a number.
    """
    if degrees_of_freedom < 1:
        raise ValueError("there is no degree of freedom")
    if math.isnan(value) or value < 0.0:
        raise ValueError("a sum of squares is not negative")
    shape, half = degrees_of_freedom / 2.0, value / 2.0
    if half == 0.0:
        return 0.0
    if math.isinf(value):
        return 1.0
    front = math.exp(shape * math.log(half) - half - math.lgamma(shape))
    if half < shape + 1.0:
        return front * _series(shape, half)
    return 1.0 - front * _fraction(shape, half)


def _series(shape: float, x: float) -> float:
    term = 1.0 / shape
    terms = [term]
    for step in range(1, _MOST_TERMS):
        term *= x / (shape + step)
        terms.append(term)
        if term < _EPSILON * terms[0]:
            break
    return math.fsum(terms)


def _fraction(shape: float, x: float) -> float:
    """The continued fraction, evaluated from the front (Lentz's method)."""
    b = x + 1.0 - shape
    c = 1.0 / _TINY
    d = 1.0 / b
    result = d
    for step in range(1, _MOST_TERMS):
        a = -step * (step - shape)
        b += 2.0
        d = _not_zero(a * d + b)
        c = _not_zero(b + a / c)
        d = 1.0 / d
        change = d * c
        result *= change
        if abs(change - 1.0) < _EPSILON * 8.0:
            break
    return result


def _not_zero(value: float) -> float:
    return _TINY if abs(value) < _TINY else value


def point(degrees_of_freedom: int, share: float = 0.95) -> float:
    """The value that a chi-square variable stays at or below with probability ``share``.

    Found by halving the interval until it no longer shrinks: slow and without surprises.

    Raises:
        ValueError: no degree of freedom, or a share outside 0 to 1.
    """
    if not 0.0 < share < 1.0:
        raise ValueError("a share lies between 0 and 1")
    low, high = 0.0, float(max(degrees_of_freedom, 1))
    while share_below(high, degrees_of_freedom) < share:
        low, high = high, 2.0 * high
    while True:
        middle = 0.5 * (low + high)
        if middle in (low, high):
            return middle
        if share_below(middle, degrees_of_freedom) < share:
            low = middle
        else:
            high = middle
