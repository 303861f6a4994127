"""target_pose: how many distances, repeated sets, uncertainties, and the lengths beside the distances."""

import math
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.facts import StateChange
from rules.quantities import parse_limit
from rules.science.pose import Design, planned
from tests.rules.builders import CORRAN, held, moment, reading
from tests.rules.judged_target import names, number, outcome, stands
from tests.rules.measured import said
from tests.rules.target_set import (
    FOUR,
    PLACES,
    distances,
    lengths,
    others,
    set_up,
)

EIGHT_LINES = Design(
    distance=3200.0, track=1580.0, bar=1200.0, u=0.85, other_axle_x=-2760.0, other_track=1584.0
)
EIGHT = (3213.0, 3495.0, 3494.0, 3210.0, 5970.0, 6116.0, 6127.0, 5968.0)
WITHHELD = {"distance", "sideways", "yaw", *(f"residual_{place}" for place in PLACES)}


# ------------------------------------------------------------------ how many readings


@pytest.mark.parametrize("left_out", range(4))
def test_three_readings_give_a_position_and_no_verdict(left_out: int) -> None:
    values = [value if place != left_out else None for place, value in enumerate(FOUR)]
    found = outcome(set_up(four=distances(values)))
    assert said(found) == ("not_shown", ("no_redundancy",))
    assert number(found, "distance").value == pytest.approx(3206.0, abs=0.5)
    assert number(found, "distance").p_in is None
    assert number(found, "sideways").lower is None


def test_three_readings_far_off_are_still_no_verdict() -> None:
    values = (*stands(aside=60.0)[:3],)
    assert said(outcome(set_up(four=distances(values)))) == ("not_shown", ("no_redundancy",))


@pytest.mark.parametrize("values", [(3213.0, 3495.0), (3213.0,), ()])
def test_fewer_than_three(values: tuple[float, ...]) -> None:
    found = outcome(set_up(four=distances(values)))
    assert said(found) == ("not_shown", ("missing",))
    assert not names(found) & WITHHELD


@pytest.mark.parametrize("places", [(0, 1, 2, 4), (0, 3, 5, 6), (1, 2, 4, 7), (0, 1, 4, 5, 6, 7), range(8)])
def test_any_subset_of_the_eight_that_checks_itself(places: Iterable[int]) -> None:
    true = [item.distance for item in planned(EIGHT_LINES)]
    values = [value if place in tuple(places) else None for place, value in enumerate(true)]
    found = outcome(set_up(four=distances(values), sizes=lengths(rear=True)))
    assert number(found, "distance").value == pytest.approx(3200.0, abs=1e-5)
    assert (number(found, "distance").u or 9.0) < 2.0


def test_readings_to_one_end_only() -> None:
    values = [value if place % 2 == 0 else None for place, value in enumerate(EIGHT)]
    found = outcome(set_up(four=distances(values), sizes=lengths(rear=True)))
    assert said(found) == ("not_shown", ("missing",))
    assert "do not fix where the bar stands" in found.sentence


@pytest.mark.parametrize("value", [math.nan, 0.0, -3213.0, math.inf])
def test_a_distance_that_is_none(value: float) -> None:
    bad = [replace(item, value=value) if item.place == "d_LL" else item for item in distances()]
    assert said(outcome(set_up(four=tuple(bad)))) == ("not_shown", ("unreadable",))


# ------------------------------------------------------------------ repeated sets


def test_the_mean_of_sets_has_less_of_the_independent_part() -> None:
    twice = (*distances(), *distances((3214.0, 3494.0, 3495.0, 3211.0), "10:24", 2))
    found = outcome(set_up(four=twice))
    assert said(found) == ("met", ())
    assert number(found, "read_d_LL").value == 3213.5
    assert number(found, "read_d_LL").u == pytest.approx(0.85 / math.sqrt(2), abs=1e-6)
    assert number(found, "count_d_LL").value == 2.0
    assert round(number(found, "sideways").u or 0.0, 2) == 1.47
    # The tape's scale does not shrink: 0.64, where 0.713/sqrt 2 would be 0.50.
    assert round(number(found, "distance").u or 0.0, 2) == 0.64


@pytest.mark.parametrize(("second", "agrees"), [(3216.4, True), (3216.41, False), (3209.59, False)])
def test_a_range_of_more_than_four_u(second: float, agrees: bool) -> None:
    """4 x 0.85 mm = 3.4 mm between two readings of d_LL."""
    again = distances((second, None, None, None), "10:24", 2)
    found = outcome(set_up(four=(*distances(), *again)))
    assert ("readings_disagree" in found.reasons) is not agrees
    if not agrees:
        assert "d_LL (left front mark to the left end of the bar) by 3.41 mm" in found.sentence
        assert not names(found) & WITHHELD
        assert "height" in names(found)


def test_sets_of_another_day_or_before_a_move_are_left_out() -> None:
    yesterday = distances((3300.0,) * 4, "2026-05-04 17:00", 1)
    assert said(outcome(set_up(four=(*yesterday, *distances(set_no=2))))) == ("met", ())
    early = distances((3300.0,) * 4, "09:00", 1)
    moved = StateChange(**held("moved", "09:30"), kind="target_moved", at=moment("09:30"), by="itolvaar")
    assert said(outcome(set_up(four=(*early, *distances(set_no=2))), state_changes=(moved,))) == ("met", ())


def test_of_the_other_quantities_the_last_counts() -> None:
    early = [replace(item, id=f"{item.id}-early") for item in others(1390.0, 0.0, 2.0, "10:05")]
    assert said(outcome((*set_up(), *early))) == ("met", ())


def test_two_tapes_in_one_set_do_not_share_a_scale() -> None:
    one = outcome(set_up())
    split = tuple(
        replace(item, instrument="TM-015") if item.place.endswith("R") else item for item in distances()
    )
    two = outcome(set_up(four=split))
    assert number(two, "distance").value == number(one, "distance").value
    assert (number(two, "distance").u or 9.0) < (number(one, "distance").u or 0.0)
    assert set(two.instruments) >= {"TM-014", "TM-015"}


# ------------------------------------------------------------------ uncertainties


@pytest.mark.parametrize(
    "change",
    [{"instrument": None}, {"u": None}, {"u_common": None}, {"u": 0.0}, {"u": 0.3}],
)
def test_distances_without_a_known_uncertainty(change: dict[str, Any]) -> None:
    """A u smaller than the tape's scale alone cannot be right: 1.6e-4 of 3.2 m is 0.51 mm."""
    one = tuple(replace(item, **change) if item.place == "d_RL" else item for item in distances())
    found = outcome(set_up(four=one))
    assert said(found) == ("not_shown", ("uncertainty_unknown",))
    assert not names(found) & WITHHELD
    assert "height" in names(found)


def test_a_bar_without_its_stand() -> None:
    front, bar = lengths()
    found = outcome(set_up(sizes=(front, replace(bar, instrument=None))))
    assert said(found) == ("not_shown", ("uncertainty_unknown",))
    assert not names(found) & WITHHELD


def test_marks_measured_with_nothing() -> None:
    front, bar = lengths()
    found = outcome(set_up(sizes=(replace(front, instrument=None), bar)))
    assert said(found) == ("not_shown", ("uncertainty_unknown",))


@pytest.mark.parametrize("quantity", ["target_height", "stand_floor_z", "bar_tilt"])
def test_height_floor_and_tilt_without_an_instrument(quantity: str) -> None:
    rest = tuple(replace(item, instrument=None) if item.quantity == quantity else item for item in others())
    found = outcome(set_up(rest=rest))
    assert said(found) == ("not_shown", ("uncertainty_unknown",))
    assert number(found, "distance").p_in is not None


@settings(deadline=None)
@given(st.floats(0.3, 12.0), st.floats(0.3, 12.0), st.sampled_from([0.0, 5.0, 7.0, 9.0, 11.0, 16.0]))
def test_a_growing_uncertainty_never_makes_anything_met(first: float, second: float, aside: float) -> None:
    small, large = sorted((first, second))
    order = {"met": 0, "not_shown": 1, "not_met": 1}
    better = outcome(set_up(four=distances(stands(aside=aside), own_u=small)))
    worse = outcome(set_up(four=distances(stands(aside=aside), own_u=large)))
    assert order[worse.verdict] >= order[better.verdict]
    if better.verdict == "not_met":
        assert worse.verdict != "met"


# ------------------------------------------------------------------ lengths beside the distances


@pytest.mark.parametrize("missing", ["datum_separation_front", "bar_length"])
def test_marks_and_bar_are_readings_too(missing: str) -> None:
    sizes = tuple(item for item in lengths() if item.quantity != missing)
    found = outcome(set_up(sizes=sizes))
    assert said(found) == ("not_shown", ("missing",))
    assert not names(found) & WITHHELD


def test_rear_readings_without_the_rear_marks() -> None:
    found = outcome(set_up(four=distances(EIGHT)))
    assert said(found) == ("not_shown", ("missing",))


@pytest.mark.parametrize(
    ("length", "reasons"),
    [
        (1200.1, ()),
        (1200.16, ()),
        (1200.17, ("conflict",)),
        (1199.8, ("conflict",)),
        (1000.0, ("conflict",)),
    ],
)
def test_another_bar_than_the_text_asks_for(length: float, reasons: tuple[str, ...]) -> None:
    """u 0.1, so 0.1645 mm is what a bar of 1200 mm may be read apart."""
    front, bar = lengths()
    found = outcome(set_up(sizes=(front, replace(bar, value=length))))
    assert found.verdict == ("not_shown" if reasons else "met") or "readings_disagree" in found.reasons
    assert ("conflict" in found.reasons) is bool(reasons)


def test_the_wheelbase_measured_or_of_the_vehicle() -> None:
    bare = replace(CORRAN, wheelbase_mm=None)
    assert said(outcome(set_up(), vehicle=bare)) == ("not_shown", ("missing",))
    measured = reading("w", "datum_front_to_rear", "", 2760.0, "mm", "10:15", u=0.96, instrument="TM-014",
                       u_common=1.6e-4)  # fmt: skip
    assert said(outcome((*set_up(), measured), vehicle=bare)) == ("met", ())
    nameless = replace(measured, instrument=None)
    assert said(outcome((*set_up(), nameless))) == ("not_shown", ("uncertainty_unknown",))


def test_all_eight_read_and_measured_from_the_rear() -> None:
    """The same bar from the other axle: as far behind as the wheelbase is long, all else the same."""
    true = [item.distance for item in planned(EIGHT_LINES)]
    arguments = {"measured_from": "rear_axle_marks", "distance": parse_limit("5960 mm ± 15 mm")}
    readings = set_up(four=distances(true), sizes=lengths(rear=True))
    found, front = outcome(readings, arguments=arguments), outcome(readings)
    for name, shift in (("distance", 2760.0), ("sideways", 0.0), ("yaw", 0.0), ("across_body", 0.0)):
        expected = (number(front, name).value or 0.0) + shift
        assert number(found, name).value == pytest.approx(expected, abs=1e-5)
        assert number(found, name).u == pytest.approx(number(front, name).u, rel=1e-5)


@pytest.mark.parametrize("quantity", ["bar_length", "target_height", "bar_tilt", "datum_separation_front"])
def test_two_values_for_one_time_contradict_each_other(quantity: str) -> None:
    readings = set_up()
    one = next(item for item in readings if item.quantity == quantity)
    other = replace(one, id="other", value=one.value + 0.05)
    assert said(outcome((*readings, other))) == ("not_shown", ("conflict",))
    # A second set at the same time replaces the first.
    assert "conflict" not in outcome((*readings, replace(other, set_no=2))).reasons
