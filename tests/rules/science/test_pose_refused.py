"""Readings that give no pose, or none that can be checked: refused by name, and nothing raises else."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.science.pose import PoseError, solve
from tests.rules.science.test_pose import BAR, observed


def test_two_readings_are_too_few() -> None:
    with pytest.raises(PoseError) as raised:
        solve(observed((3213, 3495)), BAR, 3200)
    assert raised.value.code == "few"


def test_three_readings_fit_exactly_and_say_nothing_of_themselves() -> None:
    pose = solve(observed((3213, 3495, 3494)), BAR, 3200)
    assert pose.degrees_of_freedom == 0
    assert pose.chi_squared_limit is None
    assert pose.standardized == (None, None, None)


def test_readings_to_one_end_only_do_not_fix_the_bar() -> None:
    items = observed((3213, 3495, 3494, 3210, 5970, 6126, 6127, 5968))
    with pytest.raises(PoseError) as raised:
        solve([item for item in items if item.end == "left"], BAR, 3200)
    assert raised.value.code == "singular"


def test_a_mark_under_the_bar() -> None:
    item = observed((3213, 3495, 3494, 3210))
    under = [replace(one, mark=(3200.0, 600.0)) if one.place == "d_LL" else one for one in item]
    with pytest.raises(PoseError) as raised:
        solve(under, BAR, 3200)
    assert raised.value.code == "singular"


@settings(deadline=None)
@given(st.lists(st.floats(1.0, 20000.0), min_size=4, max_size=8))
def test_wild_readings_give_a_pose_or_a_clean_refusal(values: list[float]) -> None:
    try:
        pose = solve(observed(values), BAR, 3200)
    except PoseError:
        return
    assert all(math.isfinite(value) for value in (pose.x, pose.y, pose.psi, pose.chi_squared))


@pytest.mark.parametrize(
    "change",
    [{"distance": math.nan}, {"distance": 0.0}, {"u": 0.0}, {"u": -1.0}, {"u": math.inf},
     {"mark": (math.nan, 0.0)}, {"scale": (("tape", -1.0, 1.0),)}, {"scale": (("tape", math.nan, 1.0),)}],
)  # fmt: skip
def test_what_is_no_reading(change: dict[str, object]) -> None:
    items = observed((3213, 3495, 3494, 3210))
    with pytest.raises(ValueError, match=r"finite|positive|negative"):
        solve([replace(items[0], **change), *items[1:]], BAR, 3200)  # type: ignore[arg-type]
