"""target_pose: the thrust line it is centred on, height and floor, freshness, event and evidence."""

import math
from dataclasses import replace
from typing import Any

import pytest

from rules.checks.event_times import event_time
from rules.checks.library import CHECKS
from rules.checks.target_pose import target_pose
from rules.facts import Reading, StateChange
from rules.quantities import parse_limit
from tests.rules.builders import ended, held, moment, reading
from tests.rules.judged_target import TAU, names, number, outcome, stands
from tests.rules.measured import numbers, said
from tests.rules.target_set import (
    camera_session,
    context,
    distances,
    job,
    lengths,
    others,
    set_up,
    tape_u,
    toe,
    vague,
)

# ------------------------------------------------------------------ thrust line


def test_without_a_thrust_line_distance_is_still_judged() -> None:
    found = outcome(set_up(axle=()))
    assert said(found) == ("not_shown", ("missing",))
    assert number(found, "distance").p_in is not None
    assert not names(found) & {"sideways", "yaw"}
    far = outcome(set_up(axle=(), four=distances(stands(x=3250.0))))
    assert said(far) == ("not_met", ("outside_limit", "missing"))


@pytest.mark.parametrize(
    ("axle", "reason"),
    [
        (toe(instrument=None), "uncertainty_unknown"),
        (toe(when="07:00"), "evidence_stale"),
        ((*toe(), reading("p", "thrust_printed", "", 0.3, "deg", "09:00")), "conflict"),
        (toe()[:1], "missing"),
    ],
)
def test_the_reason_is_that_of_the_thrust_proof(axle: tuple[Reading, ...], reason: str) -> None:
    found = outcome(set_up(axle=axle))
    assert said(found) == ("not_shown", (reason,))
    assert not names(found) & {"sideways", "yaw"}
    assert number(found, "distance").p_in is not None


def test_a_thrust_line_outside_its_own_limit_is_still_a_line() -> None:
    """A crab of 0.3 deg fails the thrust proof; where the target stands against that line is known."""
    found = outcome(set_up(axle=toe(0.6, 0.0)))
    assert number(found, "sideways").value == pytest.approx(
        -4.1547 + 5966.0 * math.tan(math.radians(0.3)), abs=0.01
    )


def test_centred_on_the_middle_of_the_car() -> None:
    found = outcome(set_up(axle=()), without=("centred_on",))
    assert said(found) == ("met", ())
    assert round(number(found, "sideways").value or 0.0, 2) == -4.15
    assert round(number(found, "sideways").u or 0.0, 3) == 1.805
    assert "from the middle of the car" in found.sentence


def test_measured_from_the_rear_axle() -> None:
    """The same bar seen from the rear marks alone: the thrust line starts there."""
    y = 5960.0 * math.tan(TAU)
    values = []
    for mark in (792.0, -792.0):
        for half in (600.0, -600.0):
            end = (5960.0 - half * math.sin(TAU), y + half * math.cos(TAU))
            values.append(math.hypot(end[0], end[1] - mark))
    arguments = {"measured_from": "rear_axle_marks", "distance": parse_limit("5960 mm ± 15 mm")}
    found = outcome(
        set_up(four=distances((None, None, None, None, *values)), sizes=lengths(rear=True)[1:]),
        arguments=arguments,
    )
    assert number(found, "distance").value == pytest.approx(5960.0, abs=1e-4)
    assert number(found, "sideways").value == pytest.approx(0.0, abs=1e-4)
    assert number(found, "yaw").value == pytest.approx(0.0, abs=1e-5)


# ------------------------------------------------------------------ height


def test_without_a_reading_of_the_floor_at_the_stand() -> None:
    found = outcome(set_up(rest=others(floor=None)))
    assert said(found) == ("not_shown", ("missing",))
    assert "height" not in names(found)


def pads(*heights: float, when: str = "10:10", **fields: Any) -> tuple[Reading, ...]:
    places = ("front_left", "front_right", "rear_left", "rear_right")
    level = {"u": 0.3, "instrument": "FL-001", **fields}
    return tuple(
        reading(f"pad-{place}", "floor_z", place, height, "mm", when, **level)
        for place, height in zip(places, heights, strict=False)
    )


def test_the_floor_at_the_stand_against_the_plane_of_the_wheels() -> None:
    """Pads 10.5, 9.1, 1.2, 0.1: plane at the stand 20.41; floor there 19.2, so it lies 1.21 mm low."""
    found = outcome((*set_up(rest=others(1347.0, 19.2)), *pads(10.5, 9.1, 1.2, 0.1)))
    assert round(number(found, "floor_step").value or 0.0, 2) == -1.21
    assert round(number(found, "height").value or 0.0, 2) == 1345.79
    # The plane carried forward from the pads is known less well than the floor itself.
    # Its leverage there is 1/4 + 4.58^2/(4 x 1.38^2) = 3.004, so sqrt(1.06^2 + 0.50^2 + 0.30^2 x 3.004).
    assert number(found, "height").u == pytest.approx(1.2822, abs=5e-4)
    assert said(found) == ("met", ())


def test_the_pads_of_three_wheels_are_no_plane() -> None:
    found = outcome((*set_up(rest=others(1347.0, 19.2)), *pads(10.5, 9.1, 1.2)))
    assert said(found) == ("not_shown", ("missing",))
    assert "height" not in names(found)


def test_pads_read_before_the_car_was_moved() -> None:
    moved = StateChange(**held("moved", "09:30"), kind="vehicle_moved", at=moment("09:30"), by="itolvaar")
    found = outcome(
        (*set_up(rest=others(1347.0, 19.2)), *pads(10.5, 9.1, 1.2, 0.1, when="09:00")), state_changes=(moved,)
    )
    assert "evidence_stale" in found.reasons
    assert "height" not in names(found)


def test_a_uniform_slope_does_not_lift_the_target() -> None:
    """3 mm/m everywhere: pads and stand on one plane, no step."""
    slope = 0.003
    heights = [slope * x for x in (0.0, 0.0, -2760.0, -2760.0)]
    found = outcome((*set_up(rest=others(1345.0, slope * 3200.0)), *pads(*heights)))
    assert number(found, "floor_step").value == pytest.approx(0.0, abs=1e-6)


def test_the_change_of_a_wrong_height() -> None:
    assert outcome(set_up(rest=others(1355.0, 0.0))).change == (
        "Lower the target 10.0 mm and read its height again."
    )
    assert "Raise the target 10.0 mm" in outcome(set_up(rest=others(1335.0, 0.0))).change


# ------------------------------------------------------------------ freshness


@pytest.mark.parametrize("kind", ["vehicle_moved", "target_moved"])
@pytest.mark.parametrize(
    ("when", "fresh"),
    # Everything read from 10:15 on, session 10:40 to 10:52.
    [("10:10", True), ("10:30", False), ("10:45", False), ("10:53", True)],
)
def test_what_moves_car_or_target_spoils_the_set(kind: str, when: str, fresh: bool) -> None:
    moved = StateChange(**held("moved", when), kind=kind, at=moment(when), by="itolvaar")
    found = outcome(set_up(), state_changes=(moved,))
    assert said(found) == (("met", ()) if fresh else ("not_shown", ("evidence_stale",)))


def test_read_after_the_session_started() -> None:
    late = outcome(set_up(four=distances(when="10:41")))
    assert said(late) == ("not_shown", ("evidence_stale",))


def test_a_reading_that_only_a_vague_clock_puts_aside_still_speaks() -> None:
    """Whether it was read before the move is open, so it may contradict: nothing is shown."""
    moved = StateChange(**held("moved", "10:00"), kind="target_moved", at=moment("10:00"), by="itolvaar")
    old = tuple(vague(item, 20.0) for item in distances((3220.0,) * 4, "10:05", 1))
    found = outcome(set_up(four=(*old, *distances(set_no=2))), state_changes=(moved,))
    assert said(found) == ("not_shown", ("evidence_stale",))


def test_a_set_aside_reading_does_not_count() -> None:
    four = distances()
    found = outcome(set_up(four=(*four[:3], ended(four[3], "10:30"))))
    assert said(found) == ("not_shown", ("no_redundancy",))


# ------------------------------------------------------------------ the event and the record


def test_the_event_is_the_last_of_the_sets_that_were_averaged() -> None:
    twice = (*distances(), *distances(when="10:24", set_no=2))
    after = distances((3300.0,) * 4, "10:41", 3)
    found = event_time(context(job(set_up(four=(*twice, *after)))), "target")
    assert found.moment == moment("10:24")
    assert event_time(context(job(set_up(four=after))), "target").moment is None


def test_the_verdict_rests_on_all_that_it_used() -> None:
    found = outcome(set_up())
    assert set(found.instruments) == {"TM-014", "TS-003", "FL-001", "AG-005", "AR-002"}
    assert {"front", "bar", "height", "floor", "tilt", "toe-left", "toe-right"} <= set(found.evidence)
    assert len(found.evidence) == 11


def test_it_is_in_the_library() -> None:
    assert CHECKS["target_pose"] is target_pose


def test_no_session_part_no_target() -> None:
    found = outcome(set_up(), sessions=())
    assert found.verdict == "not_shown"
    assert set(found.reasons) == {"missing"}


def test_other_places_of_the_same_quantity_are_no_distances() -> None:
    odd = [replace(item, place="somewhere") for item in distances(set_no=9, when="10:21")]
    assert said(outcome((*set_up(), *odd))) == ("met", ())


def test_typed_in_inches_it_is_the_same_verdict() -> None:
    """The program's unit is what is judged; what was typed is kept beside it."""
    inches = tuple(
        replace(item, typed_value=f"{item.value / 25.4:.4f}", typed_unit="in", u=tape_u(item.value))
        for item in distances()
    )
    assert numbers(outcome(set_up(four=inches))) == numbers(outcome(set_up()))


def test_a_session_still_running() -> None:
    assert said(outcome(set_up(), sessions=(camera_session(end=None),))) == ("met", ())
