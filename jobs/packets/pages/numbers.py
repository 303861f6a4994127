"""Numbers as the packet prints them: decimals enough that the print cannot contradict the verdict; bars."""

from dataclasses import dataclass
from typing import Final

from rules.verdict import Number, Verdict

# Decimals by unit (project default); more are printed where fewer would move a value across a limit.
DECIMALS: Final = {
    "mm": 2,
    "um": 1,
    "deg": 3,
    "kPa": 1,
    "V": 2,
    "degC": 1,
    "percent": 1,
    "s": 0,
    "min": 0,
    "km": 2,
    "km/h": 1,
    "m/s2": 2,
    "deg/s": 1,
    "lx": 0,
    "times": 2,
}
UNIT_SIGNS: Final = {"degC": "°C", "percent": "%", "m/s2": "m/s²", "count": "", "times": "times"}
# Values that are signed by nature: the sign is always printed.
SIGNED: Final = ("sideways", "yaw", "room", "lateral", "pitch")
MOST_DECIMALS: Final = 6


def unit_text(unit: str) -> str:
    return UNIT_SIGNS.get(unit, unit)


def _plain(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.removeprefix("-")
    return text.replace("-", "−")


def edges(number: Number) -> tuple[float, ...]:
    """The limits and, where there is a guard, the accept limits and the reject limits."""
    guard = number.guard or 0.0
    found: list[float] = []
    for bound in (number.lower, number.upper):
        if bound is not None:
            found += [bound, bound - guard, bound + guard]
    return tuple(sorted(set(found)))


def decimals_of(number: Number) -> int:
    """The fewest decimals with which the printed value stays on its side of every edge."""
    base = DECIMALS.get(number.unit, 0 if number.unit in ("", "count") else 2)
    if number.value is None:
        return base
    for decimals in range(base, MOST_DECIMALS):
        shown = round(number.value, decimals)
        if all(_side(number.value, edge) == _side(shown, edge) for edge in edges(number)):
            return _least_exact(number.value, decimals)
    return MOST_DECIMALS


def _side(value: float, edge: float) -> int:
    return (value > edge) - (value < edge)


def _least_exact(value: float, decimals: int) -> int:
    """A value that is not zero never prints as zero."""
    while decimals < MOST_DECIMALS and value != 0 and round(value, decimals) == 0:
        decimals += 1
    return decimals


def value_text(number: Number) -> str:
    """The value without its unit; ``not known`` where there is none."""
    if number.value is None:
        return "not known"
    text = _plain(number.value, decimals_of(number))
    signed = any(word in number.name for word in SIGNED)
    return f"+{text}" if signed and number.value > 0 else text


def with_unit(number: Number) -> str:
    unit = unit_text(number.unit)
    return f"{value_text(number)} {unit}".strip()


def _bound(value: float, decimals: int) -> str:
    text = _plain(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def limit_text(number: Number) -> str:
    """``230 to 250 kPa``, ``at least 600 s``, ``at most 10 kPa``, or empty where there is no limit."""
    decimals = max(decimals_of(number), 1)
    unit = unit_text(number.unit)
    lower, upper = number.lower, number.upper
    if lower is not None and upper is not None:
        return f"{_bound(lower, decimals)} to {_bound(upper, decimals)} {unit}".strip()
    if lower is not None:
        return f"at least {_bound(lower, decimals)} {unit}".strip()
    if upper is not None:
        return f"at most {_bound(upper, decimals)} {unit}".strip()
    return ""


def accept_text(number: Number) -> str:
    """The zone in which this instrument can show the limit to be kept; empty where no guard applies."""
    if not number.guard:
        return ""
    decimals = max(decimals_of(number), DECIMALS.get(number.unit, 2))
    low = None if number.lower is None else number.lower + number.guard
    high = None if number.upper is None else number.upper - number.guard
    if low is not None and high is not None:
        if low > high:
            return "none: the instrument is not capable"
        return f"{_plain(low, decimals)} to {_plain(high, decimals)}"
    if low is not None:
        return f"from {_plain(low, decimals)}"
    return f"to {_plain(high, decimals)}" if high is not None else ""


def place_of(number: Number) -> Verdict | None:
    """Where the value lies by the decision rule of JCGM 106; None where there is no value or no limit."""
    if number.value is None or (number.lower is None and number.upper is None):
        return None
    guard = number.guard or 0.0
    low, high = number.lower, number.upper
    if (low is not None and number.value < low - guard) or (high is not None and number.value > high + guard):
        return "not_met"
    if (low is not None and number.value < low + guard) or (high is not None and number.value > high - guard):
        return "not_shown"
    return "met"


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
        limits=tuple((x(bound), _bound(bound, decimals)) for bound in bounds),
        accept=stretch(first, last) if first < last else None,
        doubt=tuple(stretch(bound - guard, bound + guard) for bound in bounds) if guard else (),
        value_x=x(value),
        spread=stretch(value - guard, value + guard) if guard else None,
    )
