"""Units, limits and typed values, against exact definitions and the boundary of every form."""

import json
import math
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.quantities import (
    UNITS,
    QuantityError,
    difference_to_program_unit,
    odometer_km,
    parse_limit,
    parse_quantity,
    parse_typed,
    to_program_unit,
)

REFERENCE = json.loads(
    (Path(__file__).parents[1] / "reference" / "unit_factors.json").read_text(encoding="utf-8")
)
FACTORS = {(row["frm"], row["to"]): row for row in REFERENCE["factors"]}


def bounds(text: str) -> tuple[float | None, float | None, bool, bool, str]:
    limit = parse_limit(text)
    return limit.lower, limit.upper, limit.lower_included, limit.upper_included, limit.unit


def code_of(text: str) -> str:
    with pytest.raises(QuantityError) as caught:
        parse_limit(text)
    assert str(caught.value)
    return caught.value.code


# Exact definitions and the seven-digit forms of NIST SP 811, appendix B.8, as stored in the reference file.
@pytest.mark.parametrize(
    ("unit", "frm", "to", "scale"),
    [
        ("in", "inch", "mm", Fraction(1)),
        ("ft", "foot", "m", Fraction(1000)),
        ("mph", "mile/h", "km/h", Fraction(1)),
    ],
)
def test_exact_factors(unit: str, frm: str, to: str, scale: Fraction) -> None:
    assert UNITS[unit].factor == Fraction(str(FACTORS[frm, to]["value"])) * scale


def test_pound_per_square_inch_is_the_exact_ratio() -> None:
    row = FACTORS["lbf/in2 (psi)", "Pa"]
    assert UNITS["psi"].factor * 1000 == Fraction(row["value"])
    assert float(UNITS["psi"].factor * 1000) == row["decimal"]
    per_bar = float(UNITS["bar"].factor / UNITS["psi"].factor)
    assert per_bar == pytest.approx(FACTORS["bar", "psi"]["decimal"], rel=1e-15)


def test_fahrenheit_pairs() -> None:
    for fahrenheit, celsius in FACTORS["degF", "degC"]["pairs"]:
        assert to_program_unit(fahrenheit, "degF") == (round(celsius, 6), "degC")
    assert difference_to_program_unit(9, "degF") == (5.0, "degC")


def test_speed_pairs() -> None:
    for pair in REFERENCE["speed_pairs"]:
        assert to_program_unit(pair["mph"], "mph") == (pair["km_h"], "km/h")


def test_odometers() -> None:
    assert odometer_km(1, "mi") == float(FACTORS["mile", "m"]["value"]) / 1000
    assert odometer_km(21007, "km") == 21007.0
    with pytest.raises(QuantityError) as caught:
        odometer_km(1, "m")
    assert caught.value.code == "unit_unknown"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("3200 mm ± 15 mm", (3185.0, 3215.0, True, True, "mm")),
        ("3200 mm +- 15 mm", (3185.0, 3215.0, True, True, "mm")),
        ("3200mm±15mm", (3185.0, 3215.0, True, True, "mm")),
        ("-2500 mm ± 25 mm", (-2525.0, -2475.0, True, True, "mm")),
        ("3.2 m ± 1 in", (3174.6, 3225.4, True, True, "mm")),
        ("59 degF ± 9 degF", (10.0, 20.0, True, True, "degC")),
        ("between 12.0 V and 15.0 V", (12.0, 15.0, True, True, "V")),
        ("between 65 km/h and 110 km/h", (65.0, 110.0, True, True, "km/h")),
        ("at least 600 s", (600.0, None, True, True, "s")),
        ("at most 120 min", (None, 7200.0, True, True, "s")),
        ("at most 7 mil", (None, 177.8, True, True, "um")),
        ("more than 40 mph", (64.37376, None, False, True, "km/h")),
        ("less than 2 bar", (None, 200.0, True, False, "kPa")),
        ("at most 2.0 times", (None, 2.0, True, True, "times")),
        ("exactly 4 times", (4.0, 4.0, True, True, "times")),
    ],
)
def test_limits(text: str, expected: tuple[float | None, float | None, bool, bool, str]) -> None:
    assert bounds(text) == expected
    assert parse_limit(text).text == text


def test_placard_keeps_only_its_width() -> None:
    limit = parse_limit("placard ± 2 psi")
    assert (limit.lower, limit.upper, limit.unit, limit.placard_half_width) == (None, None, "kPa", 13.789515)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("15", "unit_missing"),
        ("3200 ± 15 mm", "unit_missing"),
        ("at least 65", "unit_missing"),
        ("between 12 and 15 V", "unit_missing"),
        ("3200 mm ± 15 kPa", "unit_mismatch"),
        ("between 12 V and 15 mm", "unit_mismatch"),
        ("between 15 V and 12 V", "limit_reversed"),
        ("0 mm ± -1 mm", "limit_reversed"),
        ("at most 10 kilopascal", "unit_unknown"),
        ("at most 10 KPA", "unit_unknown"),
        ("at most placard", "placard_misplaced"),
        ("exactly placard", "placard_misplaced"),
        ("10 kPa ± placard", "placard_misplaced"),
        ("at least 1e5 mm", "quantity_syntax"),
        ("at least +5 mm", "quantity_syntax"),
        ("at least 5. mm", "quantity_syntax"),
        ("at least 1,200 mm", "quantity_syntax"),
        ("at least ٣ mm", "quantity_syntax"),
        ("At least 3 mm", "limit_syntax"),
        ("3200 mm", "limit_syntax"),
        ("", "limit_syntax"),
        ("at least 1234567890123456 mm", "number_size"),
        ("at least " + "1" * 5000 + " mm", "limit_syntax"),
    ],
)
def test_refused_limits(text: str, code: str) -> None:
    assert code_of(text) == code


def test_a_missing_unit_is_said_plainly() -> None:
    with pytest.raises(QuantityError, match="a limit without a unit"):
        parse_limit("at least 65")


def test_unknown_unit_offers_the_near_one() -> None:
    with pytest.raises(QuantityError, match='did you mean "kPa"'):
        parse_limit("at most 10 KPA")


def test_bare_quantities() -> None:
    assert parse_quantity("4 h") == (14400.0, "s")
    assert parse_quantity("7 days") == (7.0, "days")
    assert parse_quantity("3 percent") == (3.0, "percent")
    for text, code in (
        ("4", "unit_missing"),
        ("4 h 5 min", "quantity_syntax"),
        ("placard", "placard_misplaced"),
    ):
        with pytest.raises(QuantityError) as caught:
            parse_quantity(text)
        assert caught.value.code == code


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e308])
def test_values_that_are_no_numbers(value: float) -> None:
    with pytest.raises(QuantityError) as caught:
        to_program_unit(value, "km")
    assert caught.value.code == "number_size"


@pytest.mark.parametrize(
    ("text", "value", "step"),
    [
        ("35", 35.0, 1.0),
        ("241.3", 241.3, 0.1),
        ("241.30", 241.3, 0.01),
        ("-2.5", -2.5, 0.1),
        ("+0.20", 0.2, 0.01),
    ],
)
def test_typed_values(text: str, value: float, step: float) -> None:
    assert parse_typed(text) == (value, step)


def test_typed_minus_nothing_is_nothing() -> None:
    assert math.copysign(1.0, parse_typed("-0")[0]) == 1.0


UNREADABLE = [
    *["1,234", "1e400", "1e3", "0x1F", "1_000", "1 234", "1" * 16, "5.", ".5", "--5", "+-5", "−5"],
    *["٣٥", "３５", "nan", "inf", "", " ", "35\n"],
]


@pytest.mark.parametrize("text", UNREADABLE)
def test_typed_values_refused(text: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_typed(text)
    assert caught.value.code == "value_unreadable"


@given(st.decimals(min_value=-99999, max_value=99999, places=3), st.sampled_from(sorted(UNITS)))
def test_every_value_in_every_unit_is_the_exact_product_rounded_once(typed: object, unit: str) -> None:
    value, _step = parse_typed(str(typed))
    exact = (Fraction(str(typed)) + UNITS[unit].shift) * UNITS[unit].factor
    converted, program = to_program_unit(value, unit)
    assert program == UNITS[unit].program
    assert converted == float(round(exact, 6))
    assert parse_limit(f"exactly {typed} {unit}").lower == converted


def _read_or_code(parse: Callable[[str], object], text: str) -> object:
    try:
        return parse(text)
    except QuantityError as error:
        return error.code


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    for parse in (parse_limit, parse_quantity, parse_typed):
        assert _read_or_code(parse, text)


@pytest.mark.parametrize(
    ("text", "code", "offered"),
    [
        ("max 180 um", "limit_syntax", "at most 180 um"),
        ("max. 180 um", "limit_syntax", "at most 180 um"),
        ("<= 180 um", "limit_syntax", "at most 180 um"),
        ("≤180 um", "limit_syntax", "at most 180 um"),
        ("not less than 65 km/h", "limit_syntax", "at least 65 km/h"),
        ("> 40 mph", "limit_syntax", "more than 40 mph"),
        ("12.5-15.0 V", "limit_syntax", "between 12.5 V and 15.0 V"),
        ("12.5 to 15.0 V", "limit_syntax", "between 12.5 V and 15.0 V"),
        ("12.5 – 15.0 V", "limit_syntax", "between 12.5 V and 15.0 V"),
        ("3500 ± 25 mm", "unit_missing", "3500 mm ± 25 mm"),
        ("90.0° ± 0.8°", "unit_unknown", "0.8 deg"),
        ("at most 180 µm", "unit_unknown", "180 um"),
        ("at least 15 °C", "unit_unknown", "15 degC"),
        ("at most 2 %", "unit_unknown", "2 percent"),
    ],
)
def test_what_makers_print_is_refused_with_what_to_write(text: str, code: str, offered: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_limit(text)
    assert caught.value.code == code
    assert f'did you mean "{offered}"' in str(caught.value)
    parse_limit(offered if code != "unit_unknown" else f"at most {offered}")


@pytest.mark.parametrize(
    ("text", "words"), [("3,500 mm ± 25 mm", "has a comma"), ("−20 mm ± 5 mm", 'write "-20 mm"')]
)
def test_commas_and_long_dashes(text: str, words: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_limit(text)
    assert caught.value.code == "quantity_syntax"
    assert words in str(caught.value)


def test_plus_slash_minus_is_plus_minus() -> None:
    written, meant = parse_limit("3500 mm +/- 25 mm"), parse_limit("3500 mm ± 25 mm")
    assert (written.lower, written.upper, written.unit) == (meant.lower, meant.upper, meant.unit)
    assert parse_limit("placard +/- 10 kPa").placard_half_width == 10.0
