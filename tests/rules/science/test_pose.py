"""The pose of a bar: worked numbers, closed forms, and scipy and numpy as a second opinion."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares as scipy_least_squares

from rules.science.pose import (
    Design,
    Observation,
    Pose,
    PoseError,
    level_distance,
    planned,
    predict,
    sideways_u,
    solve,
)

TRACK, BAR, WHEELBASE, REAR_TRACK = 1580.0, 1200.0, 2760.0, 1584.0
PLACES = ("d_LL", "d_LR", "d_RL", "d_RR", "b_LL", "b_LR", "b_RL", "b_RR")
U, SCALE = 0.85, 1.6e-4
TAU, U_TAU = math.radians(-0.075), math.radians(math.hypot(0.010, 0.010) / 2)


def observed(values: Sequence[float], u: float = U, scale: float = SCALE) -> list[Observation]:
    found = []
    for place, value in zip(PLACES, values, strict=False):
        x, track = (0.0, TRACK) if place[0] == "d" else (-WHEELBASE, REAR_TRACK)
        found.append(
            Observation(
                place=place,
                mark=(x, track / 2 if place[2] == "L" else -track / 2),
                end="left" if place[3] == "L" else "right",
                distance=value,
                u=u,
                scale=(("tape", scale, 1.0),),
            )
        )
    return found


def judged(pose: Pose) -> tuple[float, float, float, float, float, float]:
    """Distance, u, sideways from the thrust line, u, yaw to it in degrees, u."""
    arm = pose.x + WHEELBASE
    return (
        pose.x,
        math.sqrt(pose.covariance[0][0]),
        pose.y - arm * math.tan(TAU),
        sideways_u(pose, arm, U_TAU),
        math.degrees(pose.psi - TAU),
        math.degrees(math.hypot(math.sqrt(pose.covariance[2][2]), U_TAU)),
    )


# ------------------------------------------------------------------ worked numbers


def test_the_worked_set_of_four() -> None:
    pose = solve(observed((3213, 3495, 3494, 3210)), BAR, 3200)
    assert (round(pose.x, 2), round(pose.y, 2), round(math.degrees(pose.psi), 3)) == (3206.00, -4.15, -0.120)
    assert [round(value, 3) for value in pose.residuals] == [-0.128, 0.140, 0.140, -0.128]
    assert round(pose.chi_squared, 3) == 0.100
    distance, u_distance, sideways, u_sideways, yaw, u_yaw = judged(pose)
    assert (round(distance, 2), round(u_distance, 3)) == (3206.00, 0.713)
    assert (round(sideways, 2), round(u_sideways, 3)) == (3.65, 1.950)
    assert (round(yaw, 3), round(u_yaw, 4)) == (-0.045, 0.0516)


@pytest.mark.parametrize(
    ("readings", "distance", "sideways"),
    [
        ((3213, 3495, 3494, 3210), 3206.00, 3.65),
        ((3195, 3478, 3476, 3192), 3187.49, 2.55),
        ((3220, 3502, 3501, 3217), 3213.29, 3.66),
    ],
)
def test_three_cars_measured_with_one_tape(
    readings: Sequence[float], distance: float, sideways: float
) -> None:
    found = judged(solve(observed(readings), BAR, 3200))
    assert (round(found[0], 2), round(found[2], 2)) == (distance, sideways)


def test_a_blunder_among_four_shows_and_cannot_be_named() -> None:
    pose = solve(observed((3213, 3505, 3494, 3210)), BAR, 3200)
    assert (round(pose.y, 2), round(pose.chi_squared, 1)) == (-15.21, 41.5)
    assert pose.chi_squared_limit == pytest.approx(3.841, abs=1e-3)
    sizes = [abs(value or 0.0) for value in pose.standardized]
    assert max(sizes) - min(sizes) < 1e-9


def test_a_blunder_among_eight_is_named() -> None:
    pose = solve(observed((3213, 3505, 3494, 3210, 5970, 6126, 6127, 5968)), BAR, 3200)
    assert round(pose.chi_squared, 1) == 78.6
    assert pose.chi_squared_limit == pytest.approx(11.070, abs=1e-3)
    named = [-2.7, 8.8, 4.2, -1.5, -2.8, -4.6, 1.9, -1.15]
    assert [value or 0.0 for value in pose.standardized] == pytest.approx(named, abs=0.05)


def test_the_scale_of_the_tape_moves_distance_only() -> None:
    """S_x is about 3480 mm per unit of scale; sideways and yaw hardly feel it."""
    readings = (3213.0, 3495.0, 3494.0, 3210.0)
    pose = solve(observed(readings), BAR, 3200)
    longer = solve(observed([value * 1.001 for value in readings]), BAR, 3200)
    assert (longer.x - pose.x) / 0.001 == pytest.approx(3480, abs=10)
    assert abs(longer.y - pose.y) < 0.01
    assert math.degrees(abs(longer.psi - pose.psi)) < 1e-3


def test_one_millimetre_in_a_cross_reading_moves_the_bar_aside_by_about_one() -> None:
    pose = solve(observed((3213, 3495, 3494, 3210)), BAR, 3200)
    moved = solve(observed((3213, 3496, 3494, 3210)), BAR, 3200)
    assert abs(moved.y - pose.y) == pytest.approx(1.1, abs=0.05)


def test_a_slanted_tape() -> None:
    assert round(level_distance(3210.0, 120.0), 2) == 3207.76
    assert level_distance(3210.0, -120.0) == level_distance(3210.0, 120.0)
    assert level_distance(2500.0, 1500.0) == pytest.approx(2000.0)  # 3-4-5


@pytest.mark.parametrize("rise", [3210.0, -3210.0, 4000.0, math.nan])
def test_a_rise_as_long_as_the_tape(rise: float) -> None:
    with pytest.raises(ValueError, match="tape"):
        level_distance(3210.0, rise)


# ------------------------------------------------------------------ corrected readings


def longer_by(shown: float) -> float:
    """A tape that reads 0.9, 2.7 and 4.6 mm long when it shows 1, 3 and 5 m: straight lines between."""
    points = ((1000.0, 0.9), (3000.0, 2.7), (5000.0, 4.6))
    low, high = (points[0], points[1]) if shown <= 3000.0 else (points[1], points[2])
    return low[1] + (shown - low[0]) * (high[1] - low[1]) / (high[0] - low[0])


@pytest.mark.parametrize(
    ("readings", "before", "after", "aside"),
    [
        ((3213, 3495, 3494, 3210), 3206.00, 3202.84, (3.65, 3.66)),
        ((3195, 3478, 3476, 3192), 3187.49, 3184.35, (2.55, 2.56)),
    ],
)
def test_solved_again_with_corrected_readings(
    readings: Sequence[float], before: float, after: float, aside: tuple[float, float]
) -> None:
    found = judged(solve(observed(readings), BAR, 3200))
    corrected = judged(solve(observed([value - longer_by(value) for value in readings]), BAR, 3200))
    assert (round(found[0], 2), round(corrected[0], 2)) == (before, after)
    assert (round(found[2], 2), round(corrected[2], 2)) == aside


def test_the_uncertainty_of_a_correction_is_one_amount_for_all_readings() -> None:
    """It moves distance by the row sums of the inverse design and leaves differences of readings alone."""
    plain = solve(observed((3213, 3495, 3494, 3210)), BAR, 3200)
    items = observed((3213, 3495, 3494, 3210))
    shared = solve([replace(item, additive=(("tape", 0.5, 1.0),)) for item in items], BAR, 3200)
    step = solve([replace(item, distance=item.distance + 0.01) for item in items], BAR, 3200)
    for i, name in enumerate(("x", "y", "psi")):
        sensitivity = (getattr(step, name) - getattr(plain, name)) / 0.01
        expected = plain.covariance[i][i] + (sensitivity * 0.5) ** 2
        assert shared.covariance[i][i] == pytest.approx(expected, rel=1e-6)
    assert shared.covariance[1][1] == pytest.approx(plain.covariance[1][1], rel=1e-4)


def test_two_tapes_do_not_share_a_scale() -> None:
    one = observed((3213, 3495, 3494, 3210))
    two = [replace(item, scale=((f"tape-{i % 2}", SCALE, 1.0),)) for i, item in enumerate(one)]
    together, apart = solve(one, BAR, 3200), solve(two, BAR, 3200)
    assert apart.x == together.x
    assert apart.covariance[0][0] < together.covariance[0][0]
    # Left ends with one tape, right ends with the other: the difference of their scales turns the bar.
    assert apart.covariance[2][2] > together.covariance[2][2]


# ------------------------------------------------------------------ closed forms


@pytest.mark.parametrize(("first", "second", "foot", "height"), [(2000.0, 1500.0, 1346.875, 1478.488327)])
def test_two_distances_over_a_base(first: float, second: float, foot: float, height: float) -> None:
    """Base 1600, sides 2000 and 1500: foot at 1346.875, height 1478.488327 (closed form)."""
    # Two marks 1600 apart, read to both ends of a short bar in the same spot: the trilateration of a point.
    short = 1e-3
    marks = ((0.0, 0.0), (0.0, 1600.0))
    items = [
        Observation(place=f"{i}{end}", mark=mark, end=end, distance=length, u=1.0)
        for i, (mark, length) in enumerate(zip(marks, (first, second), strict=True))
        for end in ("left", "right")
    ]
    with pytest.raises(PoseError) as raised:
        solve([items[0], items[2]], short, 1400.0)
    assert raised.value.code == "few"
    pose = solve(items, short, 1400.0)
    assert pose.x == pytest.approx(height, abs=1e-5)
    assert pose.y == pytest.approx(foot, abs=1e-5)


def test_square_corner() -> None:
    """1500 and 2000 give a diagonal of 2500: a bar's end straight ahead of one mark and across from one."""
    items = [
        Observation(place="a", mark=(0.0, 750.0), end="left", distance=2000.0, u=1.0),
        Observation(place="b", mark=(0.0, -750.0), end="left", distance=2500.0, u=1.0),
        Observation(place="c", mark=(0.0, 750.0), end="right", distance=2500.0, u=1.0),
        Observation(place="d", mark=(0.0, -750.0), end="right", distance=2000.0, u=1.0),
    ]
    pose = solve(items, 1500.0, 1900.0)
    assert (pose.x, pose.y, pose.psi) == (pytest.approx(2000.0), pytest.approx(0.0), pytest.approx(0.0))
    assert max(abs(value) for value in pose.residuals) < 1e-9


# ------------------------------------------------------------------ a second opinion


def exact(x: float, y: float, psi: float, bar: float, rear: bool) -> list[float]:
    """True distances from all marks to both ends."""
    found = []
    axles = [(0.0, TRACK)] + ([(-WHEELBASE, REAR_TRACK)] if rear else [])
    for mark_x, track in axles:
        for mark_y in (track / 2, -track / 2):
            for half in (bar / 2, -bar / 2):
                end = (x - half * math.sin(psi), y + half * math.cos(psi))
                found.append(math.hypot(end[0] - mark_x, end[1] - mark_y))
    return found


set_ups = st.tuples(
    st.floats(1500.0, 6000.0),
    st.floats(-300.0, 300.0),
    st.floats(-0.2, 0.2),
    st.booleans(),
    st.lists(st.floats(-2.0, 2.0), min_size=8, max_size=8),
    st.lists(st.floats(0.3, 3.0), min_size=8, max_size=8),
)


@settings(deadline=None)
@given(set_ups)
def test_scipy_finds_the_same_pose_and_numpy_the_same_covariance(
    case: tuple[float, float, float, bool, list[float], list[float]],
) -> None:
    x, y, psi, rear, noise, sizes = case
    true = exact(x, y, psi, BAR, rear)
    items = [
        replace(item, distance=item.distance + noise[i] * sizes[i], u=sizes[i])
        for i, item in enumerate(observed(true))
    ]
    pose = solve(items, BAR, x + 20.0)
    marks = np.array([item.mark for item in items])
    signs = np.array([1.0 if item.end == "left" else -1.0 for item in items])
    values = np.array([item.distance for item in items])
    u = np.array([item.u for item in items])

    def misfit(p: np.ndarray, scaled: float = 1.0) -> np.ndarray:
        ends = np.stack(
            [p[0] - signs * BAR / 2 * np.sin(p[2]), p[1] + signs * BAR / 2 * np.cos(p[2])], axis=1
        )
        return np.asarray((np.linalg.norm(ends - marks, axis=1) - scaled * values) / u)

    second = scipy_least_squares(
        misfit, [x + 20.0, 0.0, 0.0], method="lm", x_scale=[1000.0, 1000.0, 1.0], xtol=1e-15, ftol=1e-15
    )
    assert pose.x == pytest.approx(second.x[0], abs=1e-4)
    assert pose.y == pytest.approx(second.x[1], abs=1e-3)
    assert pose.psi == pytest.approx(second.x[2], abs=1e-6)
    assert pose.chi_squared == pytest.approx(2 * second.cost, rel=1e-6, abs=1e-9)

    # Covariance from numpy's inverse, the scale by the linear law of propagation.
    dx = pose.x - signs * BAR / 2 * np.sin(pose.psi) - marks[:, 0]
    dy = pose.y + signs * BAR / 2 * np.cos(pose.psi) - marks[:, 1]
    length = np.hypot(dx, dy)
    turn = (-dx * signs * BAR / 2 * np.cos(pose.psi) - dy * signs * BAR / 2 * np.sin(pose.psi)) / length
    design = np.stack([dx / length, dy / length, turn], axis=1) / u[:, None]
    inverse = np.linalg.inv(design.T @ design)
    assert np.allclose(np.array(pose.independent), inverse, rtol=1e-6, atol=1e-12)
    s = inverse @ design.T @ (values / u)
    whole = inverse + np.outer(s, s) * SCALE * SCALE
    # Linear against solved again: they differ by the curvature, which the misfit multiplies.
    assert np.allclose(np.sqrt(np.diag(np.array(pose.covariance))), np.sqrt(np.diag(whole)), rtol=2e-3)


@settings(deadline=None)
@given(st.floats(2000.0, 5000.0), st.floats(-200.0, 200.0), st.floats(-0.1, 0.1), st.booleans())
def test_true_distances_give_the_true_pose(x: float, y: float, psi: float, rear: bool) -> None:
    pose = solve(observed(exact(x, y, psi, BAR, rear)), BAR, x - 15.0)
    assert (pose.x, pose.y) == (pytest.approx(x, abs=1e-6), pytest.approx(y, abs=1e-6))
    assert pose.psi == pytest.approx(psi, abs=1e-9)
    assert pose.chi_squared < 1e-12


@settings(deadline=None)
@given(st.floats(2500.0, 4500.0), st.floats(-100.0, 100.0), st.floats(-0.05, 0.05))
def test_the_mirrored_car_gives_the_mirrored_pose(x: float, y: float, psi: float) -> None:
    values = exact(x, y, psi, BAR, rear=False)
    swapped = [values[3], values[2], values[1], values[0]]
    pose, mirrored = solve(observed(values), BAR, 3200), solve(observed(swapped), BAR, 3200)
    assert mirrored.x == pytest.approx(pose.x, abs=1e-7)
    assert mirrored.y == pytest.approx(-pose.y, abs=1e-7)
    assert mirrored.psi == pytest.approx(-pose.psi, abs=1e-10)


def test_scatter_of_simulated_sets_is_the_stated_uncertainty() -> None:
    """Monte Carlo propagation after JCGM 101:2008: 4000 draws leave the standard deviations to 3 %."""
    rng = np.random.default_rng(20260505)
    true = np.array(exact(3206.0, -4.15, math.radians(-0.12), BAR, rear=False))
    found = []
    for _ in range(4000):
        noise = rng.normal(0.0, U, 4)
        pose = solve(observed(list(true * (1 + rng.normal(0.0, SCALE)) + noise)), BAR, 3200)
        found.append((pose.x, pose.y, pose.psi))
    stated = solve(observed(list(true)), BAR, 3200).covariance
    scatter = np.std(np.array(found), axis=0, ddof=1)
    for i in range(3):
        assert scatter[i] == pytest.approx(math.sqrt(stated[i][i]), rel=0.04)


# ------------------------------------------------------------------ prediction


PLAN = Design(
    distance=3200.0, track=TRACK, bar=BAR, u=U, u_relative=SCALE, thrust_arm=5960.0,
    u_thrust_deg=math.degrees(U_TAU),
)  # fmt: skip


@pytest.mark.parametrize(("sets", "u"), [(1, 1.95), (2, 1.47), (3, 1.27), (4, 1.16)])
def test_more_sets(sets: int, u: float) -> None:
    assert round(predict(replace(PLAN, times=sets)).u_sideways, 2) == u


def test_with_the_other_axle() -> None:
    wider = replace(PLAN, other_axle_x=-WHEELBASE, other_track=REAR_TRACK)
    assert round(predict(wider).u_sideways, 2) == 1.72
    assert len(planned(wider)) == 8


def test_a_prediction_is_what_a_set_there_gives() -> None:
    pose = solve(planned(PLAN), BAR, 3200.0)
    found = predict(PLAN)
    assert (pose.x, pose.y, pose.psi) == (pytest.approx(3200.0), pytest.approx(0.0), pytest.approx(0.0))
    assert found.u_distance == pytest.approx(judged(pose)[1])


@settings(deadline=None)
@given(st.integers(1, 30))
def test_no_number_of_sets_gets_below_scale_and_thrust_line(sets: int) -> None:
    found = predict(replace(PLAN, times=sets))
    assume(sets > 0)
    assert found.u_distance > SCALE * 3200.0
    assert found.u_sideways > 5960.0 * U_TAU
    assert found.u_yaw_deg > math.degrees(U_TAU)
