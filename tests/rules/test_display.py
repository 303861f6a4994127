"""Printed numbers never contradict the verdict they belong to."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.display import (
    MOST_DECIMALS,
    accept_text,
    bound_text,
    decimals_of,
    limit_text,
    number_name,
    number_text,
    place_of,
    value_text,
    with_unit,
)
from rules.verdict import Number


def number(value: float | None, unit: str = "kPa", name: str = "front_left", **fields: Any) -> Number:
    return Number(name=name, value=value, unit=unit, **fields)


@pytest.mark.parametrize(
    ("made", "text"),
    [
        (number(231.0, lower=220.0, upper=240.0), "231.0 kPa"),
        # One decimal would print 220.0, which lies inside; the value does not.
        (number(219.96, lower=220.0, upper=240.0), "219.96 kPa"),
        (number(11.999, "V", lower=12.0, upper=15.0), "11.999 V"),
        (number(596.0, "s", lower=600.0), "596 s"),
        (number(599.6, "s", lower=600.0), "599.6 s"),
        (number(600.0, "s", lower=600.0), "600 s"),
        (number(0.0004, "deg"), "0.0004 deg"),
        (number(3.65, "mm", "sideways", lower=-10.0, upper=10.0), "+3.65 mm"),
        (number(-1.82, "mm", "sideways", lower=-10.0, upper=10.0), "−1.82 mm"),
        (number(-0.0, "kPa"), "0.0 kPa"),
        (number(None), "not known kPa"),
        (number(18.9, "degC"), "18.9 °C"),
        (number(52.0, "percent"), "52.0 %"),
        (number(7.0, "count"), "7"),
    ],
)
def test_values(made: Number, text: str) -> None:
    assert with_unit(made) == text


# Limits in the unit's own decimals, values with six: as the checks hand them out.
values = st.integers(-2_000_000_000, 2_000_000_000).map(lambda n: n / 1_000_000)


@given(value=values, lower=st.integers(-2000, 1990), width=st.integers(1, 40), guard=st.integers(0, 900_000))
def test_no_print_contradicts_its_verdict(value: float, lower: int, width: int, guard: int) -> None:
    made = number(
        value, "mm", lower=float(lower), upper=float(lower + width), guard=guard / 1_000_000 or None
    )
    shown = float(value_text(made).replace("−", "-"))
    printed = number(shown, "mm", lower=made.lower, upper=made.upper, guard=made.guard)
    assert decimals_of(made) <= MOST_DECIMALS
    assert place_of(printed) == place_of(made)


@pytest.mark.parametrize(
    ("value", "place"),
    # JCGM 106:2012 with g = 2.374: accept 232.374 to 247.626, reject outside 227.626 to 252.374.
    [
        (240.0, "met"),
        (232.4, "met"),
        (232.3, "not_shown"),
        (227.7, "not_shown"),
        (227.6, "not_met"),
        (252.4, "not_met"),
    ],
)
def test_place_follows_the_decision_rule(value: float, place: str) -> None:
    assert place_of(number(value, lower=230.0, upper=250.0, guard=2.374)) == place


def test_no_place_without_value_or_limit() -> None:
    assert place_of(number(1.0)) is None
    assert place_of(number(None, lower=1.0)) is None


@pytest.mark.parametrize(
    ("made", "limit", "accept"),
    [
        (number(231.0, lower=220.0, upper=240.0, guard=2.374), "220 to 240 kPa", "222.4 to 237.6"),
        (number(3.0, upper=10.0, guard=3.358), "at most 10 kPa", "to 6.6"),
        (number(719.0, "s", lower=600.0), "at least 600 s", ""),
        (
            number(1.0, "mm", lower=0.0, upper=2.0, guard=1.5),
            "0 to 2 mm",
            "none: the instrument is not capable",
        ),
        (number(1.0), "", ""),
        (number(0.1, "deg", lower=-0.4, upper=0.4), "−0.4 to 0.4 deg", ""),
    ],
)
def test_limits_and_accept_zones(made: Number, limit: str, accept: str) -> None:
    assert limit_text(made) == limit
    assert accept_text(made) == accept


@pytest.mark.parametrize(
    ("name", "unit", "words"),
    [
        ("counted_s", "s", "Counted"),
        ("run_1_s", "s", "Run 1"),
        ("uncounted_low_sun_s", "s", "Not counted, low sun"),
        ("track_km", "km", "Length of the whole track"),
        ("lowest_rh", "percent", "Lowest humidity"),
        ("front_left", "kPa", "Front left"),
    ],
)
def test_names(name: str, unit: str, words: str) -> None:
    assert number_name(number(1.0, unit, name)) == words


# Limits and a value that differ by less than the usual decimals: print them, and read them back.
@given(value=values, edge=values, guard=st.integers(0, 900_000))
def test_printed_value_and_printed_accept_zone_tell_the_same(value: float, edge: float, guard: int) -> None:
    made = number(value, "mm", upper=edge, guard=guard / 1_000_000 or None)
    shown = float(value_text(made).replace("−", "-"))
    text = accept_text(made)
    if text:
        accepted = float(text.removeprefix("to ").replace("−", "-"))
        assert (shown <= accepted) == (place_of(made) == "met")


@pytest.mark.parametrize(
    ("limit", "text"), [(0.05, "0.05"), (12.4, "12.4"), (10.0, "10"), (18.352412, "18.35")]
)
def test_a_limit_of_few_decimals_is_never_rounded(limit: float, text: str) -> None:
    assert bound_text(limit, 2) == text
    assert bound_text(0.05, 1) == "0.05"


def test_one_line_says_value_uncertainty_limit_and_accept_zone() -> None:
    made = number(3206.0, "mm", "distance", u=0.713, guard=1.172885, lower=3185.0, upper=3215.0)
    assert number_text(made).words == (
        "Distance 3206.00 mm, standard uncertainty 0.713 mm; asked for: 3185 to 3215 mm, "
        "accepted here: 3186.17 to 3213.83 mm"
    )
