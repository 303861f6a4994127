"""The plane of a floor: the worked grid, exact cases, and the minimum zone by a linear program."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import linprog

from rules.science.plane import Plane, fit_plane, on_one_line

REFERENCE = Path(__file__).parents[2] / "reference"
XS = (-2.8, -1.4, 0.0, 1.4, 2.8, 4.2)
YS = (-1.2, 0.0, 1.2)
HEIGHTS = (
    (0.0, 0.6, 1.4),
    (4.1, 5.2, 5.6),
    (8.9, 9.4, 10.8),
    (12.6, 13.9, 14.2),
    (17.3, 17.6, 18.9),
    (20.4, 22.3, 22.4),
)
GRID = [(x, y, z) for x, row in zip(XS, HEIGHTS, strict=True) for y, z in zip(YS, row, strict=True)]


def minimum_zone(points: list[tuple[float, float, float]]) -> float:
    """Smallest vertical distance of two parallel planes that hold all points (linear program)."""
    upper = [[x, y, 1.0, -1.0] for x, y, _ in points]
    lower = [[-x, -y, -1.0, -1.0] for x, y, _ in points]
    bound = [z for _, _, z in points] + [-z for _, _, z in points]
    found = linprog(
        [0.0, 0.0, 0.0, 1.0],
        A_ub=np.array(upper + lower) * [1, 1, 1, 1],
        b_ub=bound,
        bounds=[(None, None)] * 3 + [(0, None)],
    )
    assert found.success
    return 2.0 * float(found.fun)


def test_the_worked_floor() -> None:
    plane = fit_plane(GRID)  # x and y in m, z in mm
    assert (plane.a, plane.b, plane.c) == pytest.approx((9.309, 3.019, 0.694), abs=5e-4)
    assert plane.slope == pytest.approx(3.098, abs=5e-4)
    assert math.degrees(math.atan(plane.slope / 1000)) == pytest.approx(0.177, abs=5e-4)
    assert plane.flatness == pytest.approx(1.413, abs=5e-4)
    assert plane.residual_sd == pytest.approx(0.381, abs=5e-4)


def test_the_worked_wheel_plane_at_the_stand() -> None:
    pads = [(0.0, 0.79, 10.5), (0.0, -0.79, 9.1), (-2.76, 0.792, 1.2), (-2.76, -0.792, 0.1)]
    assert fit_plane(pads).height(3.2, 0.0) == pytest.approx(20.41, abs=5e-3)
    assert 19.2 - fit_plane(pads).height(3.2, 0.0) == pytest.approx(-1.21, abs=5e-3)


def test_exact_plane_of_five_points() -> None:
    # Exact arithmetic: slopes 0.0025 and 0.0015, offset 0.7.
    plane = fit_plane([(0, 0, 1), (1000, 0, 3), (0, 1000, 2), (1000, 1000, 5), (500, 500, 2.5)])
    assert (plane.a, plane.b, plane.c) == pytest.approx((0.7, 0.0025, 0.0015))
    assert plane.residuals == pytest.approx((0.3, -0.2, -0.2, 0.3, -0.2))
    assert plane.flatness == pytest.approx(0.5)


def flatness_cases() -> list[dict[str, Any]]:
    # Hand-made exact cases; least squares by numpy, minimum zone by a linear program.
    return list(json.loads((REFERENCE / "flatness_cases.json").read_text())["cases"])


@pytest.mark.parametrize("case", flatness_cases(), ids=lambda case: str(case["name"]))
def test_flatness_by_least_squares_and_by_minimum_zone(case: dict[str, Any]) -> None:
    points = [(x, y, z) for x, y, z in case["points"]]
    plane = fit_plane(points)
    b, c, a = case["lsq_coeff_abc"]
    assert (plane.a, plane.b, plane.c) == pytest.approx((a, b, c), abs=1e-12)
    assert plane.flatness == pytest.approx(case["lsq_peak_to_valley"], abs=1e-12)
    rms = math.sqrt(math.fsum(r * r for r in plane.residuals) / len(points))
    assert rms == pytest.approx(case["lsq_rms"], abs=1e-12)
    assert minimum_zone(points) == pytest.approx(case["minimum_zone_vertical_lp"], abs=1e-9)


def test_one_raised_corner_is_five_sixths_not_three_quarters() -> None:
    points = [(x, y, 1.0 if (x, y) == (2, 2) else 0.0) for x in range(3) for y in range(3)]
    assert fit_plane(points).flatness == pytest.approx(5 / 6)
    assert minimum_zone([(float(x), float(y), z) for x, y, z in points]) == pytest.approx(0.75)


def test_curvatures_of_a_real_concrete_pad() -> None:
    """Second differences as published (ASTM E1155M, public worked spreadsheet): a strip of three points
    300 mm apart, twice side by side, has residuals of a sixth, a third and a sixth of the curvature."""
    rows = json.loads((REFERENCE / "floor_profile_e1155m.json").read_text())["rows"]
    compared = 0
    for row in rows:
        heights = row["elevations_mm"]
        for index, published in enumerate(row["published_curvatures_mm"]):
            strip = heights[index : index + 3]
            plane = fit_plane([(0.3 * i, y, strip[i]) for i in range(3) for y in (0.0, 1.0)])
            curvature = 2.0 * (plane.residuals[0] - plane.residuals[2])
            assert curvature == pytest.approx(published, abs=1.1e-3)
            assert plane.flatness == pytest.approx(abs(curvature) / 2.0, abs=1e-9)
            compared += 1
    assert compared == 62


coordinate = st.integers(-5000, 5000)
height = st.integers(-30, 30)


@given(st.lists(st.tuples(coordinate, coordinate, height), min_size=4, max_size=20, unique=True))
def test_least_squares_is_never_flatter_than_the_minimum_zone(raw: list[tuple[int, int, int]]) -> None:
    points = [(x / 1000.0, y / 1000.0, float(z)) for x, y, z in raw]
    assume(not on_one_line([(x, y) for x, y, _ in points]))
    assume(np.linalg.cond(np.array([(1.0, x, y) for x, y, _ in points])) < 1e4)
    plane = fit_plane(points)
    assert plane.flatness >= minimum_zone(points) - 1e-6


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6), st.floats(-20, 20), st.floats(-20, 20))
def test_where_the_origin_lies_changes_nothing(dx: float, dy: float, b: float, c: float) -> None:
    tilted = [(x, y, z + b * x + c * y) for x, y, z in GRID]
    here = fit_plane(tilted)
    there = fit_plane([(x + dx, y + dy, z) for x, y, z in tilted])
    assert (there.b, there.c) == pytest.approx((here.b, here.c), abs=1e-6)
    assert there.flatness == pytest.approx(here.flatness, abs=1e-6)
    assert there.height(1.0 + dx, dy) == pytest.approx(here.height(1.0, 0.0), abs=1e-5)


def test_covariance_is_that_of_numpy_far_from_the_origin() -> None:
    points = [(x + 50.0, y - 20.0, z) for x, y, z in GRID]
    design = np.array([(1.0, x, y) for x, y, _ in points])
    assert np.allclose(fit_plane(points).covariance, np.linalg.inv(design.T @ design), rtol=1e-7)


def test_uncertainty_of_the_slope() -> None:
    plane = fit_plane(GRID)
    # Grid of 6 x 3: sums of squares 3 * 34.3 in x and 6 * 2.88 in y give u_b and u_c for u_z = 0.3.
    u_b, u_c = 0.3 / math.sqrt(3 * 34.3), 0.3 / math.sqrt(6 * 2.88)
    expected = math.hypot(plane.b * u_b, plane.c * u_c) / plane.slope
    assert plane.slope_u(0.3) == pytest.approx(expected)
    level = Plane(a=0.0, b=0.0, c=0.0, residuals=plane.residuals, covariance=plane.covariance)
    assert level.slope_u(0.3) == pytest.approx(u_c)
    assert level.uphill_deg is None


def test_the_slope_varies_by_its_uncertainty() -> None:
    """Monte Carlo on a lopsided grid whose b and c are correlated (JCGM 101:2008)."""
    spots = [(0.0, 0.0), (1.0, 0.4), (2.0, 1.6), (3.0, 2.1), (4.0, 4.5), (0.5, 1.0), (3.5, 2.9)]
    random = np.random.default_rng(7)
    slopes = [
        fit_plane([(x, y, 3.0 * x + 2.0 * y + random.normal(0.0, 0.3)) for x, y in spots]).slope
        for _ in range(1500)
    ]
    plane = fit_plane([(x, y, 3.0 * x + 2.0 * y) for x, y in spots])
    assert plane.slope_u(0.3) >= 0.93 * float(np.std(slopes))


@pytest.mark.parametrize(
    ("rise", "direction"), [((1, 0), 0.0), ((0, 1), 90.0), ((-1, 0), 180.0), ((0, -2), -90.0), ((1, 1), 45.0)]
)
def test_direction_uphill(rise: tuple[int, int], direction: float) -> None:
    b, c = rise
    plane = fit_plane([(x, y, float(b * x + c * y)) for x in (0, 1, 2) for y in (0, 1, 2)])
    assert plane.uphill_deg == pytest.approx(direction)


@pytest.mark.parametrize(
    "points",
    [
        [],
        [(0, 0, 1), (1, 0, 1)],
        [(0, 0, 1), (1, 1, 2), (2, 2, 5)],
        [(0.1, 0.3, 1), (0.2, 0.6, 2), (0.3, 0.9, 1), (1.1, 3.3, 4)],
        [(5, 5, 1), (5, 5, 2), (5, 5, 3)],
        [(0, 0, 1), (1, 0, math.nan), (0, 1, 1)],
        [(0, 0, 1), (math.inf, 0, 1), (0, 1, 1)],
    ],
)
def test_points_that_carry_no_plane_are_refused(points: list[tuple[float, float, float]]) -> None:
    with pytest.raises(ValueError, match=r"three points|one line|finite"):
        fit_plane(points)
