"""The drawing of a number against its limits."""

from typing import Any

from jobs.packets.pages.numbers import bar_of
from rules.verdict import Number


def number(value: float | None, unit: str = "kPa", **fields: Any) -> Number:
    return Number(name="front_left", value=value, unit=unit, **fields)


def test_the_bar_keeps_its_parts_in_order() -> None:
    bar = bar_of(number(231.0, lower=220.0, upper=240.0, guard=2.374))
    assert bar is not None
    assert bar.accept is not None
    left, right = bar.limits[0][0], bar.limits[1][0]
    assert 0 < left < bar.accept[0] < bar.value_x < bar.accept[0] + bar.accept[1] < right < 212


def test_no_accept_box_for_an_instrument_that_is_not_capable() -> None:
    bar = bar_of(number(1.0, "mm", lower=0.0, upper=2.0, guard=1.5))
    assert bar is not None
    assert bar.accept is None


def test_nothing_is_drawn_without_a_limit() -> None:
    assert bar_of(number(5.0)) is None
    assert bar_of(number(None, lower=1.0)) is None
