"""Repair operations: their names, the sensor zones they meet, and the changes of state that they are."""

from collections.abc import Mapping
from typing import Final

# Names that packs or organisations add themselves begin with this.
OWN_NAME_PREFIX: Final = "x."

# The sensors that "every aimed sensor" means: set to the line the vehicle travels.
AIMED_SENSORS: Final = (
    "forward_camera",
    "front_radar",
    "front_corner_radar",
    "rear_corner_radar",
    "night_camera",
    "lidar",
)
ACTIONS: Final = (
    "replaced",
    "refitted",
    "loosened",
    "disturbed",
    "repaired",
    "refinished",
    "unplugged",
    "pulled",
    "removed",
    "changed",
    "fired",
    "adjusted",
)

OPERATION_GROUPS: Final[Mapping[str, tuple[str, ...]]] = {
    "glass": (
        "glass.windshield.replaced",
        "glass.windshield.refitted",
        "glass.rear.replaced",
        "glass.quarter.replaced",
        "glass.door.replaced",
        "glass.windshield.chip_filled",
    ),
    "mirror": (
        "mirror.inside.disturbed",
        "mirror.inside.replaced",
        "mirror.left.replaced",
        "mirror.left.refitted",
        "mirror.right.replaced",
        "mirror.right.refitted",
    ),
    "camera": (
        "camera.forward.unplugged",
        "camera.forward.replaced",
        "camera.forward.bracket_replaced",
        "camera.surround.replaced",
        "camera.rear.replaced",
    ),
    "radar": (
        "radar.front.unplugged",
        "radar.front.replaced",
        "radar.front.bracket_replaced",
        "radar.rear_corner.unplugged",
        "radar.rear_corner.replaced",
        "radar.front_corner.replaced",
    ),
    "parking": (
        "parking.sensor.replaced",
        "parking.sensor.refinished",
        "parking.sensor.holder_replaced",
    ),
    "outer front": (
        "bumper.front.refitted",
        "bumper.front.replaced",
        "bumper.front.repaired",
        "bumper.front.refinished",
        "grille.front.refitted",
        "grille.front.replaced",
        "emblem.front.replaced",
        "headlamp.left.replaced",
        "headlamp.right.replaced",
        "fender.left.refinished",
        "fender.right.refinished",
        "hood.replaced",
    ),
    "outer rear and side": (
        "bumper.rear.refitted",
        "bumper.rear.replaced",
        "bumper.rear.repaired",
        "bumper.rear.refinished",
        "quarter.left.repaired",
        "quarter.right.repaired",
        "tailgate.replaced",
        "tailgate.refitted",
        "door.left_front.refinished",
        "door.right_front.refinished",
        "door.left_front.replaced",
        "door.right_front.replaced",
    ),
    "structure": (
        "structure.front.pulled",
        "structure.front.sectioned",
        "structure.rear.pulled",
        "roof.replaced",
        "pillar.a.repaired",
        "cowl.replaced",
        "radiator_support.replaced",
    ),
    "chassis": (
        "suspension.front.part_replaced",
        "suspension.rear.part_replaced",
        "subframe.front.removed",
        "ride_height.changed",
        "wheel.size.changed",
        "tyre.replaced",
        "alignment.front_toe_adjusted",
        "alignment.rear_toe_adjusted",
        "alignment.checked_only",
    ),
    "steering and restraint": (
        "steering.column.removed",
        "steering.rack.replaced",
        "steering.angle_sensor.replaced",
        "airbag.driver.fired",
        "airbag.passenger.fired",
        "airbag.curtain.fired",
        "seat.front.removed",
    ),
    "electrical": (
        "battery.disconnected",
        "module.steering.replaced",
        "module.brake.replaced",
        "module.body.replaced",
        "module.any.reprogrammed",
        "wiring.sensor.repaired",
    ),
    "none": ("none.no_sensor_zone",),
}
OPERATIONS: Final = tuple(name for group in OPERATION_GROUPS.values() for name in group)

_WINDSHIELD = ("forward_camera", "rain_light_sensor")
_FRONT_COVER = ("front_radar", "parking_sensors")
_REAR_COVER = ("rear_corner_radar", "parking_sensors")
_STRUCTURE_FRONT = ("forward_camera", "front_radar", "front_corner_radar")
_STRUCTURE_REAR = ("rear_corner_radar", "rear_camera", "parking_sensors")
_AROUND = ("surround_cameras",)
_CORNER = ("front_corner_radar",)
_STEERING = ("steering_angle_sensor",)

# The sensors whose zone an operation meets; an operation that is not listed meets none.
DEFAULT_ZONES: Final[Mapping[str, tuple[str, ...]]] = {
    "glass.windshield.replaced": _WINDSHIELD,
    "glass.windshield.refitted": _WINDSHIELD,
    "glass.windshield.chip_filled": _WINDSHIELD,
    "mirror.inside.disturbed": _WINDSHIELD,
    "mirror.inside.replaced": _WINDSHIELD,
    "camera.forward.unplugged": _WINDSHIELD,
    "camera.forward.replaced": _WINDSHIELD,
    "camera.forward.bracket_replaced": _WINDSHIELD,
    "roof.replaced": _WINDSHIELD,
    "cowl.replaced": _WINDSHIELD,
    "pillar.a.repaired": ("forward_camera",),
    "bumper.front.refitted": _FRONT_COVER,
    "bumper.front.replaced": _FRONT_COVER,
    "bumper.front.repaired": _FRONT_COVER,
    "bumper.front.refinished": _FRONT_COVER,
    "grille.front.refitted": _FRONT_COVER,
    "grille.front.replaced": _FRONT_COVER,
    "emblem.front.replaced": _FRONT_COVER,
    "radar.front.unplugged": _FRONT_COVER,
    "radar.front.replaced": _FRONT_COVER,
    "radar.front.bracket_replaced": _FRONT_COVER,
    "radiator_support.replaced": _FRONT_COVER,
    "hood.replaced": ("front_radar", "surround_cameras"),
    "headlamp.left.replaced": _CORNER,
    "headlamp.right.replaced": _CORNER,
    "fender.left.refinished": _CORNER,
    "fender.right.refinished": _CORNER,
    "radar.front_corner.replaced": _CORNER,
    "structure.front.pulled": _STRUCTURE_FRONT,
    "structure.front.sectioned": _STRUCTURE_FRONT,
    "mirror.left.replaced": _AROUND,
    "mirror.left.refitted": _AROUND,
    "mirror.right.replaced": _AROUND,
    "mirror.right.refitted": _AROUND,
    "camera.surround.replaced": _AROUND,
    "door.left_front.replaced": _AROUND,
    "door.right_front.replaced": _AROUND,
    "bumper.rear.refitted": _REAR_COVER,
    "bumper.rear.replaced": _REAR_COVER,
    "bumper.rear.repaired": _REAR_COVER,
    "bumper.rear.refinished": _REAR_COVER,
    "quarter.left.repaired": _REAR_COVER,
    "quarter.right.repaired": _REAR_COVER,
    "radar.rear_corner.unplugged": _REAR_COVER,
    "radar.rear_corner.replaced": _REAR_COVER,
    "structure.rear.pulled": _STRUCTURE_REAR,
    "tailgate.replaced": ("rear_camera", "surround_cameras"),
    "tailgate.refitted": ("rear_camera", "surround_cameras"),
    "camera.rear.replaced": ("rear_camera",),
    "glass.rear.replaced": ("rear_camera",),
    "parking.sensor.replaced": ("parking_sensors",),
    "parking.sensor.refinished": ("parking_sensors",),
    "parking.sensor.holder_replaced": ("parking_sensors",),
    "steering.column.removed": _STEERING,
    "steering.rack.replaced": _STEERING,
    "steering.angle_sensor.replaced": _STEERING,
    "airbag.driver.fired": _STEERING,
    "alignment.front_toe_adjusted": _STEERING,
    "module.steering.replaced": _STEERING,
    "module.brake.replaced": _STEERING,
    "battery.disconnected": _STEERING,
    "suspension.front.part_replaced": AIMED_SENSORS,
    "suspension.rear.part_replaced": AIMED_SENSORS,
    "ride_height.changed": AIMED_SENSORS,
    "wheel.size.changed": AIMED_SENSORS,
    "alignment.rear_toe_adjusted": AIMED_SENSORS,
    "subframe.front.removed": AIMED_SENSORS,
    "module.any.reprogrammed": AIMED_SENSORS,
    "module.body.replaced": AIMED_SENSORS,
    "wiring.sensor.repaired": AIMED_SENSORS,
}
# Here a ``zone_detail`` of the record names the one sensor that was met.
ZONE_DETAIL_OPERATIONS: Final = (
    "module.any.reprogrammed",
    "module.body.replaced",
    "wiring.sensor.repaired",
)

STATE_CHANGES: Final = (
    "vehicle_moved",
    "vehicle_lifted",
    "wheel_removed",
    "load_changed",
    "target_moved",
    "suspension_work",
    "alignment_change",
    "battery_cut",
)
_SUSPENSION = ("suspension_work", "vehicle_lifted", "wheel_removed")
# Operations that are by themselves a change of state, for as long as they took.
CHANGES_BY_OPERATION: Final[Mapping[str, tuple[str, ...]]] = {
    "suspension.front.part_replaced": _SUSPENSION,
    "suspension.rear.part_replaced": _SUSPENSION,
    "ride_height.changed": ("suspension_work",),
    "subframe.front.removed": ("suspension_work",),
    "alignment.front_toe_adjusted": ("alignment_change",),
    "alignment.rear_toe_adjusted": ("alignment_change",),
    "tyre.replaced": ("wheel_removed",),
    "wheel.size.changed": ("wheel_removed",),
    "battery.disconnected": ("battery_cut",),
}

_PLAIN_OPERATIONS: Final[Mapping[str, str]] = {
    "glass.windshield.replaced": "windshield replaced",
    "glass.windshield.refitted": "windshield taken out and refitted",
    "glass.windshield.chip_filled": "windshield chip filled",
    "parking.sensor.replaced": "parking sensor replaced",
    "parking.sensor.refinished": "parking sensor refinished",
    "parking.sensor.holder_replaced": "parking sensor holder replaced",
    "pillar.a.repaired": "front roof pillar repaired",
    "wheel.size.changed": "wheel size changed",
    "tyre.replaced": "tire replaced",
    "alignment.front_toe_adjusted": "front toe adjusted",
    "alignment.rear_toe_adjusted": "rear toe adjusted",
    "alignment.checked_only": "alignment checked only",
    "steering.column.removed": "steering column removed",
    "steering.rack.replaced": "steering rack replaced",
    "steering.angle_sensor.replaced": "steering-angle sensor replaced",
    "module.any.reprogrammed": "a module reprogrammed",
    "wiring.sensor.repaired": "sensor wiring repaired",
    "none.no_sensor_zone": "work outside every sensor zone",
}


def is_own_name(name: str) -> bool:
    """True for a well-formed name that a pack or an organisation added: ``x.trailer_hitch.fitted``."""
    rest = name.removeprefix(OWN_NAME_PREFIX)
    parts = rest.split(".")
    return rest != name and all(_is_word(part) for part in parts)


def is_operation_name(name: str) -> bool:
    """True for the program's own names and for well-formed added names."""
    return name in OPERATIONS or is_own_name(name)


def plain_operation(name: str) -> str:
    """An operation in the words of a sentence: ``front bumper refitted``, ``left front door replaced``."""
    if name in _PLAIN_OPERATIONS:
        return _PLAIN_OPERATIONS[name]
    parts = name.removeprefix(OWN_NAME_PREFIX).replace("_", " ").split(".")
    if len(parts) < 3:
        return " ".join(parts)
    area, place = parts[0], parts[1]
    return " ".join([place, area, *parts[2:]])


def _is_word(text: str) -> bool:
    return (
        bool(text)
        and text.isascii()
        and text[0].isalpha()
        and text.replace("_", "a").isalnum()
        and text.islower()
    )
