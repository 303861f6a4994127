"""The names this program speaks: operations and their zones, sensors, functions, changes, evidence, roles."""

from collections.abc import Mapping
from typing import Final

from rules.operation_names import (
    ACTIONS,
    AIMED_SENSORS,
    CHANGES_BY_OPERATION,
    DEFAULT_ZONES,
    OPERATION_GROUPS,
    OPERATIONS,
    OWN_NAME_PREFIX,
    STATE_CHANGES,
    ZONE_DETAIL_OPERATIONS,
    is_operation_name,
    is_own_name,
    plain_operation,
)

__all__ = [
    "ACTIONS",
    "AIMED_SENSORS",
    "CHANGES_BY_OPERATION",
    "DEFAULT_ZONES",
    "EVENTS",
    "EVIDENCE_KINDS",
    "EVIDENCE_STAGES",
    "FITTED_WAYS",
    "FITTED_WAYS_NOT_COUNTED",
    "FUNCTIONS",
    "FUNCTION_GROUPS",
    "FUNCTION_STATES",
    "IDENTITY_WAYS",
    "LAMPS",
    "LAMPS_THAT_ARE_NO_WARNING",
    "LAMP_GROUPS",
    "LAMP_SENSORS",
    "LAMP_STATES",
    "MODULE_SYSTEMS",
    "OPERATIONS",
    "OPERATION_GROUPS",
    "OWN_NAME_PREFIX",
    "PHOTO_SUBJECTS",
    "PLURAL_SENSORS",
    "QUALIFICATION_KINDS",
    "QUANTITY_UNITS",
    "ROLES",
    "SCAN_STAGES",
    "SENSORS",
    "SESSION_RESULTS",
    "SIGN_OFF_ROLES",
    "STATEMENTS",
    "STATE_CHANGES",
    "ZONE_DETAIL_OPERATIONS",
    "is_operation_name",
    "is_own_name",
    "plain_operation",
    "plain_sensor",
]

SENSORS: Final = (
    "forward_camera",
    "front_radar",
    "front_corner_radar",
    "rear_corner_radar",
    "surround_cameras",
    "rear_camera",
    "parking_sensors",
    "night_camera",
    "driver_camera",
    "lidar",
    "steering_angle_sensor",
    "head_up_projector",
    "rain_light_sensor",
)
FITTED_WAYS: Final = ("build_data", "sight", "scan_module", "owner_statement")
# An owner's word alone never shows what is fitted (project default).
FITTED_WAYS_NOT_COUNTED: Final = ("owner_statement",)

# Common names of driver-assistance functions: SAE J3063 (May 2023), from memory, to be checked.
FUNCTION_GROUPS: Final[Mapping[str, tuple[str, ...]]] = {
    "warning": (
        "forward collision warning",
        "lane departure warning",
        "blind spot warning",
        "parking collision warning",
        "rear cross traffic warning",
    ),
    "intervention": (
        "automatic emergency braking",
        "automatic emergency steering",
        "reverse automatic emergency braking",
        "blind spot collision intervention",
        "lane keeping assistance",
    ),
    "driving": ("adaptive cruise control", "lane centering assistance", "active driving assistance"),
    "parking": (
        "backup camera",
        "surround view camera",
        "active parking assistance",
        "remote parking assistance",
    ),
    "other": (
        "trailer assistance",
        "automatic high beams",
        "driver monitoring",
        "head-up display",
        "night vision",
    ),
}
FUNCTIONS: Final = tuple(name for group in FUNCTION_GROUPS.values() for name in group)
FUNCTION_STATES: Final = ("ready", "reacts", "reacts_on_road", "picture_complete", "not_working")

# The system a scanned module serves: a sensor, or one of these.
MODULE_SYSTEMS: Final = ("brake", "steering", "restraint", "body", "other")
SCAN_STAGES: Final = ("before_repair", "before_calibration", "calibration", "final", "later")

EVIDENCE_STAGES: Final = (
    "intake",
    "before_repair",
    "repair",
    "before_calibration",
    "calibration",
    "drive",
    "final",
    "delivery",
    "later",
)
EVIDENCE_KINDS: Final = (
    "photo",
    "document",
    "scan_summary",
    "voltage_log",
    "drive_log",
    "measurement_sheet",
    "alignment_report",
    "certificate",
    "climate_log",
    "film_build",
    "statement",
    "signature",
    "video",
)
PHOTO_SUBJECTS: Final = (
    "vehicle_front_with_slip",
    "plate",
    "vin_plate",
    "vin_label",
    "dash_lamps_before",
    "dash_lamps_after",
    "odometer_in",
    "odometer_out",
    "cargo_area",
    "steering_wheel",
    "wide_bay",
    "radar_zone",
    "camera_window_outside",
    "safety_mark_photo",
    "target_board",
    "instrument_display",
    "damage",
    "repair_detail",
)

LAMP_GROUPS: Final[Mapping[str, tuple[str, ...]]] = {
    "driver_assistance": ("camera_fault", "radar_fault", "blind_spot", "parking_fault", "lane_symbol"),
    "airbag": ("airbag",),
    "brake": ("brake",),
    "steering": ("steering",),
    "other": ("other",),
}
LAMPS: Final = tuple(lamp for group in LAMP_GROUPS.values() for lamp in group)
# A symbol that shows a working function is no warning and never counts as lit.
LAMPS_THAT_ARE_NO_WARNING: Final = ("lane_symbol",)
LAMP_SENSORS: Final[Mapping[str, str]] = {
    "camera_fault": "forward_camera",
    "lane_symbol": "forward_camera",
    "radar_fault": "front_radar",
    "blind_spot": "rear_corner_radar",
    "parking_fault": "parking_sensors",
}
LAMP_STATES: Final = ("lit", "unlit", "outline_only", "filled", "not_seen")

STATEMENTS: Final = (
    "cargo_empty",
    "no_roof_load",
    "fuel_at_least_half",
    "doors_closed",
    "nobody_inside",
    "steering_straight_ahead",
    "suspension_at_normal_height",
    "no_service_or_transport_mode",
    "nothing_moved_from_set_up_to_session_end",
    "clear_zone_marked",
    "nothing_patterned_behind_target",
    "no_bright_reflections",
    "lane_lines_both_sides",
    "dry_road",
    "no_heavy_spray",
    "two_people_or_voice_only",
    "no_filler_in_radar_zone",
    "no_badge_or_film_added",
    "bracket_undamaged",
    "no_metal_in_marked_zone",
)

ROLES: Final = (
    "technician",
    "glass_installer",
    "estimator",
    "location_manager",
    "quality_reviewer",
    "quality_manager",
    "operations_manager",
    "auditor",
    "counsel",
    "guest_calibrator",
)
SIGN_OFF_ROLES: Final = ("technician", "quality_reviewer", "release")
QUALIFICATION_KINDS: Final = (
    "glass.set",
    "aim.static",
    "aim.dynamic",
    "aim.radar",
    "aim.surround",
    "align",
    "scan",
    "review",
)
IDENTITY_WAYS: Final = ("typed", "vin_plate_photo", "vin_label_photo", "scan")
SESSION_RESULTS: Final = ("completed", "failed", "abandoned")

EVENTS: Final = (
    "before_scan",
    "first_operation",
    "repair_closed",
    "adhesive_ready",
    "tyres",
    "height",
    "target",
    "session_start",
    "session_end",
    "still_start",
    "still_end",
    "road_start",
    "road_end",
    "drive_start",
    "drive_end",
    "final_scan",
    "final_signature",
    "release",
    "delivery",
    "any_road_drive",
)

# Measured quantities and the program's unit of each.
QUANTITY_UNITS: Final[Mapping[str, str]] = {
    "tyre_pressure": "kPa",
    "tyre_temperature": "degC",
    "arch_height": "mm",
    "floor_z": "mm",
    "target_distance": "mm",
    "datum_separation_front": "mm",
    "datum_separation_rear": "mm",
    "datum_front_to_rear": "mm",
    "bar_length": "mm",
    "target_height": "mm",
    "stand_floor_z": "mm",
    "bar_tilt": "deg",
    "rear_toe_left": "deg",
    "rear_toe_right": "deg",
    "rear_toe_total": "deg",
    "thrust_printed": "deg",
    "radar_face_angle": "deg",
    "bracket_angle": "deg",
    "film_build": "um",
    "light_level": "lx",
    "mat_dx": "mm",
    "mat_dy": "mm",
    "mat_turn": "deg",
    "seam_step": "mm",
    "parking_reading": "mm",
    "steering_angle": "deg",
    "point_along": "mm",
    "point_across": "mm",
    "point_height": "mm",
    "learned_yaw": "deg",
    "learned_pitch": "deg",
    "learned_roll": "deg",
    "odometer": "km",
    "supply_voltage": "V",
    "temp": "degC",
    "rh": "percent",
    "glass_bead_height": "mm",
}

_PLAIN_SENSORS: Final[Mapping[str, str]] = {
    "surround_cameras": "around-view cameras",
    "steering_angle_sensor": "steering-angle sensor",
    "head_up_projector": "head-up projector",
    "rain_light_sensor": "rain and light sensor",
    "night_camera": "night-vision camera",
    "driver_camera": "driver-monitoring camera",
}
PLURAL_SENSORS: Final = ("surround_cameras", "parking_sensors")


def plain_sensor(sensor: str) -> str:
    """A sensor in the words of a sentence: ``forward camera``."""
    return _PLAIN_SENSORS.get(sensor, sensor.replace("_", " "))
