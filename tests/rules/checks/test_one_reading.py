"""One value against its limit: which uncertainty counts, what is never compared, and what is said."""

import math
from typing import Any

import pytest

from rules.checks.draft import Draft
from rules.checks.one_reading import Named, judge_value, known_u
from rules.quantities import parse_limit
from tests.rules.checks.standing import read

NAMED = Named(name="gap", words="The gap")


@pytest.mark.parametrize(
    ("fields", "known"),
    [
        ({}, 0.5),
        ({"u_added": 1.2}, 1.3),
        ({"instrument": None}, None),
        ({"u": None}, None),
        ({"u": 0.0}, None),
        ({"u": -0.5}, None),
        ({"u": 0.0, "vehicle_shown": True, "instrument": None}, 0.0),
        ({"u": None, "vehicle_shown": True}, None),
        ({"quantity": "seam_step", "instrument": None}, 0.5),
        ({"quantity": "seam_step", "instrument": None, "u": 0.0}, None),
        ({"quantity": "seam_step", "instrument": None, "u": None}, None),
    ],
)
def test_which_uncertainty_is_known(fields: dict[str, Any], known: float | None) -> None:
    given: dict[str, Any] = {"quantity": "arch_height", "u": 0.5} | fields
    quantity, u = given.pop("quantity"), given.pop("u")
    assert known_u(read(quantity, "p", 4.0, "mm", u, **given)) == (
        None if known is None else pytest.approx(known)
    )


def judged(value: float, u: float | None, limit: str = "10 mm ± 2 mm") -> Draft:
    draft = Draft()
    judge_value(draft, NAMED, (value, u), parse_limit(limit), 2.0, "Set the gap.")
    return draft


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_never_compared(value: float) -> None:
    outcome = judged(value, 0.5).outcome()
    assert (outcome.verdict, outcome.reasons, outcome.numbers) == ("not_shown", ("unreadable",), ())


@pytest.mark.parametrize("u", [math.nan, math.inf])
def test_nor_is_an_uncertainty_that_is_none(u: float) -> None:
    assert judged(10.0, u).outcome().reasons == ("unreadable",)


@pytest.mark.parametrize(
    ("value", "u", "reasons", "words"),
    [
        (10.0, 0.5, (), ""),
        (11.5, 0.5, ("undecided",), "above 11.00 mm cannot be told apart from one outside"),
        (13.5, 0.5, ("outside_limit",), "above 13.00 mm lies outside by more than its uncertainty"),
        (6.5, 0.5, ("outside_limit",), "below 7.00 mm lies outside by more than its uncertainty"),
        (10.0, 1.5, ("instrument_not_capable",), "no reading can show this"),
        (10.0, None, ("uncertainty_unknown",), "its uncertainty is unknown"),
    ],
)
def test_what_is_said(value: float, u: float | None, reasons: tuple[str, ...], words: str) -> None:
    outcome = judged(value, u).outcome()
    assert outcome.reasons == reasons
    assert words in outcome.sentence
    assert bool(outcome.change) == bool(reasons)
    (number,) = outcome.numbers
    assert (number.value, number.lower, number.upper) == (value, 8.0, 12.0)


def test_the_number_said_never_seems_to_lie_on_the_other_side() -> None:
    # 10.999 is met, but 11.0 would look as if it were on the accept limit of 11.
    assert "12.01 mm" in judged(12.006, 0.0001).outcome().sentence
    assert "10.0000004" not in judged(12.0000004, 0.5).outcome().sentence
