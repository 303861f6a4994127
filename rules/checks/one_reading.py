"""One measured value against its limit, told with its numbers: the one way in which checks judge a value."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.checks.draft import Draft, plain
from rules.conformity import Decision, decide_limit
from rules.facts import Reading
from rules.quantities import Limit
from rules.rounding import to_six
from rules.verdict import NOT_MET, NOT_SHOWN, Number

# Read without an instrument, with a method budget of their own.
READ_BY_EYE: Final = frozenset({"seam_step"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """What is judged: its name among the numbers, its words, and how a value of it is read.

    ``sides``: words for a positive and a negative value, where a sign alone says too little.
    """

    name: str
    words: str
    sides: tuple[str, str] | None = None
    digits: int = 1


def known_u(reading: Reading) -> float | None:
    """The uncertainty of a reading with that of its correction; None where it is not known.

    A reading that names no instrument has none, save what the vehicle shows and what is read by eye with a
    budget of its own. Only what the vehicle shows can be without any uncertainty.
    """
    if reading.u is None:
        return None
    if reading.vehicle_shown:
        return math.hypot(reading.u, reading.u_added)
    has_method = reading.instrument is not None or reading.quantity in READ_BY_EYE
    return math.hypot(reading.u, reading.u_added) if has_method and reading.u > 0.0 else None


def u_of_mean(readings: Sequence[Reading], independent: Sequence[float]) -> float:
    """Standard uncertainty of the mean of readings whose independent parts are given, in their unit.

    Repetition is averaged away. The rounding of a value typed in steps coarser than its other uncertainty is
    not: every repeat is rounded the same way. (A step of less than twice the spread of the readings is.)
    """
    count = len(readings)
    rounding = [_rounding_u(reading, u) for reading, u in zip(readings, independent, strict=True)]
    pairs = zip(independent, rounding, strict=True)
    rest = [max(0.0, (u - shared) * (u + shared)) for u, shared in pairs]
    shared = max(rounding, default=0.0)
    return math.sqrt(math.fsum(rest) / (count * count) + shared * shared)


def _rounding_u(reading: Reading, u: float) -> float:
    """The part of ``u`` that is one rounding for all repeats; 0 where the step is fine enough."""
    step = reading.resolution
    if step is None or not math.isfinite(step) or step <= 0.0:
        return 0.0
    rounding = min(u, step / math.sqrt(12.0))
    rest = math.sqrt(max(0.0, (u - rounding) * (u + rounding)))
    return rounding if rest < step / 2.0 else 0.0


def judge_value(
    draft: Draft, named: Named, measured: tuple[float, float | None], limit: Limit, z: float, change: str
) -> Decision:
    """Decide one value, keep its number, and tell it where it is not met; ``change`` says what to do then.

    Values and uncertainties that are no numbers are ``unreadable``; they are never compared.
    """
    if not all(math.isfinite(number) for number in (measured[0], measured[1] or 0.0)):
        return _unreadable(draft, named)
    value, u = to_six(measured[0]), measured[1]
    decision = decide_limit(value, u, limit, z)
    draft.numbers.append(
        Number(
            name=named.name,
            value=value,
            unit=limit.unit,
            u=None if u is None else to_six(u),
            guard=decision.guard,
            lower=limit.lower,
            upper=limit.upper,
            p_in=decision.p_in,
        )
    )
    if decision.reason is not None:
        _tell(draft, named, (value, u), limit, decision, change)
    return decision


def _unreadable(draft: Draft, named: Named) -> Decision:
    draft.not_shown("unreadable", f"{named.words}: what is on record is no number.", "Read it again.", "now")
    return Decision(
        verdict=NOT_SHOWN,
        reason="unreadable",
        guard=None,
        accept_lower=None,
        accept_upper=None,
        p_in=None,
        capability=None,
    )


def _tell(
    draft: Draft,
    named: Named,
    measured: tuple[float, float | None],
    limit: Limit,
    decision: Decision,
    change: str,
) -> None:
    value, u = measured
    shown = value_words(named, value, limit, decision)
    if u is None:
        draft.not_shown(
            "uncertainty_unknown",
            f"{named.words}: {shown}; no instrument with a method budget is named, so its uncertainty is "
            "unknown.",
            "Read it again with an instrument on the list.",
            "now",
        )
        return
    known = f"{named.words}: {shown}, standard uncertainty {u_words(u)} {limit.unit}."
    if decision.verdict == NOT_MET:
        why = f"A reading {_outside(limit, decision, value)} lies outside by more than its uncertainty."
        draft.not_met("outside_limit", known, change, "now", why)
        return
    if decision.reason == "instrument_not_capable":
        why = "The limits lie closer together than the uncertainty of the reading: no reading can show this."
        draft.not_shown("instrument_not_capable", known, change, "now", why)
        return
    why = f"A reading {_near(limit, decision, value)}."
    draft.not_shown("undecided", known, change, "now", why)


def u_words(u: float) -> str:
    """A standard uncertainty with two decimals, or as many as it takes not to seem to be none."""
    digits = 2
    while u > 0.0 and digits < 6 and float(plain(u, digits)) == 0.0:
        digits += 1
    return plain(u, digits)


def value_words(named: Named, value: float, limit: Limit, decision: Decision) -> str:
    """The value with as many digits as it needs not to contradict the verdict."""
    text = plain(value, named.digits, edges(limit, decision))
    if named.sides is None:
        return f"{text} {limit.unit}"
    side = "" if float(text) == 0.0 else f" {named.sides[0 if value > 0 else 1]}"
    return f"{text.removeprefix('-')} {limit.unit}{side}"


def edges(limit: Limit, decision: Decision) -> tuple[float | None, ...]:
    """The values that a printed number must not seem to be on the other side of."""
    guard = decision.guard or 0.0
    return (
        limit.lower,
        limit.upper,
        decision.accept_lower,
        decision.accept_upper,
        None if limit.lower is None else to_six(limit.lower - guard),
        None if limit.upper is None else to_six(limit.upper + guard),
    )


def _near(limit: Limit, decision: Decision, value: float) -> str:
    """The readings that are in question: ``above 6.79 mm cannot be told apart from one outside``."""
    guard = decision.guard or 0.0
    upper, lower = limit.upper, limit.lower
    above = upper is not None and (lower is None or upper - value < value - lower)
    edge, way = (upper or 0.0, 1.0) if above else (lower or 0.0, -1.0)
    if (value - edge) * way <= 0.0:
        word, bound, other = ("above" if above else "below"), edge - way * guard, "outside"
    else:
        word, bound, other = ("up to" if above else "down to"), edge + way * guard, "inside"
    return f"{word} {plain(to_six(bound), 2, (value,))} {limit.unit} cannot be told apart from one {other}"


def _outside(limit: Limit, decision: Decision, value: float) -> str:
    """The reject limit that the value lies beyond: ``above 13.21 mm``."""
    guard = decision.guard or 0.0
    if limit.upper is not None and (limit.lower is None or value > limit.lower):
        return f"above {plain(to_six(limit.upper + guard), 2, (value,))} {limit.unit}"
    return f"below {plain(to_six((limit.lower or 0.0) - guard), 2, (value,))} {limit.unit}"


def half_width(limit: Limit) -> tuple[float, float] | None:
    """Middle and half width of a limit with two ends; None with one."""
    if limit.lower is None or limit.upper is None:
        return None
    return to_six((limit.lower + limit.upper) / 2.0), to_six((limit.upper - limit.lower) / 2.0)


def limit_words(limit: Limit) -> str:
    """``3200 mm ± 15 mm``, ``at most 8 mm``: as the pack writes it, or from its numbers."""
    if limit.text:
        return limit.text
    found = half_width(limit)
    if found is not None:
        return f"{found[0]:g} {limit.unit} ± {found[1]:g} {limit.unit}"
    if limit.upper is not None:
        return f"at most {limit.upper:g} {limit.unit}"
    return f"at least {limit.lower or 0.0:g} {limit.unit}"
