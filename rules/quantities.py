"""Units, conversion, and the grammar of limits that packs are written in."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction
from typing import Final

MAX_TEXT_LENGTH: Final = 120
# More digits than any instrument shows; keeps every typed number exactly readable as a float.
MAX_DIGITS: Final = 15


class QuantityError(ValueError):
    """A limit, a quantity or a typed value that cannot be read; ``code`` is stable, the message is plain."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A parsed limit in the program's unit.

    Attributes:
        lower, upper: the bounds, None where open.
        lower_included, upper_included: False for "more than" and "less than".
        unit: the program's unit (mm, deg, V, kPa, degC, percent, s, days, months, km/h, m/s2, deg/s, lx, um,
            times).
        text: the limit as written in the pack.
        placard_half_width: for "placard ± 10 kPa", the half width; bounds are then None.
    """

    lower: float | None
    upper: float | None
    unit: str
    text: str
    lower_included: bool = True
    upper_included: bool = True
    placard_half_width: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """``program value = (typed value + shift) * factor``, exactly, in the unit ``program``."""

    program: str
    factor: Fraction = Fraction(1)
    shift: Fraction = Fraction(0)


_INCH_MM = Fraction(254, 10)
# Pound-force per square inch: 0.45359237 kg, 9.80665 m/s2 and 25.4 mm are exact (NIST SP 811, appendix B).
_PSI_KPA = Fraction("0.45359237") * Fraction("9.80665") / (Fraction("0.0254") * Fraction("0.0254")) / 1000

UNITS: Final[Mapping[str, Unit]] = {
    "mm": Unit(program="mm"),
    "cm": Unit(program="mm", factor=Fraction(10)),
    "m": Unit(program="mm", factor=Fraction(1000)),
    "km": Unit(program="mm", factor=Fraction(1_000_000)),
    "in": Unit(program="mm", factor=_INCH_MM),
    "ft": Unit(program="mm", factor=_INCH_MM * 12),
    "deg": Unit(program="deg"),
    "V": Unit(program="V"),
    "kPa": Unit(program="kPa"),
    "bar": Unit(program="kPa", factor=Fraction(100)),
    "psi": Unit(program="kPa", factor=_PSI_KPA),
    "degC": Unit(program="degC"),
    "degF": Unit(program="degC", factor=Fraction(5, 9), shift=Fraction(-32)),
    "percent": Unit(program="percent"),
    "s": Unit(program="s"),
    "min": Unit(program="s", factor=Fraction(60)),
    "h": Unit(program="s", factor=Fraction(3600)),
    "days": Unit(program="days"),
    "months": Unit(program="months"),
    "km/h": Unit(program="km/h"),
    "mph": Unit(program="km/h", factor=Fraction("1.609344")),
    "m/s2": Unit(program="m/s2"),
    "deg/s": Unit(program="deg/s"),
    "lx": Unit(program="lx"),
    "um": Unit(program="um"),
    "mil": Unit(program="um", factor=Fraction("25.4")),
    "times": Unit(program="times"),
}
ODOMETER_KM: Final[Mapping[str, Fraction]] = {"km": Fraction(1), "mi": Fraction("1.609344")}

_NUMBER = r"-?[0-9]+(?:\.[0-9]+)?"
_QUANTITY = re.compile(rf"({_NUMBER})[ ]*([A-Za-z][A-Za-z0-9/]*)")
_BARE_NUMBER = re.compile(_NUMBER)
_TYPED = re.compile(r"[+-]?[0-9]+(?:\.([0-9]+))?")
_BETWEEN = re.compile(r"between[ ]+(.+?)[ ]+and[ ]+(.+)")
_PLUS_MINUS = re.compile(r"(.+?)[ ]*(?:±|\+/?-)[ ]*(.+)")
# As makers' documents print it: thousands with commas, a long dash for minus, signs for units.
_PRINTED = re.compile(r"([-\N{MINUS SIGN}]?[0-9][0-9,.]*)[ ]*([^0-9 ].*)")
_PRINTED_UNITS: Final[Mapping[str, str]] = {
    "\N{MICRO SIGN}m": "um",
    "\N{GREEK SMALL LETTER MU}m": "um",
    "\N{DEGREE SIGN}": "deg",
    "\N{DEGREE SIGN}C": "degC",
    "\N{DEGREE SIGN}F": "degF",
    "\N{DEGREE SIGN}/s": "deg/s",
    "m/s\N{SUPERSCRIPT TWO}": "m/s2",
    "\N{DOUBLE PRIME}": "in",
    "%": "percent",
}
_OTHER_WORDS: Final = tuple(
    (re.compile(rf"(?:{said})[ ]*(.+)"), words)
    for said, words in (
        ("<=|\N{LESS-THAN OR EQUAL TO}|max(?:imum|[.])?|up to|no more than|not more than", "at most"),
        (">=|\N{GREATER-THAN OR EQUAL TO}|min(?:imum|[.])?|no less than|not less than", "at least"),
        ("<|under|below", "less than"),
        (">|over|above", "more than"),
    )
)
_EN_DASH: Final = "\N{EN DASH}"
_RANGE = re.compile(rf"({_NUMBER})[ ]*(?:-|{_EN_DASH}|to)[ ]*({_NUMBER})[ ]*([A-Za-z][A-Za-z0-9/]*)")
_BOUND_WORDS = ("at least", "at most", "more than", "less than")
_ADVICE = 'write for example "3200 mm ± 15 mm", "between 12.0 V and 15.0 V" or "at least 65 km/h"'


def parse_limit(text: str) -> Limit:
    """Read a limit such as ``3200 mm ± 15 mm``, ``between 12.0 V and 15.0 V``, ``at least 65 km/h``.

    Returns:
        The limit in the program's unit, bounds rounded to six decimals.

    Raises:
        QuantityError: codes ``limit_syntax``, ``unit_missing``, ``unit_unknown``, ``unit_mismatch``,
            ``limit_reversed``, ``number_size``, ``placard_misplaced``.
    """
    tidy = _tidy(text)
    for words in _BOUND_WORDS:
        if tidy.startswith(words + " "):
            return _bound(words, tidy[len(words) :].strip(), text)
    if tidy.startswith("exactly "):
        value, unit = _read(tidy.removeprefix("exactly ").strip())
        at = _converted(value, unit)
        return Limit(lower=at, upper=at, unit=UNITS[unit].program, text=text)
    between = _BETWEEN.fullmatch(tidy)
    if between is not None:
        return _between(between[1], between[2], text)
    plus_minus = _PLUS_MINUS.fullmatch(tidy)
    if plus_minus is not None:
        return _plus_minus(plus_minus[1], plus_minus[2], text)
    if _BARE_NUMBER.fullmatch(tidy):
        raise QuantityError("unit_missing", f'"{text}" is a limit without a unit; {_ADVICE}')
    meant = _meant(tidy)
    advice = f'did you mean "{meant}"?' if meant else _ADVICE
    raise QuantityError("limit_syntax", f'"{text}" is not a limit; {advice}')


def parse_quantity(text: str) -> tuple[float, str]:
    """Read a bare quantity such as ``4 h``: the value in the program's unit, and that unit.

    Raises:
        QuantityError: codes ``quantity_syntax``, ``unit_missing``, ``unit_unknown``, ``number_size``.
    """
    value, unit = _read(_tidy(text))
    return _converted(value, unit), UNITS[unit].program


def to_program_unit(value: float, unit: str) -> tuple[float, str]:
    """Convert a value typed in ``unit``; exact factors, rounded once to six decimals.

    Raises:
        QuantityError: codes ``unit_unknown``, ``number_size`` (not finite).
    """
    _known(unit)
    return _converted(_finite(value), unit), UNITS[unit].program


def difference_to_program_unit(value: float, unit: str) -> tuple[float, str]:
    """The same for a difference, a resolution or an uncertainty: a degree Fahrenheit is then 5/9 degC."""
    _known(unit)
    return _rounded(_finite(value) * UNITS[unit].factor), UNITS[unit].program


def odometer_km(value: float, unit: str) -> float:
    """An odometer value or its step in kilometres; ``unit`` is km or mi (1 mi = 1.609344 km exactly)."""
    if unit not in ODOMETER_KM:
        raise QuantityError("unit_unknown", f'An odometer is read in km or mi, not in "{unit}".')
    return _rounded(_finite(value) * ODOMETER_KM[unit])


def parse_typed(text: str) -> tuple[float, float]:
    """Read a number as a person typed it: the value, and the step of its last digit.

    ``35`` gives (35.0, 1.0), ``241.3`` gives (241.3, 0.1). Only ASCII digits, one sign and one point are
    taken: a comma may be a thousands mark or a decimal mark, and a guess would be a wrong value.

    Raises:
        QuantityError: code ``value_unreadable``.
    """
    tidy = text.strip(" ")
    found = _TYPED.fullmatch(tidy)
    digits = sum(character in "0123456789" for character in tidy)
    if found is None or digits > MAX_DIGITS:
        shown = text if len(text) <= 40 else text[:40] + "…"
        message = f'"{shown}" cannot be read as a number; type digits with a point, for example 241.3'
        raise QuantityError("value_unreadable", message)
    places = len(found[1] or "")
    value = float(Fraction(tidy))
    return (value if value != 0.0 else 0.0), float(Fraction(1, 10**places))


def _bound(words: str, quantity: str, text: str) -> Limit:
    value, unit = _read(quantity)
    at = _converted(value, unit)
    program = UNITS[unit].program
    if words in ("at least", "more than"):
        return Limit(lower=at, upper=None, unit=program, text=text, lower_included=words == "at least")
    return Limit(lower=None, upper=at, unit=program, text=text, upper_included=words == "at most")


def _between(low_text: str, high_text: str, text: str) -> Limit:
    low, low_unit = _read(low_text)
    high, high_unit = _read(high_text)
    _same_dimension(low_unit, high_unit, text)
    lower, upper = _converted(low, low_unit), _converted(high, high_unit)
    if lower > upper:
        raise QuantityError("limit_reversed", f'"{text}": the first value is above the second')
    return Limit(lower=lower, upper=upper, unit=UNITS[low_unit].program, text=text)


def _plus_minus(middle_text: str, half_text: str, text: str) -> Limit:
    half, half_unit = _read(half_text)
    if half < 0:
        raise QuantityError("limit_reversed", f'"{text}": the width after ± is negative')
    width = half * UNITS[half_unit].factor
    program = UNITS[half_unit].program
    if middle_text == "placard":
        return Limit(lower=None, upper=None, unit=program, text=text, placard_half_width=_rounded(width))
    if _BARE_NUMBER.fullmatch(middle_text):
        hint = f'did you mean "{middle_text} {half_unit} ± {half_text}"?'
        raise QuantityError("unit_missing", f'"{middle_text}" is a limit without a unit; {hint}')
    middle, middle_unit = _read(middle_text)
    _same_dimension(middle_unit, half_unit, text)
    centre = (middle + UNITS[middle_unit].shift) * UNITS[middle_unit].factor
    return Limit(lower=_rounded(centre - width), upper=_rounded(centre + width), unit=program, text=text)


def _read(text: str) -> tuple[Fraction, str]:
    found = _QUANTITY.fullmatch(text)
    if found is None:
        raise _why_unreadable(text)
    number, unit = found[1], found[2]
    _known(unit)
    if len(number) > MAX_DIGITS:
        raise QuantityError("number_size", f'"{text}" has more digits than can be meant')
    return Fraction(number), unit


def _why_unreadable(text: str) -> QuantityError:
    if text == "placard":
        return QuantityError("placard_misplaced", '"placard" is written with ±, as in "placard ± 10 kPa"')
    if _BARE_NUMBER.fullmatch(text):
        return QuantityError("unit_missing", f'"{text}" is a limit without a unit')
    return _of_signs(text) or QuantityError(
        "quantity_syntax", f'"{text}" is not a number with a unit, as in "15 mm"'
    )


def _of_signs(text: str) -> QuantityError | None:
    """What makers' documents print and packs do not take; None where it is something else."""
    found = _PRINTED.fullmatch(text)
    if found is None:
        return None
    number, unit = found[1], found[2].strip()
    if "," in number:
        words = f'"{number}" has a comma; write thousands without one, and decimals with a point'
        return QuantityError("quantity_syntax", words)
    if number.startswith("\N{MINUS SIGN}"):
        words = f'"{text}" begins with a long dash; write "-{number[1:]} {unit}"'
        return QuantityError("quantity_syntax", words)
    if unit in _PRINTED_UNITS:
        words = f'"{unit}" is not a unit this program knows; did you mean "{number} {_PRINTED_UNITS[unit]}"?'
        return QuantityError("unit_unknown", words)
    return None


def _meant(text: str) -> str:
    """The limit that other words for it mean; nothing where none of them stands there."""
    for pattern, words in _OTHER_WORDS:
        found = pattern.fullmatch(text)
        if found is not None:
            return f"{words} {found[1]}"
    found = _RANGE.fullmatch(text)
    return f"between {found[1]} {found[3]} and {found[2]} {found[3]}" if found is not None else ""


def _known(unit: str) -> None:
    if unit not in UNITS:
        near = get_close_matches(unit, UNITS, n=1, cutoff=0.5) or [
            known for known in UNITS if known.lower() == unit.lower()
        ]
        hint = f'; did you mean "{near[0]}"?' if near else ""
        raise QuantityError("unit_unknown", f'"{unit}" is not a unit this program knows{hint}')


def _same_dimension(first: str, second: str, text: str) -> None:
    if UNITS[first].program != UNITS[second].program:
        raise QuantityError("unit_mismatch", f'"{text}": {first} and {second} do not measure the same thing')


def _finite(value: float) -> Fraction:
    if not math.isfinite(value):
        raise QuantityError("number_size", "the value is not a finite number")
    # The shortest decimal that reads back as this float: 241.3 means 241.3, not its binary neighbour.
    return Fraction(repr(float(value)))


def _converted(value: Fraction, unit: str) -> float:
    known = UNITS[unit]
    return _rounded((value + known.shift) * known.factor)


def _rounded(value: Fraction) -> float:
    try:
        rounded = float(round(value, 6))
    except OverflowError:
        raise QuantityError("number_size", "the value is too large") from None
    return rounded if rounded != 0.0 else 0.0


def _tidy(text: str) -> str:
    if len(text) > MAX_TEXT_LENGTH:
        raise QuantityError("limit_syntax", "the text is too long for a limit or a quantity")
    return text.strip(" ")
