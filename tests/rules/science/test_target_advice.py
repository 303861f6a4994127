"""Moving a stand and choosing the next measurement: the worked table, and what must hold for any set-up."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.quantities import Limit
from rules.science.pose import Design, solve
from rules.science.target_advice import (
    Line,
    Option,
    Quantity,
    SetUp,
    Stands,
    advise,
    options,
    quickest,
    stand_move,
)
from tests.rules.science.test_pose import BAR, PLAN, REAR_TRACK, TRACK, WHEELBASE, observed

Z = 1.645
SIDEWAYS = Limit(lower=-10.0, upper=10.0, unit="mm", text="0 mm ± 10 mm")
SPARE = (-WHEELBASE, REAR_TRACK)
LINE = Line(slope=math.tan(math.radians(-0.075)), angle_deg=-0.075, behind=WHEELBASE)


def table(value: float, design: Design = PLAN, limit: Limit = SIDEWAYS) -> dict[str, Option]:
    found = options(design, {"sideways": limit}, {"sideways": value}, Z, SPARE)
    return {item.name: item for item in found}


@pytest.mark.parametrize(
    ("name", "u", "up_to", "minutes"),
    [
        ("as_is", 1.95, 6.80, 0),
        ("one_more_set", 1.47, 7.58, 3),
        ("two_more_sets", 1.27, 7.90, 6),
        ("three_more_sets", 1.16, 8.09, 9),
        ("other_axle", 1.72, 7.18, 8),
        ("move_stand", 1.95, 6.80, 5),
    ],
)
def test_the_worked_table(name: str, u: float, up_to: float, minutes: int) -> None:
    option = table(7.4)[name]
    zone = option.zones[0]
    assert (round(zone.u, 2), round(zone.accept_upper or 0.0, 2), option.minutes) == (u, up_to, minutes)
    assert round(zone.accept_lower or 0.0, 2) == -up_to


@pytest.mark.parametrize(
    ("value", "settling"),
    [
        (6.7, {"as_is", "one_more_set", "two_more_sets", "three_more_sets", "other_axle", "move_stand"}),
        (7.0, {"one_more_set", "two_more_sets", "three_more_sets", "other_axle", "move_stand"}),
        (7.4, {"one_more_set", "two_more_sets", "three_more_sets", "move_stand"}),
        (-7.8, {"two_more_sets", "three_more_sets", "move_stand"}),
        (8.0, {"three_more_sets", "move_stand"}),
        (9.0, {"move_stand"}),
    ],
)
def test_which_would_settle_the_present_value(value: float, settling: set[str]) -> None:
    found = table(value)
    assert {name for name, option in found.items() if option.settles} == settling


def test_the_quickest_that_settles() -> None:
    found = options(PLAN, {"sideways": SIDEWAYS}, {"sideways": 7.8}, Z, SPARE)
    fastest = quickest(found, ("one_more_set", "two_more_sets", "three_more_sets", "other_axle"))
    assert fastest is not None
    assert fastest.name == "two_more_sets"
    assert quickest(found, ("one_more_set", "other_axle")) is None


def test_a_narrow_limit_that_no_move_settles() -> None:
    """Limits closer together than the guard leave no place to stand: nothing settles it."""
    found = table(0.0, limit=Limit(lower=-2.0, upper=2.0, unit="mm", text=""))
    assert not found["move_stand"].settles
    assert not found["as_is"].settles


def test_other_axle_in_use_or_unknown_is_no_option() -> None:
    found = options(PLAN, {"sideways": SIDEWAYS}, {"sideways": 7.4}, Z, None)
    assert "other_axle" not in {item.name for item in found}


@settings(deadline=None)
@given(st.integers(1, 12), st.floats(0.2, 3.0), st.floats(0.0, 5e-4), st.floats(0.0, 0.05))
def test_more_readings_never_widen_a_zone(times: int, u: float, scale: float, u_thrust: float) -> None:
    design = replace(PLAN, times=times, u=u, u_relative=scale, u_thrust_deg=u_thrust)
    found = table(0.0, design)
    names = ("as_is", "one_more_set", "two_more_sets", "three_more_sets")
    sizes = [found[name].zones[0].u for name in names]
    assert sizes == sorted(sizes, reverse=True)
    assert found["other_axle"].zones[0].u <= sizes[0] + 1e-9
    assert sizes[-1] >= 5960.0 * math.radians(u_thrust) - 1e-9


# ------------------------------------------------------------------ moving the stand


def test_the_worked_move() -> None:
    pose = solve(observed((3213, 3495, 3494, 3210)), BAR, 3200)
    move = stand_move(Stands(x=pose.x, y=pose.y, turn_deg=math.degrees(pose.psi)), 3200.0, LINE)
    assert round(move.towards_car_mm, 1) == 6.0
    assert round(move.to_right_mm, 1) == 3.6
    assert round(move.turn_anticlockwise_deg, 3) == 0.045


@settings(deadline=None)
@given(st.floats(2500, 4000), st.floats(-50, 50), st.floats(-2, 2), st.floats(-0.3, 0.3))
def test_a_move_carried_out_leaves_nothing_to_move(x: float, y: float, turn: float, tau: float) -> None:
    line = Line(slope=math.tan(math.radians(tau)), angle_deg=tau, behind=WHEELBASE)
    move = stand_move(Stands(x=x, y=y, turn_deg=turn), 3200.0, line)
    there = Stands(
        x=x - move.towards_car_mm,
        y=y - move.to_right_mm,
        turn_deg=turn + move.turn_anticlockwise_deg,
    )
    left = stand_move(there, 3200.0, line)
    assert max(abs(left.towards_car_mm), abs(left.to_right_mm), abs(left.turn_anticlockwise_deg)) < 1e-9
    assert there.x == pytest.approx(3200.0)
    assert there.y == pytest.approx(line.at(3200.0))


def test_a_target_behind_the_car_comes_towards_it_by_going_forward() -> None:
    move = stand_move(Stands(x=-2510.0, y=0.0, turn_deg=0.0), -2500.0, Line())
    assert move.towards_car_mm == 10.0


# ------------------------------------------------------------------ from a measured set-up


def set_up(**fields: object) -> SetUp:
    values: dict[Quantity, float] = {"sideways": 7.4}
    base = {
        "nominal": 3200.0,
        "from_front": True,
        "bar": BAR,
        "front_track": TRACK,
        "rear_track": REAR_TRACK,
        "wheelbase": WHEELBASE,
        "read": {f"d_{ends}": (0.85, 1) for ends in ("LL", "LR", "RL", "RR")},
        "scale": 1.6e-4,
        "stands": Stands(x=3200.0, y=LINE.at(3200.0) + 7.4, turn_deg=-0.075),
        "thrust": (-0.075, PLAN.u_thrust_deg),
        "limits": {"sideways": SIDEWAYS},
        "values": values,
        "z": Z,
    }
    return SetUp(**{**base, **fields})  # type: ignore[arg-type]


def zones(found: tuple[Option, ...]) -> dict[str, float]:
    return {item.name: round(item.zones[0].u, 2) for item in found}


def test_a_set_of_four_gives_the_worked_table() -> None:
    move, found = advise(set_up())
    assert zones(found) == {
        "as_is": 1.95,
        "one_more_set": 1.47,
        "two_more_sets": 1.27,
        "three_more_sets": 1.16,
        "other_axle": 1.72,
        "move_stand": 1.95,
    }
    assert move.to_right_mm == pytest.approx(7.4)


def test_two_sets_averaged_count_as_two() -> None:
    twice = {f"d_{ends}": (0.85 / math.sqrt(2), 2) for ends in ("LL", "LR", "RL", "RR")}
    _, found = advise(set_up(read=twice))
    assert zones(found)["as_is"] == 1.47
    assert zones(found)["one_more_set"] == 1.27
    assert zones(found)["move_stand"] == 1.95


def test_all_eight_read_leaves_no_other_axle() -> None:
    eight = {f"{axle}_{ends}": (0.85, 1) for axle in "db" for ends in ("LL", "LR", "RL", "RR")}
    _, found = advise(set_up(read=eight))
    assert "other_axle" not in zones(found)
    assert zones(found)["as_is"] == 1.72


def test_measured_from_the_rear_axle() -> None:
    """The same target measured from the rear marks: the thrust line starts there, with the longer tape."""
    rear = set_up(
        nominal=-2500.0,
        from_front=False,
        read={f"b_{ends}": (0.85, 1) for ends in ("LL", "LR", "RL", "RR")},
        stands=Stands(x=-2500.0, y=7.4, turn_deg=0.0),
        thrust=None,
    )
    move, found = advise(rear)
    assert move.to_right_mm == pytest.approx(7.4)
    assert rear.other_axle == (WHEELBASE, TRACK)
    assert zones(found)["other_axle"] < zones(found)["as_is"]
