"""The chi-square distribution against scipy.stats.chi2 and printed tables."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2

from rules.science.chi_square import point, share_below


@pytest.mark.parametrize(
    ("freedom", "value"),
    # Any printed table of the 95 % points; these are also those of a set of four and of eight distances.
    [(1, 3.841), (2, 5.991), (3, 7.815), (4, 9.488), (5, 11.070), (9, 16.919), (30, 43.773)],
)
def test_the_points_of_printed_tables(freedom: int, value: float) -> None:
    assert point(freedom) == pytest.approx(value, abs=5e-4)


def test_the_one_percent_point_for_nine() -> None:
    assert point(9, 0.99) == pytest.approx(21.67, abs=5e-3)


@settings(deadline=None)
@given(st.integers(1, 400), st.floats(0.001, 0.999))
def test_points_agree_with_scipy(freedom: int, share: float) -> None:
    assert point(freedom, share) == pytest.approx(float(chi2.ppf(share, freedom)), rel=1e-9)


@settings(deadline=None)
@given(st.integers(1, 400), st.floats(0.0, 2000.0))
def test_shares_agree_with_scipy(freedom: int, value: float) -> None:
    assert share_below(value, freedom) == pytest.approx(float(chi2.cdf(value, freedom)), abs=1e-11)


def test_the_ends() -> None:
    assert share_below(0.0, 3) == 0.0
    assert share_below(math.inf, 3) == 1.0
    assert share_below(1e-300, 1) < 1e-100


@pytest.mark.parametrize(("value", "freedom"), [(1.0, 0), (-1.0, 1), (math.nan, 1)])
def test_no_share_without_freedom_or_of_a_value_below_zero(value: float, freedom: int) -> None:
    with pytest.raises(ValueError, match=r"freedom|negative"):
        share_below(value, freedom)


@pytest.mark.parametrize("share", [0.0, 1.0, math.nan])
def test_a_share_lies_between_nothing_and_all(share: float) -> None:
    with pytest.raises(ValueError, match="between"):
        point(3, share)
