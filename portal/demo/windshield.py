"""A windshield job on a road-aimed camera, step by step: intake, glass, aiming drive, signatures, release."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from jobs.demo import evidence
from jobs.demo.drive_notation import drive
from portal.demo.scene import Scene
from portal.demo.tablet import Tablet, stable_id

ROAD_DRIVE = "to 40 22; hold 95; to 82 28; hold 330; turn 60 10; hold 225; to 50 16; hold 40; to 80 20; hold 130; to 0 27"
SENSORS_FITTED = ("forward_camera", "rear_camera", "steering_angle_sensor")
SENSORS_ABSENT = (
    "front_radar", "front_corner_radar", "rear_corner_radar", "surround_cameras", "parking_sensors",
    "night_camera", "driver_camera", "lidar", "head_up_projector", "rain_light_sensor",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What differs from one played windshield job to the next."""

    number: str = "EM-2026-0417"
    day: date = date(2026, 5, 5)
    vin: str = "Z0ASD1F89S2011835"
    odometer_in: int = 21007


class WindshieldJob:
    """One Sedge with a new windshield, played through the API by the cast of the scene."""

    def __init__(self, scene: Scene, plan: Plan) -> None:
        self.scene = scene
        self.plan = plan
        self.job = stable_id(plan.number, "job")
        self.base = f"/api/v1/jobs/{self.job}"

    # ------------------------------------------------------------------ small words for what follows

    def id(self, *names: object) -> str:
        return stable_id(self.plan.number, *names)

    def record(self, tablet: Tablet, path: str, name: str, **body: Any) -> Any:
        """Posts one record with its own id, time and device."""
        fields = {
            "id": self.id(path, name),
            "at": tablet.clock().isoformat(),
            "device": tablet.device,
            **body,
        }
        return tablet.post(f"{self.base}/{path}", fields)

    def photo(
        self, tablet: Tablet, subject: str, *, stage: str, shows: Sequence[str] | None = None, **draw: Any
    ) -> str:
        slip = None
        if subject == "vehicle_front_with_slip":
            slip = tablet.post(f"{self.base}/slips", {"id": self.id("slip", subject)})["content"]
        data = evidence.photo(
            subject, taken_at=tablet.clock(), lat=43.1, lon=-98.2, job=self.plan.number, slip=slip, **draw
        )
        return tablet.upload(
            self.job, f"{subject}.jpg", data, kind="photo", stage=stage, shows=list(shows or (subject,))
        )

    # ------------------------------------------------------------------ the day

    def intake(self) -> None:
        plan, day = self.plan, self.plan.day
        tablet = self.scene.at(
            day, "07:40", "tachterly", f"{plan.number}: Orrinvale Sedge taken in at Eastmarch"
        )
        vehicle = self.id("vehicle")
        tablet.post(
            "/api/v1/vehicles",
            {
                "id": vehicle, "vin": plan.vin, "make": "Orrinvale", "model": "Sedge", "model_year": 2025,
                "market": "US", "check_digit_rule": "required", "plate": "BRK 417",
                "placard_front_kpa": "230", "placard_rear_kpa": "220", "wheelbase_mm": 2590, "front_track_mm": 1510,
            },
        )  # fmt: skip
        tablet.post(
            "/api/v1/orders",
            {
                "id": self.id("order"), "job_id": self.job, "number": plan.number, "location": "EM",
                "vehicle": vehicle, "opened_at": tablet.clock().isoformat(), "device": tablet.device,
                "customer_name": "R. Ashgrove", "customer_contact": "card 88, front desk",
                "payer": "Harrowmere Mutual", "claim_number": f"HM-{plan.number[-4:]}",
                "odometer_in": {"value": str(plan.odometer_in), "unit": "km", "resolution": "1"},
            },
        )  # fmt: skip
        self.photo(tablet, "vehicle_front_with_slip", stage="intake")
        self.photo(tablet, "plate", stage="intake", text="BRK 417")
        self.photo(tablet, "dash_lamps_before", stage="intake")
        odometer = self.photo(tablet, "odometer_in", stage="intake", text=f"{plan.odometer_in} km")
        vin_photo = self.photo(tablet, "vin_plate", stage="intake", text=plan.vin)
        self.record(tablet, "identity-readings", "typed", way="typed", vin_read=plan.vin)
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
            tablet, "lamp-records", "intake",
            states={"camera_fault": "unlit", "airbag": "unlit", "brake": "unlit", "steering": "unlit"},
        )  # fmt: skip

    def odometer(self, tablet: Tablet, place: str, value: int, evidence_ids: Sequence[str] = ()) -> None:
        self.record(
            tablet, "readings", f"odometer-{place}", quantity="odometer", place=place, value=str(value), unit="km",
            set_no=1, evidence=list(evidence_ids),
        )  # fmt: skip

    def scan(self, tablet: Tablet, stage: str, name: str, codes: Any = ()) -> None:
        """Uploads a scan summary as the scan device wrote it."""
        data = evidence.scan_summary(
            vin=self.plan.vin, stage=stage, ended_at=tablet.clock(), device="SD-011", codes=codes,
            odometer_km=self.plan.odometer_in,
        )  # fmt: skip
        tablet.upload(
            self.job, f"scan-{name}.json", data, kind="scan_summary", stage=stage, instrument="SD-011"
        )

    def plan_work(self) -> None:
        day = self.plan.day
        tablet = self.scene.at(day, "07:52", "itolvaar", "Scan before repair; two ways known for each system")
        self.scan(tablet, "before_repair", "before")
        for sensor in (*SENSORS_FITTED, *SENSORS_ABSENT):
            state = "yes" if sensor in SENSORS_FITTED else "no"
            for way in ("build_data", "sight"):
                self.record(tablet, "fitted-systems", f"{sensor}-{way}", sensor=sensor, state=state, way=way)
        tablet = self.scene.at(day, "08:00", "tachterly", "Estimate lines mapped to operations")
        for line_no, text, mapping in (
            (1, "R&I glass, windshield, new part", {"operations": ["glass.windshield.replaced"], "touches_nothing": False}),
            (2, "Adhesive kit", {"operations": [], "touches_nothing": True}),
        ):  # fmt: skip
            line = self.id("estimate-lines", line_no)
            answer = tablet.post(
                f"{self.base}/estimate-lines", {"id": line, "line_no": line_no, "text": text}
            )
            tablet.put(f"{self.base}/estimate-lines/{line}/mapping", mapping, f'"{answer["version"]}"')

    def set_glass(self) -> None:
        day = self.plan.day
        tablet = self.scene.at(
            day, "08:42", "mondry", "Windshield replaced, glass set 08:40 with Tarvek U-60"
        )
        local = self.scene.clock.local
        safety = self.photo(tablet, "safety_mark_photo", stage="repair", text="GLASTRAN 43R")
        self.record(
            tablet, "operations", "windshield", operation="glass.windshield.replaced",
            started_at=local(day, "08:10").isoformat(), done_at=local(day, "08:40").isoformat(), found_later=False,
        )  # fmt: skip
        self.record(
            tablet, "glass-sets", "windshield", operation=self.id("operations", "windshield"), set_at="08:40",
            set_by="mondry", glass_maker="Glastran", glass_part_number="GT-SDG-25-CAM",
            adhesive={"product": "Tarvek U-60", "batch": "U60-2611", "expires_on": "2026-11-30"},
            primer={"product": "Tarvek P-2", "batch": "P2-0907", "expires_on": "2026-09-30"}, evidence=[safety],
        )  # fmt: skip
        tablet = self.scene.at(day, "08:50", "tachterly", "Operation list closed")
        self.record(tablet, "operations-closings", "first")

    def cure(self) -> None:
        day = self.plan.day
        tablet = self.scene.at(day, "10:16", "mondry", "Climate log filed: lowest 18.9 degC and 52 % so far")
        start = self.scene.clock.local(day, "08:38")
        data = evidence.climate_log(start=start, minutes=96, temp_min=18.9, rh_min=52.0)
        tablet.upload(self.job, "climate.csv", data, kind="climate_log", stage="repair", instrument="CL-006")

    def look_up_text(self, tablet: Tablet, name: str = "first") -> None:
        self.record(
            tablet, "lookups", name, procedure_id="OV-FC-ROAD", document_number="OV-SI-2114", edition="2026-02",
            section="4", retrieved_at=tablet.clock().isoformat(),
        )  # fmt: skip

    def prepare(self, day: date, name: str = "first", start: str = "10:18") -> None:
        """Tyres, scan before aiming, lane symbol, maker's text: what must be fresh when the session starts."""
        tablet = self.scene.at(
            day, start, "itolvaar", "Tyre pressures, scan before aiming, maker's text looked up"
        )
        self.look_up_text(tablet, name)
        for place, value in (
            ("front_left", 231),
            ("front_right", 230),
            ("rear_left", 221),
            ("rear_right", 219),
        ):
            self.record(
                tablet, "readings", f"tyre-{name}-{place}", quantity="tyre_pressure", place=place, value=str(value),
                unit="kPa", instrument="PG-022", set_no=1,
            )  # fmt: skip
        self.scan(
            tablet, "before_calibration", f"before-aiming-{name}",
            codes=[{"system": "forward_camera", "code": "C1A45", "ftb": "54", "state": "present", "text": "not aimed yet"}],
        )  # fmt: skip
        self.record(tablet, "lamp-records", f"lane-before-{name}", states={"lane_symbol": "outline_only"})

    def aim(
        self, day: date, *, attempt: str = "first", start: str = "10:30", drive_at: str = "10:34:00",
        notation: str = ROAD_DRIVE, key_off: tuple[int, int] | None = None, result: str = "completed",
        odometer_after: int | None = None,
    ) -> str:  # fmt: skip
        """The aiming drive: session, logs, key events, statement, result; returns the session id."""
        clock = self.scene.clock
        tablet = self.scene.at(
            day, start, "itolvaar", f"Session starts: forward camera on the road, {attempt} attempt"
        )
        session = self.id("sessions", attempt)
        began = tablet.clock()
        tablet.post(
            f"{self.base}/sessions",
            {
                "id": session, "procedure_id": "OV-FC-ROAD", "started_at": began.isoformat(), "bay": "EM-B2",
                "tool": "SD-011", "device": tablet.device,
            },
        )  # fmt: skip
        drive_start = clock.local(day, drive_at)
        fixes = drive(notation, drive_start, 43.1005, -98.2010)
        seconds = fixes[-1][0] - fixes[0][0]
        end = drive_start + timedelta(seconds=seconds + 120)
        self.scene.tell(
            f"{drive_start:%d %b %H:%M}  Drive of {seconds:.0f} s under way; the screen shows one symbol only"
        )
        tablet = self.scene.at(day, f"{end:%H:%M:%S}", "itolvaar", f"Session ends: device says {result}")
        ended = tablet.clock()
        events = [{"at": began.isoformat(), "state": "on"}]
        if key_off:
            events += [
                {"at": (drive_start + timedelta(seconds=s)).isoformat(), "state": state}
                for s, state in zip(key_off, ("off", "on"), strict=True)
            ]
        tablet.post(f"{self.base}/sessions/{session}/key-events", {"device": tablet.device, "events": events})
        tablet.post_matching(
            f"{self.base}/sessions/{session}/end",
            {
                "ended_at": ended.isoformat(), "device": tablet.device, "result": result,
                "result_text": "Camera learned, aiming complete", "device_software": "SC 7.2",
            },
            tablet.etag(f"{self.base}/sessions/{session}"),
        )  # fmt: skip
        tablet.upload(
            self.job, f"drive-{attempt}.gpx", evidence.gpx(fixes, name=self.plan.number), kind="drive_log",
            stage="drive", session=session,
        )  # fmt: skip
        tablet.upload(
            self.job, f"volts-{attempt}.csv", evidence.voltage_log(start=began, end=ended), kind="voltage_log",
            stage="drive", session=session, instrument="VL-009",
        )  # fmt: skip
        self.odometer(tablet, f"after-{attempt}", odometer_after or self.plan.odometer_in + 19)
        self.record(
            tablet, "statements", f"road-{attempt}", session=session, text_version="road-1",
            says=["lane_lines_both_sides", "dry_road", "no_heavy_spray", "two_people_or_voice_only"],
        )  # fmt: skip
        self.record(
            tablet, "lamp-records", f"lane-after-{attempt}", session=session, states={"lane_symbol": "filled"}
        )
        return session

    def finish(self, day: date, at: str = "11:04") -> None:
        tablet = self.scene.at(day, at, "itolvaar", "Final scan, lamps, dashboard photographed")
        self.scan(tablet, "final", f"final-{day}")
        self.photo(tablet, "dash_lamps_after", stage="final")
        self.record(
            tablet, "lamp-records", "final",
            states={"driver_assistance": "unlit", "airbag": "unlit", "brake": "unlit", "steering": "unlit"},
        )  # fmt: skip

    def sign(self, day: date, at: str, login: str, role: str) -> None:
        tablet = self.scene.at(day, at, login, f"{role.replace('_', ' ').capitalize()} signs")
        tablet.post(
            f"{self.base}/sign-offs",
            {
                "id": self.id("sign-offs", role, login, day, at), "role": role, "pin": self.scene.pins[login],
                "statement_version": "1",
            },
        )  # fmt: skip

    def release(self, day: date, at: str) -> Any:
        tablet = self.scene.at(day, at, "tachterly", "Release asked for")
        return tablet.post(
            f"{self.base}/release",
            {
                "id": self.id("release", day, at),
                "pin": self.scene.pins["tachterly"],
                "statement_version": "1",
            },
        )

    def deliver(self, day: date, at: str, odometer: int) -> None:
        tablet = self.scene.at(day, at, "tachterly", "Keys handed over")
        self.photo(tablet, "odometer_out", stage="delivery", text=f"{odometer} km")
        self.record(
            tablet, "delivery", "delivery", delivered_at=tablet.clock().isoformat(),
            odometer_out={"value": str(odometer), "unit": "km", "resolution": "1"},
        )  # fmt: skip

    def assessment(self, login: str = "tachterly") -> Any:
        """The latest judgement, after the workers have caught up."""
        self.scene.settle()
        return self.scene.tablet(login).get(f"{self.base}/assessment")

    def until_signed(self) -> None:
        """The undisturbed day up to the signatures."""
        self.intake()
        self.plan_work()
        self.set_glass()
        self.cure()
