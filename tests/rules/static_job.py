"""One finished job of the invented world: a Corran, windshield, camera aimed standing still, all met.

The numbers of the set-up are those of the scenario ``baseline_static_camera``; uncertainties are those of the
invented world's method budgets. Judge it at 11:50 or later.
"""

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from rules.facts import (
    Batch,
    EstimateLine,
    FloorSurvey,
    FunctionCheck,
    JobFacts,
    KeyEvent,
    Reading,
    SensorFunctions,
    SlipSeen,
    TargetIdentity,
    TroubleCode,
)
from tests.rules.builders import (
    CORRAN,
    at,
    certificate,
    equipment,
    held,
    lamps,
    module,
    moment,
    photo,
    reading,
    scan,
    session,
    statement,
    voltage_log,
)
from tests.rules.weakening import signed
from tests.rules.windshield_job import EQUIPMENT, climate, fitted, odometer, tyres, unsigned_job

CORRAN_FITTED = (
    "forward_camera",
    "front_radar",
    "rear_corner_radar",
    "surround_cameras",
    "parking_sensors",
    "steering_angle_sensor",
)
NOT_AIMED = TroubleCode(code="C1A45", ftb="54", state="present")
# Heights of the floor of bay EM-B2 in mm, over (along, across): slope 0.19 deg, flat within 2 mm.
FLOOR = tuple(
    (float(x), float(y), z)
    for x, row in (
        (-2800, (0.0, 0.6, 1.4)), (-1400, (4.1, 5.2, 5.6)), (0, (8.9, 9.4, 10.8)),
        (1400, (12.6, 13.9, 14.2)), (2800, (17.3, 17.6, 18.9)), (4200, (20.4, 22.3, 22.4)),
    )
    for y, z in zip((-1200, 0, 1200), row, strict=True)
)  # fmt: skip


def _of_modules(*camera: TroubleCode) -> tuple[Any, ...]:
    names = (*CORRAN_FITTED[1:], "steering", "brake", "restraint", "body")
    return (module("forward_camera", "forward_camera", *camera), *(module(name, name) for name in names))


def _tape(value: float, own: float = 0.85) -> dict[str, Any]:
    """Independent part and the scale of the tape."""
    scale = 1.6e-4 * value
    return {"instrument": "TM-014", "u": math.sqrt(own * own + scale * scale), "u_common": 1.6e-4}


def _each(
    name: str, quantity: str, unit: str, when: str, values: Mapping[str, float], **fields: Any
) -> tuple[Reading, ...]:
    return tuple(
        reading(f"{name}-{place}", quantity, place, value, unit, when, **fields)
        for place, value in values.items()
    )


def _set_up() -> tuple[Reading, ...]:
    """Everything measured at the car and around it before the session."""
    rack = {"instrument": "AR-002", "u": 0.010, "resolution": 0.01}
    rule = {"instrument": "RS-002", "u": 0.80, "resolution": 1.0}
    meter = {"instrument": "LX-001", "bay": "EM-B2", "resolution": 1.0}
    target = {"procedure_id": "OV-FC-STILL", "resolution": 1.0}
    lux = {"light_1": 820.0, "light_2": 860.0, "light_3": 900.0, "light_4": 780.0, "light_5": 940.0}
    return (
        odometer("odometer_in", 8312.0, "07:40"),
        reading("toe-left", "rear_toe_left", "", 0.20, "deg", "09:10", **rack),
        reading("toe-right", "rear_toe_right", "", 0.05, "deg", "09:10", **rack),
        *tyres("tyres", "10:00", front=241.0, rear=240.0),
        *_each("height", "arch_height", "mm", "10:02", {"front_left": 452.0, "front_right": 453.0}, **rule),
        *_each("height", "arch_height", "mm", "10:02", {"rear_left": 461.0, "rear_right": 460.0}, **rule),
        *(
            reading(place, "light_level", place, value, "lx", "10:09", u=0.04 * value, **meter)
            for place, value in lux.items()
        ),
        reading("marks", "datum_separation_front", "", 1580.0, "mm", "10:10", **_tape(1580.0)),
        reading("bar", "bar_length", "", 1200.0, "mm", "10:10", u=0.1, instrument="TS-003"),
        *(
            reading(place, "target_distance", place, value, "mm", "10:12", **_tape(value), **target)
            for place, value in (("d_LL", 3213.0), ("d_LR", 3495.0), ("d_RL", 3494.0), ("d_RR", 3210.0))
        ),
        reading("tall", "target_height", "", 1345.0, "mm", "10:13", **{**_tape(1345.0), "u": 1.06}, **target),
        reading("stand", "stand_floor_z", "", 0.0, "mm", "10:13", u=0.5, instrument="FL-001"),
        reading("tilt", "bar_tilt", "", 0.0, "deg", "10:14", u=0.05, instrument="AG-005", **target),
    )


def _shown() -> tuple[Reading, ...]:
    """What the scan device shows after the aiming."""
    shown = {"u": 0.0, "vehicle_shown": True, "session": "session-1"}
    return (
        reading("yaw", "learned_yaw", "", 0.2, "deg", "10:50", **shown),
        reading("pitch", "learned_pitch", "", -0.1, "deg", "10:50", **shown),
    )


INSTRUMENTS = (
    ("TM-014", "tape", "mm", ((1000, 0.2), (3000, 0.2), (5000, 0.2), (7000, 0.2))),
    ("TS-003", "target_stand", "mm", ((1200, 0.2),)),
    ("RS-002", "rule", "mm", ((100, 0.1), (600, 0.1))),
    ("AG-005", "angle_gauge", "deg", ((-10, 0.05), (0, 0.05), (100, 0.05))),
    ("AR-002", "alignment_rack", "deg", ((-1, 0.01), (0, 0.01), (1, 0.01))),
    ("LX-001", "light_meter", "lx", ((100, 8.0), (3000, 200.0))),
    ("FL-001", "level", "mm", ((-100, 0.2), (0, 0.2), (100, 0.2))),
)


def unsigned_static_job() -> JobFacts:
    """Everything but the signatures; the session ran from 10:30 to 10:52 local time."""
    base = unsigned_job()
    vin = CORRAN.vin
    steady = (
        ("cargo_area", "10:05"),
        ("steering_wheel", "10:06"),
        ("wide_bay", "10:07"),
    )
    kit = EstimateLine(**held("line-2", "08:01"), line_no=2, text="Adhesive kit", touches_nothing=True)
    batch = Batch(product="Tarvek U-60", batch="U60-2611", expires_on=date(2026, 11, 30))
    return replace(
        base,
        job_id="job-431",
        order_number="EM-2026-0431",
        opened=moment("07:40"),
        vehicle=CORRAN,
        identity_readings=tuple(replace(item, vin_read=vin) for item in base.identity_readings),
        fitted_ways=fitted(*CORRAN_FITTED),
        estimate_lines=(*base.estimate_lines, kit),
        lookups=tuple(
            replace(item, procedure_id="OV-FC-STILL", section="3", **held("lookup-camera", "10:18"))
            for item in base.lookups
        ),
        sessions=(
            session(
                "session-1",
                "OV-FC-STILL",
                "10:30",
                "10:52",
                key_events=(KeyEvent(at=moment("10:30"), state="on"),),
                result_text="Aiming complete",
            ),
        ),
        glass_sets=tuple(
            replace(item, glass_part_number="GT-COR-26-CAM", adhesive=batch) for item in base.glass_sets
        ),
        climate_logs=(climate(),),
        voltage_logs=(voltage_log("volts", "10:29", "10:53", 13.2, ("session-1",)),),
        drive_logs=(),
        readings=(*_set_up(), *_shown()),
        scans=(
            scan("scan-before", "before_repair", "08:06", _of_modules(), vin),
            scan("scan-aiming", "before_calibration", "10:20", _of_modules(NOT_AIMED), vin),
            scan("scan-final", "final", "11:05", _of_modules(), vin),
        ),
        lamp_records=(
            lamps("lamps-before", "10:21", camera_fault="lit"),
            replace(lamps("lamps-after", "10:55", camera_fault="unlit"), session="session-1"),
            *(item for item in base.lamp_records if item.id == "lamps-delivery"),
        ),
        statements=(
            statement(
                "load",
                ("cargo_empty", "no_roof_load", "fuel_at_least_half", "doors_closed", "nobody_inside"),
                "10:05",
                evidence=("photo-cargo_area",),
            ),
            statement(
                "straight",
                ("steering_straight_ahead", "suspension_at_normal_height", "no_service_or_transport_mode"),
                "10:06",
                evidence=("photo-steering_wheel",),
            ),
            statement(
                "space",
                ("clear_zone_marked", "nothing_patterned_behind_target", "no_bright_reflections"),
                "10:08",
                bay="EM-B2",
                evidence=("photo-wide_bay",),
            ),
            statement(
                "unmoved", ("nothing_moved_from_set_up_to_session_end",), "10:53", sessions=("session-1",)
            ),
        ),
        function_checks=(
            FunctionCheck(
                **held("lane", "10:56"),
                session="session-1",
                function="lane departure warning",
                shows="ready",
                at=moment("10:56"),
                by="itolvaar",
            ),
        ),
        target_identities=(
            TargetIdentity(
                **held("board", "10:11"),
                number_read="OV-TB-07",
                right_way_up=True,
                clean=True,
                at=moment("10:11"),
                by="itolvaar",
                procedure_id="OV-FC-STILL",
            ),
        ),
        photos=(
            *(
                replace(item, slip=SlipSeen(job_id="job-431", issued_at=at("08:00"), authentic=True))
                if item.slip is not None
                else item
                for item in base.photos
            ),
            *(photo(f"photo-{name}", (name,), when, stage="before_calibration") for name, when in steady),
        ),
        floor_surveys=(
            FloorSurvey(
                **held("floor-b2", "2026-01-15 09:00"),
                bay="EM-B2",
                surveyed=moment("2026-01-15 09:00"),
                points=FLOOR,
                u_z=0.30,
                instrument="FL-001",
                valid_months=12,
            ),
        ),
        equipment=(
            *EQUIPMENT,
            *(
                equipment(tag, cls, unit, certificate(tag, unit, points, date(2026, 1, 12)))
                for tag, cls, unit, points in INSTRUMENTS
            ),
        ),
        sensor_functions=(
            SensorFunctions(
                sensor="forward_camera",
                functions=(
                    "lane departure warning",
                    "lane keeping assistance",
                    "automatic emergency braking",
                ),
            ),
        ),
    )


def static_job() -> JobFacts:
    """The finished job: technician 11:20, reviewer 11:40, release 11:50."""
    return signed(unsigned_static_job())
