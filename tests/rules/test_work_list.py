"""The list of operations: what is on it, when it is closed, which zones it meets."""

import pytest

from rules.vocabulary import AIMED_SENSORS, DEFAULT_ZONES
from rules.work_list import (
    listed_operations,
    names_on_list,
    operation_truth,
    operations_list_closed,
    touched_truth,
    touching_names,
    zones_met,
)
from tests.rules.cast import closing, corran, ended, fitted, job, line, operation

GLASS = "glass.windshield.replaced"
RADAR = "front_radar"


def test_done_and_planned_operations_are_on_the_list() -> None:
    facts = job(operations=(operation(GLASS),), estimate_lines=(line(1, GLASS, "hood.replaced"),))
    assert names_on_list(facts) == (GLASS, "hood.replaced")
    assert [one.is_done for one in listed_operations(facts)] == [True, False]


def test_withdrawn_operations_and_corrected_lines_are_not() -> None:
    facts = job(operations=(ended(operation(GLASS)),), estimate_lines=(ended(line(1, GLASS), "corrected"),))
    assert names_on_list(facts) == ()
    assert operation_truth(facts, (GLASS,)) == "unknown"


def test_a_planned_name_stays_until_every_line_of_it_is_carried_out() -> None:
    wiring = "wiring.sensor.repaired"
    once = operation(wiring, detail="lidar")
    planned_once = job(operations=(once,), estimate_lines=(line(1, wiring),), closings=(closing(),))
    assert touching_names(planned_once, RADAR, DEFAULT_ZONES) == ()
    twice = job(operations=(once,), estimate_lines=(line(1, wiring), line(2, wiring)), closings=(closing(),))
    assert touching_names(twice, RADAR, DEFAULT_ZONES) == (wiring,)


@pytest.mark.parametrize(
    ("facts", "closed"),
    [
        (job(), False),
        (job(closings=(closing(),)), True),
        (job(closings=(ended(closing()),)), False),
        (job(closings=(ended(closing(30)), closing(60))), True),
        (job(closings=(closing(),), estimate_lines=(line(1),)), False),
        (job(closings=(closing(),), estimate_lines=(line(1, nothing=True),)), True),
        (job(closings=(closing(),), estimate_lines=(line(1, GLASS),)), True),
        (job(closings=(closing(),), estimate_lines=(ended(line(1), "corrected"),)), True),
        (job(closings=(closing(60),), operations=(operation(GLASS, 60),)), True),
        (job(closings=(closing(60),), operations=(operation(GLASS, 61),)), False),
        (job(closings=(closing(60),), estimate_lines=(line(1, GLASS, minutes=61),)), False),
        # Planned before the closing, done after it: the list held it.
        (
            job(
                closings=(closing(60),),
                estimate_lines=(line(1, GLASS),),
                operations=(operation(GLASS, 90),),
            ),
            True,
        ),
    ],
)
def test_closed(facts, closed: bool) -> None:  # type: ignore[no-untyped-def]
    assert operations_list_closed(facts) is closed


def test_not_listed_is_false_only_on_a_closed_list() -> None:
    assert operation_truth(job(), (GLASS,)) == "unknown"
    assert operation_truth(job(closings=(closing(),)), (GLASS,)) == "false"
    assert operation_truth(job(operations=(operation(GLASS),)), ("hood.replaced", GLASS)) == "true"


def test_zone_detail_narrows_only_where_the_name_does_not_say() -> None:
    facts = job(
        operations=(
            operation("module.any.reprogrammed", 1, "lidar"),
            operation("module.body.replaced", 2),
            operation(GLASS, 3, "lidar"),
            operation("x.winch.fitted", 4),
            operation("x.winch.fitted", 5, RADAR),
            operation("tyre.replaced", 6),
        )
    )
    assert [zones_met(one, DEFAULT_ZONES) for one in listed_operations(facts)] == [
        ("lidar",),
        AIMED_SENSORS,
        DEFAULT_ZONES[GLASS],
        None,
        (RADAR,),
        (),
    ]


def test_chassis_work_touches_aimed_sensors_as_far_as_they_are_fitted() -> None:
    lowered = corran("ride_height.changed", fitted_ways=fitted("forward_camera", unknown=("lidar",)))
    truths = {name: touched_truth(lowered, name, DEFAULT_ZONES) for name in (*AIMED_SENSORS, "rear_camera")}
    assert truths == {
        "forward_camera": "true",
        RADAR: "false",
        "front_corner_radar": "false",
        "rear_corner_radar": "false",
        "night_camera": "false",
        "lidar": "unknown",
        "rear_camera": "false",
    }


def test_a_name_whose_zones_nobody_gave_leaves_every_sensor_open() -> None:
    facts = corran("x.winch.fitted")
    assert touched_truth(facts, RADAR, DEFAULT_ZONES) == "unknown"
    assert touched_truth(facts, RADAR, {"x.winch.fitted": ()}) == "false"
    assert touched_truth(facts, RADAR, {"x.winch.fitted": (RADAR,)}) == "true"


def test_an_open_list_leaves_what_it_does_not_name_unknown() -> None:
    facts = corran("bumper.front.refitted", closed=False)
    assert touched_truth(facts, RADAR, DEFAULT_ZONES) == "true"
    assert touched_truth(facts, "rear_camera", DEFAULT_ZONES) == "unknown"
