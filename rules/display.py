"""Numbers as they are read: decimals enough that the print cannot contradict the verdict; names in words."""

import re
from dataclasses import dataclass
from typing import Final

from rules.rounding import to_six
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
    "ratio": 2,
}
UNIT_SIGNS: Final = {
    "degC": "°C",
    "percent": "%",
    "m/s2": "m/s²",
    "count": "",
    "times": "times",
    "ratio": "",
}
# Values that are signed by nature: the sign is always printed.
SIGNED: Final = ("sideways", "yaw", "room", "lateral", "pitch")
MOST_DECIMALS: Final = 6
# As many as limits of packs have (project default).
_EXACT_DECIMALS: Final = 3


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
            found += [to_six(bound), to_six(bound - guard), to_six(bound + guard)]
    return tuple(sorted(set(found)))


def decimals_of(number: Number) -> int:
    """The fewest decimals with which the printed value stays on its side of every edge, printed or exact."""
    base = DECIMALS.get(number.unit, 0 if number.unit in ("", "count") else 2)
    if number.value is None:
        return base
    for decimals in range(base, MOST_DECIMALS):
        shown = round(number.value, decimals)
        if all(
            _side(number.value, edge) == _side(shown, edge) == _side(shown, round(edge, decimals))
            for edge in edges(number)
        ):
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


def bound_text(value: float, decimals: int) -> str:
    """A limit, with no zeros at its end; one of few decimals is never rounded."""
    exact = round(value, _EXACT_DECIMALS)
    text = _plain(value, max(decimals, _EXACT_DECIMALS) if exact == to_six(value) else decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def limit_text(number: Number) -> str:
    """``230 to 250 kPa``, ``at least 600 s``, ``at most 10 kPa``, or empty where there is no limit."""
    decimals = max(decimals_of(number), 1)
    unit = unit_text(number.unit)
    lower, upper = number.lower, number.upper
    if lower is not None and upper is not None:
        return f"{bound_text(lower, decimals)} to {bound_text(upper, decimals)} {unit}".strip()
    if lower is not None:
        return f"at least {bound_text(lower, decimals)} {unit}".strip()
    if upper is not None:
        return f"at most {bound_text(upper, decimals)} {unit}".strip()
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
class NumberText:
    """One number in print; every text but ``name`` and ``value`` may be empty."""

    name: str
    value: str
    uncertainty: str
    limit: str
    accepted: str
    probability_inside: str

    @property
    def words(self) -> str:
        """``Distance 3206.00 mm, standard uncertainty 0.713 mm; asked for 3185 to 3215 mm, accepted ...``."""
        text = f"{self.name} {self.value}"
        if self.uncertainty:
            text += f", standard uncertainty {self.uncertainty}"
        if self.limit:
            text += f"; asked for: {self.limit}"
        if self.accepted:
            text += f", accepted here: {self.accepted}"
        return text


def number_text(number: Number) -> NumberText:
    """The one printed form of a number: value, uncertainty, limit and accept zone in its display unit."""
    unit = unit_text(number.unit)
    accepted = accept_text(number)
    return NumberText(
        name=number_name(number),
        value=value_text(number) if number.value is None else with_unit(number),
        uncertainty=f"{number.u:.3g} {unit}".strip() if number.u else "",
        limit=limit_text(number),
        accepted=accepted if not accepted or accepted.startswith("none") else f"{accepted} {unit}".strip(),
        probability_inside="" if number.p_in is None else f"{number.p_in:.4f}",
    )


# ------------------------------------------------------------------ names

# Endings that repeat the unit.
_UNIT_ENDINGS: Final = {
    "s": "_s",
    "km": "_km",
    "mm": "_mm",
    "kPa": "_kpa",
    "V": "_v",
    "deg": "_deg",
    "degC": "_degc",
    "percent": "_percent",
    "min": "_min",
    "km/h": "_kph",
    "days": "_days",
}
_WORDS: Final = {
    "counted": "counted",
    "longest": "longest counted stretch",
    "high": "at most, if every gap counted",
    "longest high": "longest stretch, if every gap counted",
    "track": "length of the whole track",
    "distance": "length",
    "minutes": "time by the data sheet",
    "minutes hopeful": "time by the data sheet, readings plus their uncertainty",
    "rh": "humidity",
    "temp": "temperature",
}
# Names that mean something else in another unit, or say too little by themselves.
_BY_UNIT: Final = {
    ("across_body", "mm"): "sideways from the middle of the car",
    ("turn_to_body", "deg"): "turn against the body",
    ("tape_scale_u", "mm/m"): "standard uncertainty of the tape's scale",
    ("measured_from_front", "count"): "measured from the front marks (1) or the rear marks (0)",
}
# Short words that are written out wherever they stand.
_SHORT: Final = ("rh", "temp")


_TAPE: Final = re.compile(r"(read|residual|count)_([db]_[LR]{2})")
_TAPE_HEADS: Final = {"read": "Read", "residual": "Residual", "count": "Sets averaged"}
_SIDES: Final = {"L": "left", "R": "right"}


def tape_words(place: str) -> str:
    """``d_LR``, from a mark on the floor to an end of the target's bar, in words."""
    axle = " of the other axle" if place.startswith("b") else ""
    return f"{_SIDES[place[2]]} mark{axle} to {_SIDES[place[3]]} end of the bar"


def number_name(number: Number) -> str:
    """``counted_s`` in seconds becomes ``Counted``; ``run_1_s`` becomes ``Run 1``."""
    name = number.name
    tape = _TAPE.fullmatch(name)
    if tape:
        return f"{_TAPE_HEADS[tape[1]]}, {tape_words(tape[2])}"
    known = _BY_UNIT.get((name, number.unit))
    if known is not None:
        return _capital(known)
    ending = _UNIT_ENDINGS.get(number.unit, "")
    if ending and name.lower().endswith(ending):
        name = name[: -len(ending)]
    if name.startswith("uncounted_"):
        return f"Not counted, {_words(name.removeprefix('uncounted_'))}"
    words = _words(name)
    if words in _WORDS and (words, number.unit) != ("distance", "mm"):
        return _capital(_WORDS[words])
    return _capital(" ".join(_WORDS.get(word, word) if word in _SHORT else word for word in words.split()))


def _words(code: str) -> str:
    """``rear_left`` as words; readers say tire where the data say tyre."""
    return code.replace("_", " ").replace(".", " ").replace("tyre", "tire")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
