"""Several targets in one visit: a set serves the procedure it names, else the first session after it."""

from dataclasses import replace
from typing import Any

import pytest

from rules.checks.event_times import event_time
from rules.checks.target_identity import target_identity
from rules.checks.target_pose import target_pose
from rules.checks.targets import POSE_CHECK, of_this_target
from rules.facts import JobFacts, Reading, TargetIdentity
from rules.verdict import Outcome
from tests.rules.builders import held, moment, session
from tests.rules.judged_target import number
from tests.rules.measured import said
from tests.rules.target_set import (
    RADAR,
    STILL,
    camera_session,
    context,
    distances,
    job,
    lengths,
    others,
    set_up,
    vague,
)

# A bar 4000 mm ahead on the thrust line, to the millimetre.
RADAR_FOUR = (4006.0, 4237.0, 4232.0, 4003.0)


def radar_session(start: str = "11:20", end: str = "11:40") -> Any:
    return session("r-1", RADAR, start, end)


def both(readings: tuple[Reading, ...], **fields: Any) -> JobFacts:
    """A camera session at 10:40 and a radar session at 11:20."""
    return job(readings, sessions=(camera_session(), radar_session()), **fields)


def camera(facts: JobFacts) -> Outcome:
    return target_pose(context(facts, STILL, also=(RADAR,)))


def radar(facts: JobFacts) -> Outcome:
    return target_pose(context(facts, RADAR, also=(STILL,)))


def of_radar(**fields: Any) -> tuple[Reading, ...]:
    """The radar's own set; marks of the axle are the car's, bar and heights are the target's."""
    names = {"procedure_id": RADAR, **fields}
    four = distances(RADAR_FOUR, "11:10", **names)
    bar = replace(lengths("11:05")[1], id="radar-bar", **names)
    rest = (replace(item, id=f"radar-{item.quantity}", **names) for item in others(520.0, 0.0, when="11:12"))
    return (*four, bar, *rest)


def named(readings: tuple[Reading, ...], **fields: Any) -> tuple[Reading, ...]:
    return tuple(
        item if item.quantity.startswith(("rear_toe", "datum")) else replace(item, **fields)
        for item in readings
    )


def test_each_set_serves_the_procedure_it_names() -> None:
    facts = both((*named(set_up(), procedure_id=STILL), *of_radar()))
    assert said(camera(facts)) == ("met", ())
    assert number(camera(facts), "distance").value == pytest.approx(3206.0, abs=1e-2)
    assert said(radar(facts)) == ("met", ())
    assert number(radar(facts), "distance").value == pytest.approx(4000.0, abs=1.0)


def test_each_set_serves_the_procedure_of_the_session_it_names() -> None:
    facts = both((*named(set_up(), session="s-1"), *of_radar(procedure_id=None, session="r-1")))
    assert number(camera(facts), "distance").value == pytest.approx(3206.0, abs=1e-2)
    assert number(radar(facts), "distance").value == pytest.approx(4000.0, abs=1.0)


def test_a_set_that_names_nothing_serves_the_first_session_after_it() -> None:
    facts = both((*set_up(), *of_radar(procedure_id=None)))
    assert number(camera(facts), "distance").value == pytest.approx(3206.0, abs=1e-2)
    assert number(radar(facts), "distance").value == pytest.approx(4000.0, abs=1.0)


def test_one_set_never_serves_two_targets() -> None:
    facts = both(set_up())
    assert said(camera(facts)) == ("met", ())
    found = radar(facts)
    assert found.verdict == "not_shown"
    assert "missing" in found.reasons
    assert "distance" not in {item.name for item in found.numbers}


@pytest.mark.parametrize("minutes", [30.0, 60.0])
def test_a_set_by_a_vague_clock_between_two_sessions_serves_neither(minutes: float) -> None:
    """To half an hour, it was read before the radar session for sure, and perhaps before the camera's."""
    loose = tuple(vague(item, minutes) for item in distances(when="10:30"))
    for found in (camera(both(set_up(four=loose))), radar(both(set_up(four=loose)))):
        assert found.verdict == "not_shown"
        assert "evidence_stale" in found.reasons
        assert "distance" not in {item.name for item in found.numbers}


def test_where_one_target_only_is_asked_for_the_set_is_its_own() -> None:
    own = context(both(set_up()), STILL)
    found, unsure = of_this_target(own, own.facts.readings, POSE_CHECK)
    assert len(found) == len(own.facts.readings)
    assert not unsure


def test_a_set_that_names_another_procedure_never_serves() -> None:
    facts = job(named(set_up(), procedure_id=RADAR))
    found = target_pose(context(facts, STILL))
    assert found.verdict == "not_shown"
    assert "missing" in found.reasons


# ------------------------------------------------------------------ the board's number


def board(number_read: str, when: str, **fields: Any) -> TargetIdentity:
    base: dict[str, Any] = {"number_read": number_read, "right_way_up": True, "clean": True, "by": "itolvaar"}
    return TargetIdentity(**{**held(f"{number_read}-{when}", when), **base, "at": moment(when), **fields})


def identity(facts: JobFacts, procedure_id: str, other: str) -> Outcome:
    return target_identity(context(facts, procedure_id, "board", also=(other,)))


def test_each_board_belongs_to_the_first_session_after_it() -> None:
    records = (board("OV-TB-07", "10:30"), board("OV-RR-02", "11:10"))
    facts = both((), target_identities=records)
    assert said(identity(facts, STILL, RADAR)) == ("met", ())
    assert said(identity(facts, RADAR, STILL)) == ("met", ())


def test_the_camera_board_read_before_the_camera_session_is_not_the_radars() -> None:
    facts = both((), target_identities=(board("OV-TB-07", "10:30"),))
    assert said(identity(facts, RADAR, STILL)) == ("not_shown", ("missing",))


def test_a_board_that_names_its_procedure() -> None:
    records = (board("OV-TB-07", "10:30", procedure_id=STILL), board("OV-RR-02", "10:20", procedure_id=RADAR))
    facts = both((), target_identities=records)
    assert said(identity(facts, STILL, RADAR)) == ("met", ())
    assert said(identity(facts, RADAR, STILL)) == ("met", ())


def test_the_event_of_a_target_is_not_that_of_another() -> None:
    facts = both(set_up())
    assert event_time(context(facts, STILL, also=(RADAR,)), "target").moment == moment("10:20")
    assert event_time(context(facts, RADAR, also=(STILL,)), "target").moment is None
