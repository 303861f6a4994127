"""The names agree with each other: zones of known operations, changes of known kinds, plain words for all."""

from collections import Counter

import pytest

from rules import vocabulary as v


def test_every_name_stands_once() -> None:
    for names in (v.OPERATIONS, v.SENSORS, v.FUNCTIONS, v.LAMPS, v.STATEMENTS, v.EVENTS, v.PHOTO_SUBJECTS):
        assert not [name for name, count in Counter(names).items() if count > 1]


def test_tables_speak_of_known_names() -> None:
    assert set(v.DEFAULT_ZONES) <= set(v.OPERATIONS)
    assert {sensor for zone in v.DEFAULT_ZONES.values() for sensor in zone} <= set(v.SENSORS)
    assert set(v.CHANGES_BY_OPERATION) <= set(v.OPERATIONS)
    assert {kind for kinds in v.CHANGES_BY_OPERATION.values() for kind in kinds} <= set(v.STATE_CHANGES)
    assert set(v.ZONE_DETAIL_OPERATIONS) <= set(v.OPERATIONS)
    assert set(v.AIMED_SENSORS) <= set(v.SENSORS)
    assert set(v.LAMP_SENSORS) <= set(v.LAMPS)


# Common practice, no source: which operations meet which sensors, spot by spot.
@pytest.mark.parametrize(
    ("operation", "sensors"),
    [
        ("glass.windshield.chip_filled", {"forward_camera", "rain_light_sensor"}),
        ("pillar.a.repaired", {"forward_camera"}),
        ("bumper.front.refinished", {"front_radar", "parking_sensors"}),
        ("hood.replaced", {"front_radar", "surround_cameras"}),
        ("structure.front.sectioned", {"forward_camera", "front_radar", "front_corner_radar"}),
        ("structure.rear.pulled", {"rear_corner_radar", "rear_camera", "parking_sensors"}),
        ("tailgate.refitted", {"rear_camera", "surround_cameras"}),
        ("door.right_front.replaced", {"surround_cameras"}),
        ("glass.rear.replaced", {"rear_camera"}),
        ("battery.disconnected", {"steering_angle_sensor"}),
        ("subframe.front.removed", set(v.AIMED_SENSORS)),
        ("module.any.reprogrammed", set(v.AIMED_SENSORS)),
        ("door.left_front.refinished", set()),
        ("tyre.replaced", set()),
        ("glass.quarter.replaced", set()),
        ("airbag.curtain.fired", set()),
        ("alignment.checked_only", set()),
    ],
)
def test_zones(operation: str, sensors: set[str]) -> None:
    assert operation in v.OPERATIONS
    assert set(v.DEFAULT_ZONES.get(operation, ())) == sensors


def test_changes_of_state_by_operation() -> None:
    assert set(v.CHANGES_BY_OPERATION["suspension.rear.part_replaced"]) == {
        "suspension_work",
        "vehicle_lifted",
        "wheel_removed",
    }
    assert v.CHANGES_BY_OPERATION["ride_height.changed"] == ("suspension_work",)
    assert v.CHANGES_BY_OPERATION["alignment.rear_toe_adjusted"] == ("alignment_change",)
    assert "alignment.checked_only" not in v.CHANGES_BY_OPERATION
    assert v.CHANGES_BY_OPERATION["tyre.replaced"] == ("wheel_removed",)


@pytest.mark.parametrize(
    ("name", "known"),
    [
        ("hood.replaced", True),
        ("x.tow_bar.fitted", True),
        ("x.winch", True),
        ("x.", False),
        ("x", False),
        ("x..fitted", False),
        ("x.Tow.fitted", False),
        ("x.tow bar", False),
        ("hood.removed", False),
        ("xhood.replaced", False),
        ("", False),
    ],
)
def test_operation_names(name: str, known: bool) -> None:
    assert v.is_operation_name(name) is known


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("bumper.front.refitted", "front bumper refitted"),
        ("door.left_front.replaced", "left front door replaced"),
        ("camera.forward.bracket_replaced", "forward camera bracket replaced"),
        ("hood.replaced", "hood replaced"),
        ("tyre.replaced", "tire replaced"),
        ("x.tow_bar.fitted", "tow bar fitted"),
        ("pillar.a.repaired", "front roof pillar repaired"),
    ],
)
def test_plain_words(name: str, words: str) -> None:
    assert v.plain_operation(name) == words


def test_plain_words_of_all_names_are_words() -> None:
    for name in v.OPERATIONS:
        assert "_" not in v.plain_operation(name)
        assert "." not in v.plain_operation(name)
    assert v.plain_sensor("surround_cameras") == "around-view cameras"
    assert all("_" not in v.plain_sensor(sensor) for sensor in v.SENSORS)
