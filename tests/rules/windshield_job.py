"""One finished job of the invented world: a Sedge, windshield replaced, camera aimed on the road, all met."""

from dataclasses import replace
from datetime import date
from typing import Any

from rules.facts import (
    AdhesiveCell,
    AdhesiveSheet,
    Batch,
    ClimateLog,
    Closing,
    EstimateLine,
    FittedWay,
    GlassSet,
    IdentityReading,
    JobFacts,
    KeyEvent,
    OperationDone,
    Reading,
    SensorFunctions,
    SignOff,
    SlipSeen,
    TextLookup,
)
from tests.rules.builders import (
    EASTMARCH,
    SEDGE,
    SERVER,
    at,
    certificate,
    drive_log,
    equipment,
    held,
    lamps,
    module,
    moment,
    person,
    photo,
    reading,
    scan,
    session,
    sha,
    statement,
    voltage_log,
)

SENSORS = (
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
SEDGE_FITTED = ("forward_camera", "rear_camera", "steering_angle_sensor")
ROAD = ("lane_lines_both_sides", "dry_road", "no_heavy_spray", "two_people_or_voice_only")
# 943 s and 18.92 km in all; 719 s of it count, in runs of 341, 233 and 145 s.
GOOD_DRIVE = (
    "to 40 22; hold 95; to 82 28; hold 330; turn 60 10; hold 225; "
    "to 50 16; hold 40; to 80 20; hold 130; to 0 27"
)
MODULES = (
    module("Camera", "forward_camera"),
    module("Rear camera", "rear_camera"),
    module("Steering", "steering"),
    module("Steering angle", "steering_angle_sensor"),
    module("Brake", "brake"),
    module("Restraint", "restraint"),
    module("Body", "body"),
)

TARVEK_U60 = AdhesiveSheet(
    product="Tarvek U-60",
    document="TD-U60",
    issue="4",
    cells=tuple(
        AdhesiveCell(temp_from=low, temp_to=high, rh_from=rh_from, rh_to=rh_to, minutes=minutes)
        for low, high, row in ((25, 40, (45, 60, 90)), (15, 25, (60, 90, 120)), (5, 15, (120, 180, 240)))
        for (rh_from, rh_to), minutes in zip(((50, None), (30, 50), (20, 30)), row, strict=True)
    ),
)

PEOPLE = (
    person("itolvaar", "Ines Tolvaar", "technician", "aim.static", "aim.dynamic", "aim.radar", "scan"),
    person("mondry", "Marek Ondry", "glass_installer", "glass.set"),
    person("dpell", "Dagny Pell", "quality_reviewer", "review"),
    person("tachterly", "Tobin Achterly", "location_manager"),
    person("lveskel", "Lorcan Veskel", "quality_manager"),
)

_TEMPERATURE = certificate("CL-006", "degC", ((0, 0.5), (20, 0.5), (45, 0.5)), date(2026, 1, 12))
_HUMIDITY = certificate("CL-006", "percent", ((10, 3.0), (50, 3.0), (95, 3.0)), date(2026, 1, 12))

EQUIPMENT = (
    equipment(
        "PG-022",
        "tyre_gauge",
        "kPa",
        certificate("PG-022", "kPa", ((150, 2.0), (250, 2.0), (350, 2.0)), date(2026, 1, 12)),
    ),
    equipment(
        "VL-009",
        "voltage_logger",
        "V",
        certificate("VL-009", "V", ((10, 0.03), (13, 0.03), (16, 0.03)), date(2026, 1, 12)),
    ),
    equipment(
        "CL-006",
        "climate_logger",
        "degC",
        replace(_TEMPERATURE, points=_TEMPERATURE.points + _HUMIDITY.points),
    ),
    equipment("SD-011", "scan_device", ""),
)
COVERED_FIELDS = (
    "identity_readings",
    "fitted_ways",
    "operations",
    "closings",
    "glass_sets",
    "readings",
    "scans",
    "sessions",
    "lamp_records",
    "statements",
    "function_checks",
    "target_identities",
    "lookups",
    "photos",
    "climate_logs",
    "voltage_logs",
    "drive_logs",
)


def tyres(prefix: str, when: str, *, front: float = 231.0, rear: float = 221.0) -> tuple[Reading, ...]:
    """Four pressures with the gauge of the shop; u = sqrt((2/2)^2 + (1/sqrt 12)^2 + 1.0^2) kPa."""
    values = {"front_left": front, "front_right": front, "rear_left": rear, "rear_right": rear}
    return tuple(
        reading(
            f"{prefix}-{place}",
            "tyre_pressure",
            place,
            value,
            "kPa",
            when,
            u=1.443376,
            u_from="method budget",
            resolution=1.0,
            instrument="PG-022",
        )
        for place, value in values.items()
    )


def fitted(*sensors: str) -> tuple[FittedWay, ...]:
    """Every sensor settled by two different ways: those named are fitted, all others are not."""
    return tuple(
        FittedWay(
            **held(f"fitted-{sensor}-{way}", "08:02"),
            sensor=sensor,
            state="yes" if sensor in sensors else "no",
            way=way,
            at=moment("08:02"),
        )
        for sensor in SENSORS
        for way in ("build_data", "sight")
    )


def odometer(id_: str, km: float, when: str) -> Reading:
    """An odometer reading of a display that shows whole kilometres."""
    return reading(id_, "odometer", id_, km, "km", when, resolution=1.0, vehicle_shown=True, u=0.0)


def sign_off(id_: str, role: Any, who: str, when: str, facts: JobFacts) -> SignOff:
    """A sign-off that covers every item held by then."""
    covers = sorted(
        item.sha256
        for name in COVERED_FIELDS
        for item in getattr(facts, name)
        if item.received_at <= at(when) and item.ended_at is None
    )
    return SignOff(
        **held(id_, when),
        role=role,
        person=who,
        at=moment(when),
        covers=tuple(covers),
        covers_root=sha("".join(covers)),
        statement_version="2",
        reauthenticated=True,
    )


def unsigned_job() -> JobFacts:
    """Everything but the signatures; the session ran from 10:30 to 10:52 local time."""
    vin = SEDGE.vin
    common_photos = ("plate", "dash_lamps_before", "odometer_in")
    return JobFacts(
        job_id="job-417",
        order_number="EM-2026-0417",
        organisation="Brackwater Repair Group",
        refusal_allowed=True,
        place=EASTMARCH,
        opened=moment("07:55"),
        vehicle=SEDGE,
        plan_fixed_at=at("08:55"),
        identity_readings=(
            IdentityReading(**held("vin-typed", "07:55"), way="typed", vin_read=vin, at=moment("07:55")),
            IdentityReading(
                **{**held("vin-photo", "08:01"), "evidence": ("photo-vin",)},
                way="vin_plate_photo",
                vin_read=vin,
                at=moment("08:01"),
            ),
        ),
        fitted_ways=fitted(*SEDGE_FITTED),
        estimate_lines=(
            EstimateLine(
                **held("line-1", "08:00"),
                line_no=1,
                text="Windshield, replace",
                operations=("glass.windshield.replaced",),
            ),
        ),
        operations=(
            OperationDone(
                **held("operation-windshield", "08:45"),
                operation="glass.windshield.replaced",
                by="mondry",
                started=moment("08:15"),
                done=moment("08:40"),
            ),
        ),
        closings=(Closing(**held("closing", "08:50"), at=moment("08:50"), by="itolvaar"),),
        lookups=(
            TextLookup(
                **held("lookup-camera", "09:00"),
                procedure_id="OV-FC-ROAD",
                document_number="OV-SI-2114",
                edition="2026-02",
                section="4",
                retrieved_at=moment("09:00"),
                retrieved_by="itolvaar",
            ),
        ),
        sessions=(
            session(
                "session-1",
                "OV-FC-ROAD",
                "10:30",
                "10:52",
                bay=None,
                key_events=(
                    KeyEvent(at=moment("10:28"), state="on"),
                    KeyEvent(at=moment("10:54"), state="off"),
                ),
            ),
        ),
        glass_sets=(
            GlassSet(
                **held("glass", "08:45"),
                operation_id="operation-windshield",
                set_at=moment("08:40"),
                set_by="mondry",
                glass_maker="Stavel Glass",
                glass_part_number="SG-77120",
                adhesive=Batch(product="Tarvek U-60", batch="7731", expires_on=date(2026, 9, 30)),
                primer=Batch(product="Tarvek P-2", batch="1182", expires_on=date(2026, 8, 31)),
                climate_log_id="climate",
            ),
        ),
        adhesive_sheets=(TARVEK_U60,),
        climate_logs=(climate(),),
        voltage_logs=(voltage_log("volts", "10:29", "10:53", 13.2, ("session-1",)),),
        drive_logs=(drive_log("drive-1", "10:34", GOOD_DRIVE, ("session-1",)),),
        readings=(
            odometer("odometer_in", 21007.0, "08:00"),
            odometer("odometer_after_drive", 21026.0, "10:53"),
            *tyres("tyres", "09:30"),
        ),
        scans=(
            scan("scan-before", "before_repair", "08:06", MODULES, vin),
            scan("scan-aiming", "before_calibration", "10:20", MODULES, vin),
            scan("scan-final", "final", "11:05", MODULES, vin),
        ),
        lamp_records=(
            lamps("lamps-before", "10:25", lane_symbol="outline_only"),
            lamps("lamps-after", "10:53", lane_symbol="filled"),
            lamps(
                "lamps-delivery",
                "11:10",
                driver_assistance="unlit",
                airbag="unlit",
                brake="unlit",
                steering="unlit",
            ),
        ),
        statements=(statement("road", ROAD, "10:53", sessions=("session-1",)),),
        photos=(
            photo("photo-vin", ("vin_plate",), "08:01", stage="intake"),
            photo(
                "photo-front",
                ("vehicle_front_with_slip",),
                "08:03",
                stage="intake",
                slip=SlipSeen(job_id="job-417", issued_at=at("08:00"), authentic=True),
            ),
            *(photo(f"photo-{name}", (name,), "08:04", stage="intake") for name in common_photos),
            photo("photo-mark", ("safety_mark_photo",), "08:42", stage="repair"),
            photo("photo-lamps-after", ("dash_lamps_after",), "11:10", stage="final"),
        ),
        equipment=EQUIPMENT,
        people=PEOPLE,
        sensor_functions=(
            SensorFunctions(
                sensor="forward_camera",
                functions=(
                    "lane departure warning",
                    "lane keeping assistance",
                    "forward collision warning",
                    "automatic emergency braking",
                ),
            ),
            SensorFunctions(sensor="rear_camera", functions=("backup camera",)),
        ),
    )


def climate(**fields: Any) -> ClimateLog:
    """A reading each 5 min from 08:35 to 11:00, coldest 18.9 degC, driest 52 percent."""
    start = at("08:35").timestamp()
    samples = tuple((start + 300 * i, 18.9 + (i % 4) * 0.2, 52.0 + (i % 3)) for i in range(30))
    base: dict[str, Any] = {
        "clock": SERVER,
        "samples": samples,
        "instrument": "CL-006",
        "u_temp": 0.25,
        "u_rh": 1.5,
    }
    return ClimateLog(**{**held("climate", "11:02"), **base, **fields})


def windshield_job() -> JobFacts:
    """The finished job: technician 11:20, reviewer 11:40, release 11:50; judge it at 11:50 or later."""
    facts = unsigned_job()
    return replace(
        facts,
        sign_offs=(
            sign_off("sign-technician", "technician", "itolvaar", "11:20", facts),
            sign_off("sign-review", "quality_reviewer", "dpell", "11:40", facts),
            sign_off("sign-release", "release", "tachterly", "11:50", facts),
        ),
    )
