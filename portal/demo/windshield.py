"""A windshield job on a road-aimed camera: intake, glass, aiming drive, signatures, release."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from jobs.demo import evidence
from jobs.demo.drive_notation import drive
from portal.demo.steps import JobSteps
from portal.demo.tablet import Tablet

ROAD_DRIVE: Final = (
    "to 40 22; hold 95; to 82 28; hold 330; turn 60 10; hold 225; "
    "to 50 16; hold 40; to 80 20; hold 130; to 0 27"
)
SENSORS_FITTED: Final = ("forward_camera", "rear_camera", "steering_angle_sensor")
SENSORS_ABSENT: Final = (
    "front_radar",
    "front_corner_radar",
    "rear_corner_radar",
    "surround_cameras",
    "parking_sensors",
    "night_camera",
    "driver_camera",
    "lidar",
    "head_up_projector",
    "rain_light_sensor",
)
NOT_AIMED_YET: Final = {
    "system": "forward_camera",
    "code": "C1A45",
    "ftb": "54",
    "state": "present",
    "text": "not aimed yet",
}
TYRES_KPA: Final = (("front_left", 231), ("front_right", 230), ("rear_left", 221), ("rear_right", 219))


@dataclass(frozen=True, kw_only=True)
class Attempt:
    """One aiming drive. ``key_off``: seconds of the drive at which the key went off and on again."""

    day: date
    name: str = "first"
    start: str = "10:30"
    drive_at: str = "10:34:00"
    notation: str = ROAD_DRIVE
    key_off: tuple[int, int] | None = None
    odometer_before: int = 21007
    odometer_after: int = 21026


class WindshieldJob(JobSteps):
    """One Sedge with a new windshield, played through the API by the cast of the scene."""

    def intake(self) -> None:
        plan = self.plan
        tablet = self.scene.at(
            plan.day, plan.hhmm("07:40"), "tachterly", f"{plan.number}: a Sedge is taken in"
        )
        self._open_order(tablet)
        self.photo(tablet, "vehicle_front_with_slip", stage="intake")
        self.photo(tablet, "plate", stage="intake", text=plan.plate)
        self.photo(tablet, "dash_lamps_before", stage="intake")
        odometer = self.photo(tablet, "odometer_in", stage="intake", text=f"{plan.odometer_in} km")
        vin_photo = self.photo(tablet, "vin_plate", stage="intake", text=plan.vin)
        self.record(
            tablet,
            "identity-readings",
            "photo",
            way="vin_plate_photo",
            vin_read=plan.vin,
            evidence=[vin_photo],
        )
        self.odometer(tablet, "in", plan.odometer_in, evidence_ids=[odometer])
        self.record(
            tablet,
            "lamp-records",
            "intake",
            states={"camera_fault": "unlit", "airbag": "unlit", "brake": "unlit", "steering": "unlit"},
        )

    def _open_order(self, tablet: Tablet) -> None:
        plan, vehicle = self.plan, self.id("vehicle")
        tablet.post(
            "/api/v1/vehicles",
            {
                "id": vehicle,
                "vin": plan.vin,
                "make": "Orrinvale",
                "model": "Sedge",
                "model_year": 2025,
                "market": "US",
                "plate": plan.plate,
                "placard_front_kpa": "230",
                "placard_rear_kpa": "220",
                "wheelbase_mm": "2590",
                "front_track_mm": "1510",
            },
        )
        tablet.post(
            "/api/v1/orders",
            {
                "id": self.id("order"),
                "job_id": self.job,
                "number": plan.number,
                "location": "EM",
                "vehicle": vehicle,
                "opened_at": tablet.clock().isoformat(),
                "device": tablet.device,
                "customer_name": plan.customer_name,
                "customer_contact": plan.customer_contact,
                "payer": "Harrowmere Mutual",
                "claim_number": f"HM-{plan.number[-4:]}",
                "odometer_in": {"value": str(plan.odometer_in), "unit": "km", "resolution": "1"},
            },
        )

    def plan_work(self) -> None:
        day, hhmm = self.plan.day, self.plan.hhmm
        tablet = self.scene.at(
            day, hhmm("07:52"), "itolvaar", "Scan before repair; each system known two ways"
        )
        self.scan(tablet, "before_repair", "before")
        for sensor in (*SENSORS_FITTED, *SENSORS_ABSENT):
            state = "yes" if sensor in SENSORS_FITTED else "no"
            for way in ("build_data", "sight"):
                name = f"{sensor}-{way}"
                self.record(tablet, "fitted-systems", name, sensor=sensor, state=state, way=way)
        tablet = self.scene.at(day, hhmm("08:00"), "tachterly", "Estimate lines mapped to operations")
        self._estimate_line(
            tablet, 1, "Windshield, new part, take out and set", ["glass.windshield.replaced"]
        )
        self._estimate_line(tablet, 2, "Adhesive kit", [])

    def _estimate_line(self, tablet: Tablet, line_no: int, text: str, operations: list[str]) -> None:
        line = self.id("estimate-lines", line_no)
        answer = tablet.post(f"{self.base}/estimate-lines", {"id": line, "line_no": line_no, "text": text})
        mapping = {"operations": operations, "touches_nothing": not operations}
        tablet.put(f"{self.base}/estimate-lines/{line}/mapping", mapping, f'"{answer["version"]}"')

    def set_glass(self) -> None:
        day, local, hhmm = self.plan.day, self.scene.clock.local, self.plan.hhmm
        set_at = hhmm("08:40")
        words = f"Windshield replaced, glass set {set_at}, Tarvek U-60"
        tablet = self.scene.at(day, hhmm("08:42"), "mondry", words)
        safety = self.photo(tablet, "safety_mark_photo", stage="repair", text="GLASTRAN 43R")
        self.record(
            tablet,
            "operations",
            "windshield",
            operation="glass.windshield.replaced",
            started_at=local(day, hhmm("08:10")).isoformat(),
            done_at=local(day, set_at).isoformat(),
        )
        self.record(
            tablet,
            "glass-sets",
            "windshield",
            operation=self.id("operations", "windshield"),
            set_at=set_at,
            glass_maker="Glastran",
            glass_part_number="GT-SDG-25-CAM",
            adhesive={"product": "Tarvek U-60", "batch": "U60-2611", "expires_on": "2026-11-30"},
            primer={"product": "Tarvek P-2", "batch": "P2-0907", "expires_on": "2026-09-30"},
            evidence=[safety],
        )
        tablet = self.scene.at(day, hhmm("08:50"), "tachterly", "Operation list closed")
        self.record(tablet, "operations-closings", "first")

    def cure(self, at: str = "10:16", minutes: int = 96) -> None:
        """The climate logger's file, from two minutes before the glass was set and so many minutes long."""
        words = "Climate log filed: lowest 18.9 degC, 52 % so far"
        tablet = self.scene.at(self.plan.day, self.plan.hhmm(at), "mondry", words)
        start = self.scene.clock.local(self.plan.day, self.plan.hhmm("08:38"))
        data = evidence.climate_log(start=start, minutes=minutes, temp_min=18.9, rh_min=52.0)
        tablet.upload(self.job, "climate.csv", data, kind="climate_log", stage="repair", instrument="CL-006")

    def until_ready(self) -> None:
        """The day up to the moment at which the adhesive is ready."""
        self.intake()
        self.plan_work()
        self.set_glass()
        self.cure()

    def prepare(self, attempt: Attempt, at: str = "10:18") -> None:
        """Tyres, scan before aiming, lane symbol, maker's text: what must be fresh at the session's start."""
        words = "Maker's text looked up, tyre pressures, scan before aiming"
        tablet = self.scene.at(attempt.day, at, "itolvaar", words)
        self.send(
            tablet,
            "lookups",
            attempt.name,
            procedure_id="OV-FC-ROAD",
            document_number="OV-SI-2114",
            edition="2026-02",
            section="4",
            retrieved_at=tablet.clock().isoformat(),
        )
        for place, value in TYRES_KPA:
            self.record(
                tablet,
                "readings",
                f"tyre-{attempt.name}-{place}",
                quantity="tyre_pressure",
                place=place,
                value=str(value),
                unit="kPa",
                instrument="PG-022",
            )
        self.scan(tablet, "before_calibration", f"before-aiming-{attempt.name}", codes=[NOT_AIMED_YET])
        self.record(
            tablet, "lamp-records", f"lane-before-{attempt.name}", states={"lane_symbol": "outline_only"}
        )
        self.odometer(tablet, f"before-{attempt.name}", attempt.odometer_before)

    def aim(self, attempt: Attempt) -> str:
        """The aiming drive: session, key events, logs, odometer, statement, lamp; returns the session id."""
        clock, day = self.scene.clock, attempt.day
        words = f"Session starts: forward camera on the road, {attempt.name} attempt"
        tablet = self.scene.at(day, attempt.start, "itolvaar", words)
        session = self.id("sessions", attempt.name)
        began = tablet.clock()
        self.send(
            tablet,
            "sessions",
            attempt.name,
            procedure_id="OV-FC-ROAD",
            started_at=began.isoformat(),
            bay="EM-B2",
            tool="SD-011",
        )
        drive_start = clock.local(day, attempt.drive_at)
        fixes = drive(attempt.notation, drive_start, 43.1005, -98.2010)
        seconds = fixes[-1][0] - fixes[0][0]
        self.scene.tell(f"{drive_start:%d %b %H:%M}  A drive of {seconds:.0f} s; nothing to read or touch")
        end = drive_start + timedelta(seconds=seconds + 120)
        tablet = self.scene.at(day, f"{end:%H:%M:%S}", "itolvaar", "Session ends: device says completed")
        self._key_events(tablet, attempt, session, began.isoformat())
        tablet.post_matching(
            f"{self.base}/sessions/{session}/end",
            {
                "ended_at": tablet.clock().isoformat(),
                "result": "completed",
                "result_text": "Camera learned, aiming complete",
                "device_software": "SC 7.2",
            },
            tablet.etag(f"{self.base}/sessions/{session}"),
        )
        track = evidence.gpx(fixes, name=self.plan.number)
        volts = evidence.voltage_log(start=began, end=tablet.clock())
        name = attempt.name
        tablet.upload(self.job, f"drive-{name}.gpx", track, kind="drive_log", stage="drive", session=session)
        tablet.upload(
            self.job,
            f"volts-{name}.csv",
            volts,
            kind="voltage_log",
            stage="drive",
            session=session,
            instrument="VL-009",
        )
        self._after_drive(tablet, attempt, session)
        return session

    def _key_events(self, tablet: Tablet, attempt: Attempt, session: str, began: str) -> None:
        drive_start = self.scene.clock.local(attempt.day, attempt.drive_at)
        events = [{"at": began, "state": "on"}]
        for second, state in zip(attempt.key_off or (), ("off", "on"), strict=False):
            events.append({"at": (drive_start + timedelta(seconds=second)).isoformat(), "state": state})
        body = {"device": tablet.device, "events": events}
        tablet.post(f"{self.base}/sessions/{session}/key-events", body)

    def _after_drive(self, tablet: Tablet, attempt: Attempt, session: str) -> None:
        self.odometer(tablet, f"after-{attempt.name}", attempt.odometer_after)
        self.record(
            tablet,
            "statements",
            f"road-{attempt.name}",
            sessions=[session],
            text_version="road-1",
            says=["lane_lines_both_sides", "dry_road", "no_heavy_spray", "two_people_or_voice_only"],
        )
        lamp = {"lane_symbol": "filled"}
        self.record(tablet, "lamp-records", f"lane-after-{attempt.name}", session=session, states=lamp)

    def finish(self, day: date, at: str = "11:04") -> None:
        tablet = self.scene.at(day, at, "itolvaar", "Final scan, lamps, dashboard photographed")
        self.scan(tablet, "final", f"final-{day}")
        self.photo(tablet, "dash_lamps_after", stage="final", name=f"dash_lamps_after-{day}")
        groups: dict[str, Any] = dict.fromkeys(("driver_assistance", "airbag", "brake", "steering"), "unlit")
        self.record(tablet, "lamp-records", f"final-{day}", states=groups)
