"""Deciding whether a measured value lies within limits, with its uncertainty (JCGM 106:2012, ISO 14253-1)."""

import math
from dataclasses import dataclass

from rules.quantities import Limit
from rules.rounding import to_six
from rules.verdict import MET, NOT_MET, NOT_SHOWN, Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """The verdict on one value.

    Attributes:
        verdict: met, not_met or not_shown.
        reason: None when met, else the reason code.
        guard: z u, in the value's unit; None where u is unknown.
        accept_lower, accept_upper: the value is met from ``accept_lower`` to ``accept_upper``.
        p_in: probability that the true value lies within the limits (normal distribution), 0 to 1.
        capability: (U - L)/(4 u) of JCGM 106:2012; None with one limit or u = 0.
    """

    verdict: Verdict
    reason: str | None
    guard: float | None
    accept_lower: float | None
    accept_upper: float | None
    p_in: float | None
    capability: float | None


def decide(
    value: float | None, u: float | None, limit_lower: float | None, limit_upper: float | None, z: float
) -> Decision:
    """Met inside the limits by the guard z u, not met outside by it, else not shown.

    All numbers in one unit; limits belong to "met". u = 0 (counts, values the vehicle shows) compares
    plainly. A missing u is never taken as 0. z = 1.645 gives 95 % on one side (ISO 14253-1:2017 default).

    Reason codes: missing, uncertainty_unknown, outside_limit, instrument_not_capable, undecided.

    Raises:
        ValueError: a number is not finite, or u or z is negative.
    """
    limit = Limit(lower=limit_lower, upper=limit_upper, unit="", text="")
    return decide_limit(value, u, limit, z)


def decide_limit(value: float | None, u: float | None, limit: Limit, z: float) -> Decision:
    """As ``decide``, for a parsed limit: "more than" and "less than" leave the limit itself out."""
    if value is None:
        return _unjudged("missing")
    if u is None:
        return _unjudged("uncertainty_unknown")
    for number in (value, u, z, limit.lower or 0.0, limit.upper or 0.0):
        if not math.isfinite(number):
            raise ValueError("a value, uncertainty or limit is not a finite number")
    if u < 0 or z < 0:
        raise ValueError("uncertainty and decision factor cannot be negative")
    verdict, reason = _verdict(to_six(value), z * u, limit)
    return Decision(
        verdict=verdict,
        reason=reason,
        guard=to_six(z * u),
        accept_lower=None if limit.lower is None else to_six(limit.lower + z * u),
        accept_upper=None if limit.upper is None else to_six(limit.upper - z * u),
        p_in=to_six(_probability_inside(value, u, limit)),
        capability=_capability(u, limit),
    )


def _unjudged(reason: str) -> Decision:
    return Decision(
        verdict=NOT_SHOWN,
        reason=reason,
        guard=None,
        accept_lower=None,
        accept_upper=None,
        p_in=None,
        capability=None,
    )


def _verdict(value: float, guard: float, limit: Limit) -> tuple[Verdict, str | None]:
    if _beyond(value, guard, limit):
        return NOT_MET, "outside_limit"
    if _narrower_than(2 * guard, limit):
        return NOT_SHOWN, "instrument_not_capable"
    if _within(value, guard, limit):
        return MET, None
    return NOT_SHOWN, "undecided"


def _narrower_than(width: float, limit: Limit) -> bool:
    if limit.lower is None or limit.upper is None:
        return False
    return to_six(limit.upper - limit.lower) < to_six(width)


def _beyond(value: float, guard: float, limit: Limit) -> bool:
    if limit.lower is not None:
        edge = to_six(limit.lower - guard)
        if value < edge or (value == edge and not limit.lower_included):
            return True
    if limit.upper is not None:
        edge = to_six(limit.upper + guard)
        if value > edge or (value == edge and not limit.upper_included):
            return True
    return False


def _within(value: float, guard: float, limit: Limit) -> bool:
    if limit.lower is not None:
        edge = to_six(limit.lower + guard)
        if value < edge or (value == edge and not limit.lower_included):
            return False
    if limit.upper is not None:
        edge = to_six(limit.upper - guard)
        if value > edge or (value == edge and not limit.upper_included):
            return False
    return True


def normal_share_below(x: float) -> float:
    """The standard normal distribution function, by the complementary error function."""
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def _probability_inside(value: float, u: float, limit: Limit) -> float:
    if u == 0:
        return 1.0 if _within(to_six(value), 0.0, limit) else 0.0
    below_upper = 1.0 if limit.upper is None else normal_share_below((limit.upper - value) / u)
    below_lower = 0.0 if limit.lower is None else normal_share_below((limit.lower - value) / u)
    return below_upper - below_lower


def _capability(u: float, limit: Limit) -> float | None:
    if u == 0 or limit.lower is None or limit.upper is None:
        return None
    return to_six((limit.upper - limit.lower) / (4 * u))


def standard_uncertainty(
    u_fixed: float,
    u_relative: float,
    u_repeat: float,
    resolution: float,
    typed_resolution: float,
    value: float,
) -> float:
    """Standard uncertainty (k = 1) of one reading by its method budget (JCGM 100:2008, type B divisors).

    Args:
        u_fixed: from certificate, maximum permissible error and drift, in the value's unit.
        u_relative: share of the value (0.04 for 4 %).
        u_repeat: standard deviation of repetition, divided by the root of the number of readings.
        resolution: smallest step the instrument shows.
        typed_resolution: smallest step of the value as typed ("35 psi": 1 psi = 6.9 kPa); counted beside the
            instrument's own where it is coarser.
        value: the reading, in its unit.

    Raises:
        ValueError: a part of the budget is negative.
    """
    parts = (u_fixed, u_relative, u_repeat, resolution, typed_resolution)
    if any(part < 0 for part in parts):
        raise ValueError("a part of the uncertainty budget is negative")
    relative = u_relative * value
    squares = [u_fixed * u_fixed, relative * relative, u_repeat * u_repeat, resolution * resolution / 12.0]
    if typed_resolution > resolution:
        squares.append(typed_resolution * typed_resolution / 12.0)
    return math.sqrt(math.fsum(squares))
