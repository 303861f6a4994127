"""Planned lines, shared parts and refusals of the pose, each by its own number.

The geometry is that of the worked car (marks 1580 mm apart, bar 1200 mm, axles 2760 mm apart); distances of
the planned lines follow from Pythagoras.
"""

import math
from dataclasses import replace

import pytest

from rules.science.pose import (
    Design,
    Observation,
    PoseError,
    level_distance,
    planned,
    predict,
    sideways_u,
    solve,
)

DESIGN = Design(distance=3200.0, track=1580.0, bar=1200.0, u=0.85, u_relative=1.6e-4)
CAR = replace(DESIGN, other_axle_x=-2760.0, other_track=1584.0)


def line(x: float, y: float) -> float:
    return math.sqrt(x * x + y * y)


def test_every_planned_line_runs_from_its_mark_to_its_end() -> None:
    found = {item.place: item for item in planned(CAR)}
    assert list(found) == ["d_LL", "d_LR", "d_RL", "d_RR", "b_LL", "b_LR", "b_RL", "b_RR"]
    marks = {"d_L": (0.0, 790.0), "d_R": (0.0, -790.0), "b_L": (-2760.0, 792.0), "b_R": (-2760.0, -792.0)}
    for place, item in found.items():
        assert item.mark == marks[place[:3]]
        assert item.end == ("left" if place[3] == "L" else "right")
        end_y = 600.0 if item.end == "left" else -600.0
        assert item.distance == pytest.approx(line(3200.0 - item.mark[0], end_y - item.mark[1]), abs=1e-9)
        assert item.u == 0.85
        assert item.scale == (("tape", 1.6e-4, 1.0),)
        assert item.additive == ()


def test_without_a_track_of_its_own_the_other_axle_has_the_first_ones() -> None:
    rear = [item.mark for item in planned(replace(CAR, other_track=None)) if item.place.startswith("b")]
    assert {mark[1] for mark in rear} == {790.0, -790.0}


def test_lines_are_repeated_or_left_out_by_name() -> None:
    found = planned(replace(CAR, times=4, sets={"d_LR": 1, "d_RL": 0, "b_LL": 9}))
    assert [item.place for item in found] == ["d_LL", "d_LR", "d_RR", "b_LL", "b_LR", "b_RL", "b_RR"]
    u = {item.place: item.u for item in found}
    assert u["d_LL"] == pytest.approx(0.425)
    assert u["d_LR"] == 0.85
    assert u["b_LL"] == pytest.approx(0.85 / 3)


def test_predicted_yaw_holds_the_thrust_line_and_sideways_its_arm() -> None:
    """u of the thrust line 0.0071 deg over 5960 mm is 0.74 mm sideways."""
    bare = predict(DESIGN)
    turned = predict(replace(DESIGN, thrust_arm=5960.0, u_thrust_deg=0.0071))
    assert turned.u_distance == bare.u_distance
    assert turned.u_yaw_deg == pytest.approx(math.hypot(bare.u_yaw_deg, 0.0071), rel=1e-12)
    assert turned.u_sideways == pytest.approx(
        math.hypot(bare.u_sideways, 5960.0 * math.radians(0.0071)), rel=1e-12
    )
    # A large thrust line's share dominates, so nothing can stand in for it.
    assert predict(replace(DESIGN, u_thrust_deg=1.0)).u_yaw_deg == pytest.approx(1.0, abs=5e-3)


def test_the_arm_of_the_thrust_line_is_in_millimetres_and_radians() -> None:
    pose = solve(planned(DESIGN), 1200.0, 3200.0)
    assert sideways_u(pose, 1000.0, 0.01) == pytest.approx(math.sqrt(pose.covariance[1][1] + 100.0))


def test_one_amount_shared_by_all_readings_moves_the_distance_only() -> None:
    """A correction of the tape common to all four readings, 1 mm: the bar's distance by about 1 mm / cos."""
    bare = solve(planned(DESIGN), 1200.0, 3200.0)
    shared = tuple(replace(item, additive=(("tape", 1.0, 1.0),)) for item in planned(DESIGN))
    found = solve(shared, 1200.0, 3200.0)
    assert (found.x, found.y, found.psi) == (bare.x, bare.y, bare.psi)
    gained = found.covariance[0][0] - bare.covariance[0][0]
    # J of the mean distance: with d = sqrt(x^2 + dy^2), dx = d/x for each, here 3205.6/3200 and 3488.2/3200.
    near, far = line(3200.0, 190.0) / 3200.0, line(3200.0, 1390.0) / 3200.0
    assert min(near, far) ** 2 < gained < max(near, far) ** 2
    assert found.covariance[1][1] == pytest.approx(bare.covariance[1][1], abs=1e-9)
    assert found.covariance[2][2] == pytest.approx(bare.covariance[2][2], abs=1e-15)


def test_a_shared_part_that_no_reading_has_adds_nothing() -> None:
    bare = solve(planned(DESIGN), 1200.0, 3200.0)
    none = tuple(replace(item, additive=(("rule", 2.0, 0.0),)) for item in planned(DESIGN))
    zero = tuple(replace(item, additive=(("rule", 0.0, 1.0),)) for item in planned(DESIGN))
    assert solve(none, 1200.0, 3200.0).covariance == bare.covariance
    assert solve(zero, 1200.0, 3200.0).covariance == bare.covariance


def test_parts_of_two_instruments_are_two_parts() -> None:
    """Half the readings with a tape of their own: less certain than one tape only in yaw and sideways."""
    lines = planned(replace(DESIGN, u_relative=0.0))
    one = tuple(replace(item, scale=(("tape", 1.6e-3, 1.0),)) for item in lines)
    two = tuple(
        replace(item, scale=(("left tape" if item.end == "left" else "right tape", 1.6e-3, 1.0),))
        for item in lines
    )
    single, double = solve(one, 1200.0, 3200.0), solve(two, 1200.0, 3200.0)
    assert double.covariance[0][0] < single.covariance[0][0]
    assert double.covariance[2][2] > single.covariance[2][2]


def test_a_residual_that_the_fit_takes_whole_has_no_standard_deviation() -> None:
    """Three readings for three unknowns leave nothing over; a fourth does, for every size of u."""
    for u in (0.05, 0.85, 40.0):
        lines = tuple(replace(item, u=u) for item in planned(DESIGN))
        assert solve(lines[:3], 1200.0, 3200.0).standardized == (None, None, None)
        moved = (replace(lines[0], distance=lines[0].distance + u), *lines[1:])
        found = solve(moved, 1200.0, 3200.0)
        assert None not in found.standardized
        # With one degree of freedom all have the size of the root of chi-square.
        assert [abs(value or 0.0) for value in found.standardized] == pytest.approx(
            [math.sqrt(found.chi_squared)] * 4, rel=1e-6
        )


def refusal(observations: tuple[Observation, ...], bar: float = 1200.0) -> tuple[str, str]:
    with pytest.raises(PoseError) as caught:
        solve(observations, bar, 3200.0)
    return caught.value.code, str(caught.value)


def test_refusals_say_what_is_wrong() -> None:
    lines = planned(DESIGN)
    assert refusal(lines[:2]) == ("few", "fewer than three readings")
    same = (lines[0],) * 3
    assert refusal(same) == ("singular", "the readings do not fix the position")
    under = replace(lines[0], mark=(3200.0, 600.0), distance=5.0)
    assert refusal((under, *lines[1:])) == ("singular", "a floor mark lies under the bar")
    # Readings of no possible set-up send the iteration about without end.
    wild = tuple(
        replace(item, distance=distance)
        for item, distance in zip(lines, (1.0, 9000.0, 1.0, 9000.0), strict=True)
    )
    assert refusal(wild) == ("no_solution", "the iteration does not come to rest")


def test_a_tape_as_long_as_the_height_difference_spans_nothing() -> None:
    with pytest.raises(ValueError, match=r"^the height difference is as long as the tape$"):
        level_distance(120.0, 120.0)
    assert level_distance(3210.0, 120.0) == pytest.approx(3207.76, abs=5e-3)
