"""A Corran: the same windshield, but its camera is aimed standing still."""

from typing import Any, Final

from portal.demo.steps import Plan
from portal.demo.tablet import Tablet
from portal.demo.windshield import NOT_AIMED_YET, TYRES_KPA, WindshieldJob

STILL: Final = "OV-FC-STILL"
CORRAN: Final = Plan(number="EM-2026-0431", vin="Z0ACR4H24T1004217", odometer_in=8312)
ARCHES_MM: Final = (
    ("front_left", 452),
    ("front_right", 452),
    ("rear_left", 461),
    ("rear_right", 461),
)
# Readings of the target as the maker's text asks for them: quantity, place, value, unit, instrument.
TARGET: Final = (
    ("datum_separation_front", "front", "1580", "mm", "TM-014"),
    ("bar_length", "bar", "1200.0", "mm", "TS-003"),
    ("target_distance", "d_LL", "3213", "mm", "TM-014"),
    ("target_distance", "d_LR", "3495", "mm", "TM-014"),
    ("target_distance", "d_RL", "3494", "mm", "TM-014"),
    ("target_distance", "d_RR", "3210", "mm", "TM-014"),
    ("target_height", "target", "1346", "mm", "TM-014"),
    ("stand_floor_z", "stand", "-1", "mm", "FL-001"),
    ("bar_tilt", "bar", "0.1", "deg", "AG-005"),
    ("rear_toe_left", "rear_left", "0.20", "deg", "AR-002"),
    ("rear_toe_right", "rear_right", "0.05", "deg", "AR-002"),
)
LOAD: Final = ("cargo_empty", "no_roof_load", "fuel_at_least_half", "doors_closed", "nobody_inside")
STRAIGHT: Final = ("steering_straight_ahead", "suspension_at_normal_height", "no_service_or_transport_mode")
SPACE: Final = ("clear_zone_marked", "nothing_patterned_behind_target", "no_bright_reflections")


class CorranJob(WindshieldJob):
    """Set up, aimed and checked as the maker's text asks; no light, no floor survey, nothing learned."""

    def _open_order(self, tablet: Tablet) -> None:
        plan, vehicle = self.plan, self.id("vehicle")
        car: dict[str, Any] = {"make": "Orrinvale", "model": "Corran", "model_year": 2026, "market": "US"}
        pressures = {"placard_front_kpa": "230", "placard_rear_kpa": "220"}
        sizes = {"wheelbase_mm": "2760", "front_track_mm": "1580"}
        tablet.post("/api/v1/vehicles", {"id": vehicle, "vin": plan.vin, **car, **pressures, **sizes})
        order = {
            "id": self.id("order"),
            "job_id": self.job,
            "number": plan.number,
            "location": "EM",
            "vehicle": vehicle,
            "opened_at": tablet.clock().isoformat(),
            "device": tablet.device,
            "customer_name": "T. Lind",
            "odometer_in": {"value": str(plan.odometer_in), "unit": "km", "resolution": "1"},
        }
        tablet.post("/api/v1/orders", order)

    def set_up(self) -> None:
        """Everything that must be there before the session, as good as it can be."""
        tablet = self.scene.at(self.plan.day, "10:18", "itolvaar", "Corran set up in front of its target")
        self.send(
            tablet,
            "lookups",
            "still",
            procedure_id=STILL,
            document_number="OV-SI-2114",
            edition="2026-02",
            section="3",
            retrieved_at=tablet.clock().isoformat(),
        )
        for place, kpa in TYRES_KPA:
            self._reading(tablet, "tyre_pressure", place, kpa, "kPa", "PG-022")
        for place, height_mm in ARCHES_MM:
            self._reading(tablet, "arch_height", place, height_mm, "mm", "TM-014")
        for quantity, place, value, unit, instrument in TARGET:
            self._reading(tablet, quantity, place, value, unit, instrument)
        self.scan(tablet, "before_calibration", "before-aiming", codes=[NOT_AIMED_YET])
        for name, says, subject in (
            ("load", LOAD, "cargo_area"),
            ("straight", STRAIGHT, "steering_wheel"),
            ("space", SPACE, "wide_bay"),
        ):
            photo = self.photo(tablet, subject, stage="before_calibration")
            self.record(
                tablet,
                "statements",
                name,
                says=list(says),
                text_version="set-up-1",
                bay="EM-B2",
                procedure_id=STILL,
                evidence=[photo],
            )
        self.record(
            tablet,
            "target-identities",
            "board",
            number_read="OV-TB-07",
            right_way_up=True,
            clean=True,
            procedure_id=STILL,
        )

    def _reading(
        self, tablet: Tablet, quantity: str, place: str, value: int | str, unit: str, instrument: str
    ) -> None:
        name = f"{quantity}-{place}"
        reading = {"quantity": quantity, "place": place, "value": str(value), "unit": unit}
        self.record(tablet, "readings", name, **reading, instrument=instrument)

    def aim_standing(self) -> None:
        """The session standing still; the device says that it is completed."""
        tablet = self.scene.at(self.plan.day, "10:40", "itolvaar", "Session starts, standing still")
        session = self.id("sessions", "still")
        start = {"procedure_id": STILL, "bay": "EM-B2", "tool": "SD-011"}
        self.send(tablet, "sessions", "still", **start, started_at=tablet.clock().isoformat())
        tablet = self.scene.at(self.plan.day, "10:52", "itolvaar", "Session ends: device says completed")
        end = {
            "ended_at": tablet.clock().isoformat(),
            "result": "completed",
            "result_text": "Aiming complete",
        }
        path = f"{self.base}/sessions/{session}"
        tablet.post_matching(f"{path}/end", {**end, "device_software": "SC 7.2"}, tablet.etag(path))
        said = {"says": ["nothing_moved_from_set_up_to_session_end"], "text_version": "after-1"}
        self.record(tablet, "statements", "unmoved", session=session, **said)
        self.record(tablet, "lamp-records", "after", session=session, states={"camera_fault": "unlit"})
        shown = {"function": "lane departure warning", "shows": "ready", "how": "Cluster, settings page"}
        self.record(tablet, "function-checks", "ready", session=session, **shown)
