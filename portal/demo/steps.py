"""The small steps of a played day: one record, one photo, one scan, one signature of one job."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from jobs.demo import evidence
from portal.demo.scene import Scene
from portal.demo.tablet import Tablet, stable_id

SHOP: Final = {"lat": 43.1, "lon": -98.2}


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What differs from one played windshield job to the next; ``later_min`` puts its day later."""

    number: str = "EM-2026-0417"
    day: date = date(2026, 5, 5)
    vin: str = "Z0ASD1F89S2011835"
    odometer_in: int = 21007
    plate: str = "BRK 417"
    customer_name: str = "R. Ashgrove"
    customer_contact: str = "card 88, front desk"
    later_min: int = 0

    def hhmm(self, morning: str) -> str:
        """The local time at which something of the usual morning happens on this job's day."""
        hour, minute = (int(part) for part in morning.split(":"))
        hour, minute = divmod(hour * 60 + minute + self.later_min, 60)
        return f"{hour:02d}:{minute:02d}"


class JobSteps:
    """One job in the hands of the cast; ids follow from names, so that a repeated day sends the same rows."""

    def __init__(self, scene: Scene, plan: Plan) -> None:
        self.scene = scene
        self.plan = plan
        self.job = stable_id(plan.number, "job")
        self.base = f"/api/v1/jobs/{self.job}"

    def id(self, *names: object) -> str:
        return stable_id(self.plan.number, *names)

    def send(self, tablet: Tablet, path: str, name: str, **body: Any) -> Any:
        """Posts one record with its own id and the tablet as its device."""
        return tablet.post(
            f"{self.base}/{path}", {"id": self.id(path, name), "device": tablet.device, **body}
        )

    def record(self, tablet: Tablet, path: str, name: str, **body: Any) -> Any:
        """Posts one record that happened just now."""
        return self.send(tablet, path, name, at=tablet.clock().isoformat(), **body)

    def photo(self, tablet: Tablet, subject: str, *, stage: str, text: str = "", name: str = "") -> str:
        """Takes a photo; the front of the car is taken with a slip of the server in the picture.

        A second photo of the same thing needs a ``name`` of its own.
        """
        slip = None
        if subject == "vehicle_front_with_slip":
            slip = tablet.post(f"{self.base}/slips", {"id": self.id("slip", subject)})["content"]
        data = evidence.photo(
            subject, taken_at=tablet.clock(), job=self.plan.number, slip=slip, text=text, **SHOP
        )
        file_name = f"{name or subject}.jpg"
        return tablet.upload(self.job, file_name, data, kind="photo", stage=stage, shows=[subject])

    def odometer(self, tablet: Tablet, place: str, value: int, evidence_ids: Sequence[str] = ()) -> None:
        self.record(
            tablet,
            "readings",
            f"odometer-{place}",
            quantity="odometer",
            place=place,
            value=str(value),
            unit="km",
            evidence=list(evidence_ids),
        )

    def scan(self, tablet: Tablet, stage: str, name: str, codes: Sequence[Mapping[str, Any]] = ()) -> None:
        """Uploads a scan summary as the scan device wrote it; the tablet timed its end."""
        data = evidence.scan_summary(
            vin=self.plan.vin,
            stage=stage,
            ended_at=tablet.clock(),
            codes=codes,
            odometer_km=self.plan.odometer_in,
        )
        tablet.upload(
            self.job, f"scan-{name}.json", data, kind="scan_summary", stage=stage, instrument="SD-011"
        )

    def sign(self, day: date, at: str, login: str, role: str) -> Any:
        tablet = self.scene.at(day, at, login, f"{login}: {role.replace('_', ' ')} signs")
        return tablet.post(
            f"{self.base}/sign-offs",
            {
                "id": self.id("sign-offs", role, login, day, at),
                "role": role,
                "pin": self.scene.pins[login],
                "statement_version": "1",
            },
        )

    def release(self, day: date, at: str) -> Any:
        tablet = self.scene.at(day, at, "tachterly", "Release asked for")
        body = {"id": self.id("release", day, at), "pin": self.scene.pins["tachterly"]}
        return tablet.post(f"{self.base}/release", body)

    def deliver(self, day: date, at: str, odometer: int) -> None:
        tablet = self.scene.at(day, at, "tachterly", "Keys handed over")
        self.photo(tablet, "odometer_out", stage="delivery", text=f"{odometer} km")
        self.send(
            tablet,
            "delivery",
            "delivery",
            delivered_at=tablet.clock().isoformat(),
            odometer_out={"value": str(odometer), "unit": "km", "resolution": "1"},
        )

    def assessment(self, login: str = "tachterly") -> Any:
        """The judgement of the record as it stands: asks for one and waits until the worker has made it."""
        tablet = self.scene.tablet(login)
        run = tablet.post(f"{self.base}/assessments", {}, key=tablet.clock().isoformat())
        self.scene.wait_for(tablet, f"{self.base}/assessments/{run['id']}", ("done",))
        return tablet.get(f"{self.base}/assessment")
