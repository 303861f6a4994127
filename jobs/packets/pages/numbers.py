"""The interval bar of a number: its value against the limits, the accept zone and the guard."""

from dataclasses import dataclass
from typing import Final

from rules.display import bound_text, decimals_of
from rules.verdict import Number


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """An interval bar on 212 x 40 units: ``limits`` are (x, label), the rest x or (x, width)."""

    limits: tuple[tuple[float, str], ...]
    accept: tuple[float, float] | None
    doubt: tuple[tuple[float, float], ...]
    value_x: float
    spread: tuple[float, float] | None


BAR_WIDTH: Final = 212.0
BAR_MARGIN: Final = 6.0


def bar_of(number: Number) -> Bar | None:
    """The drawing of a value against its limits; None where there is nothing to draw."""
    bounds = [bound for bound in (number.lower, number.upper) if bound is not None]
    if number.value is None or not bounds:
        return None
    guard, value = number.guard or 0.0, number.value
    points = [value - guard, value + guard, *(b - guard for b in bounds), *(b + guard for b in bounds)]
    low, high = min(points), max(points)
    room = (high - low) * 0.12 or max(abs(value) * 0.1, 1.0)
    low, high = low - room, high + room
    if len(bounds) == 1:
        # An open side still shows some of the accept zone.
        low, high = (low, high + room * 2) if number.lower is not None else (low - room * 2, high)

    def x(at: float) -> float:
        return round(BAR_MARGIN + (at - low) / (high - low) * (BAR_WIDTH - 2 * BAR_MARGIN), 2)

    def stretch(start: float, end: float) -> tuple[float, float]:
        return x(start), round(x(end) - x(start), 2)

    first = low if number.lower is None else number.lower + guard
    last = high if number.upper is None else number.upper - guard
    decimals = max(decimals_of(number), 1)
    return Bar(
        limits=tuple((x(bound), bound_text(bound, decimals)) for bound in bounds),
        accept=stretch(first, last) if first < last else None,
        doubt=tuple(stretch(bound - guard, bound + guard) for bound in bounds) if guard else (),
        value_x=x(value),
        spread=stretch(value - guard, value + guard) if guard else None,
    )
