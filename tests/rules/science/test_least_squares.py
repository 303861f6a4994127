"""Least squares against certified values of NIST StRD, GUM H.3 and numpy."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from rules.science.least_squares import least_squares

REFERENCE = Path(__file__).parents[2] / "reference"


def read(name: str) -> dict[str, Any]:
    return dict(json.loads((REFERENCE / name).read_text()))


def digits(found: float, certified: float) -> float:
    """Logarithmic relative error: how many digits agree."""
    return 15.0 if found == certified else -math.log10(abs(found - certified) / abs(certified))


def test_norris_to_ten_digits() -> None:
    data = read("nist_strd_norris.json")
    fit = least_squares([(1.0, x) for x in data["x"]], data["y"])
    certified = data["certified"]
    assert fit.residual_sd is not None
    found = {
        "B0": fit.coefficients[0],
        "B1": fit.coefficients[1],
        "sd_B0": fit.residual_sd * math.sqrt(fit.covariance[0][0]),
        "sd_B1": fit.residual_sd * math.sqrt(fit.covariance[1][1]),
        "residual_sd": fit.residual_sd,
    }
    for name, value in found.items():
        assert digits(value, certified[name]) >= 10, name


def test_longley_to_nine_digits() -> None:
    data = read("nist_strd_longley.json")
    fit = least_squares([(1.0, *row) for row in data["x"]], data["y"])
    for name, found, certified in zip(data["columns"], fit.coefficients, data["certified"]["B"], strict=True):
        assert digits(found, certified) >= 9, name
    assert fit.residual_sd is not None
    assert digits(fit.residual_sd, data["certified"]["residual_sd"]) >= 9
    assert fit.degrees_of_freedom == 9


def test_thermometer_calibration_of_gum_h3() -> None:
    data = read("gum_examples.json")["H3"]  # JCGM 100:2008 H.3, inputs read in a public example
    fit = least_squares([(1.0, t - data["t0"]) for t in data["t"]], data["b"])
    assert fit.coefficients == pytest.approx((data["intercept"], data["slope"]), rel=1e-9)
    s = fit.residual_sd
    assert s == pytest.approx(data["s"], rel=1e-9)
    assert s is not None
    covariance = [[s * s * value for value in row] for row in fit.covariance]
    assert math.sqrt(covariance[0][0]) == pytest.approx(data["s_intercept"], rel=1e-9)
    assert math.sqrt(covariance[1][1]) == pytest.approx(data["s_slope"], rel=1e-9)
    r = covariance[0][1] / math.sqrt(covariance[0][0] * covariance[1][1])
    assert r == pytest.approx(data["r"], rel=1e-9)
    # The correction at 30 degC and its uncertainty, covariance included.
    assert fit.coefficients[0] + 10 * fit.coefficients[1] == pytest.approx(data["b30"], rel=1e-9)
    u_30 = math.sqrt(covariance[0][0] + 100 * covariance[1][1] + 20 * covariance[0][1])
    assert u_30 == pytest.approx(data["s_b30"], rel=1e-9)


numbers = st.floats(-100, 100).map(lambda value: round(value, 3))


@given(
    st.lists(st.tuples(numbers, numbers, numbers, st.floats(0.1, 10)), min_size=4, max_size=12),
)
def test_weighted_fit_agrees_with_numpy(rows: list[tuple[float, float, float, float]]) -> None:
    design = np.array([(1.0, x, y) for x, y, _, _ in rows])
    observed = np.array([z for _, _, z, _ in rows])
    weights = [w for _, _, _, w in rows]
    root = np.sqrt(weights)
    assume(np.linalg.cond(design * root[:, None]) < 1e4)
    fit = least_squares(design.tolist(), observed.tolist(), weights)
    expected = np.linalg.lstsq(design * root[:, None], observed * root, rcond=None)[0]
    assert fit.coefficients == pytest.approx(expected.tolist(), rel=1e-7, abs=1e-7)
    covariance = np.linalg.inv(design.T @ np.diag(weights) @ design)
    assert np.allclose(fit.covariance, covariance, rtol=1e-6, atol=1e-12)
    # The residuals are square to every column of the design.
    assert np.allclose(design.T @ (np.array(weights) * np.array(fit.residuals)), 0.0, atol=1e-6)


@pytest.mark.parametrize(
    ("design", "observed", "weights"),
    [
        ([], [], None),
        ([(1.0, 2.0)], [1.0], None),
        ([(1.0, 2.0), (1.0,)], [1.0, 2.0], None),
        ([(1.0,), (1.0,)], [1.0], None),
        ([(1.0,), (1.0,)], [1.0, 2.0], [1.0]),
        ([(1.0,), (1.0,)], [1.0, 2.0], [1.0, 0.0]),
        ([(1.0,), (math.nan,)], [1.0, 2.0], None),
        ([(1.0,), (1.0,)], [1.0, math.inf], None),
        ([(1.0, 0.0), (1.0, 0.0)], [1.0, 2.0], None),
        ([(1.0, 2.0), (1.0, 2.0), (1.0, 2.0)], [1.0, 2.0, 3.0], None),
        ([(1.0, 2.0, 4.0), (1.0, 3.0, 6.0), (1.0, 5.0, 10.0)], [1.0, 2.0, 3.0], None),
    ],
)
def test_what_cannot_be_fitted_is_refused(
    design: list[tuple[float, ...]], observed: list[float], weights: list[float] | None
) -> None:
    with pytest.raises(ValueError, match=r"design|observation|finite|weights"):
        least_squares(design, observed, weights)


def test_an_exact_fit_has_no_freedom() -> None:
    fit = least_squares([(1.0, 0.0), (1.0, 2.0)], [3.0, 7.0])
    assert fit.coefficients == pytest.approx((3.0, 2.0))
    assert fit.residual_sd is None
