"""Bad input through the API: a stable code each, and not one row or file more than before.

That a VIN has no I, O or Q: 49 CFR 565.15; problem details: RFC 9457.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any, Final
from uuid import uuid4

import pytest
from django.conf import settings

from jobs.access import actor_for_person
from jobs.demo import evidence
from jobs.demo.drive_notation import drive
from jobs.errors import Refused
from jobs.models import scope
from jobs.services.pack_desk import publish_pack
from portal.demo.steps import JobSteps, Plan
from portal.demo.tablet import Tablet
from portal.demo.transport import Answer
from portal.demo.windshield import WindshieldJob
from tests.portal.cast import repr_digest
from tests.scenarios.stage import DAY, Stage, row_counts, stored_files

pytestmark = [pytest.mark.django_db, pytest.mark.slow]

DEEP: Final = b'{"id":' + b"[" * 100_000 + b"]" * 100_000 + b"}"


@dataclass
class Counter:
    """A job just taken in, and a tablet to send with."""

    job: JobSteps
    tablet: Tablet
    session: str = ""

    def post(self, path: str, body: Any) -> Answer:
        """Sends bytes as they are and everything else as JSON."""
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        headers = {
            "Authorization": f"Bearer {self.tablet.token}",
            "Content-Type": "application/json",
            "Idempotency-Key": str(uuid4()),
        }
        return self.tablet.transport.send("POST", path, headers, data)

    def upload(self, data: bytes, kind: str, *, digest: str = "", more: str = "") -> Answer:
        headers = {
            "Authorization": f"Bearer {self.tablet.token}",
            "Content-Type": "application/octet-stream",
            "Repr-Digest": digest or repr_digest(data),
        }
        stage = {"drive_log": "drive", "scan_summary": "before_repair"}.get(kind, "intake")
        path = f"{self.job.base}/evidence/{uuid4()}?kind={kind}&stage={stage}{more}"
        return self.tablet.transport.send("PUT", path, headers, data)

    def vehicle(self, **changes: Any) -> Answer:
        body = {
            "id": str(uuid4()),
            "vin": "Z0ASD1F89S2011835",
            "make": "Orrinvale",
            "model": "Sedge",
            "model_year": 2025,
            "market": "US",
        }
        return self.post("/api/v1/vehicles", body | changes)

    def scan(self) -> bytes:
        return evidence.scan_summary(
            vin=self.job.plan.vin, stage="before_repair", ended_at=self.tablet.clock(), odometer_km=21007
        )

    def track(self) -> bytes:
        fixes = drive("to 50 20; hold 60; to 0 20", self.tablet.clock() - timedelta(minutes=9), 43.1, -98.2)
        return evidence.gpx(fixes, name="trial")

    def picture(self) -> bytes:
        return evidence.photo(
            "plate", taken_at=self.tablet.clock(), lat=43.1, lon=-98.2, job="trial", text="BRK 417"
        )

    def volts(self) -> bytes:
        end = self.tablet.clock()
        return evidence.voltage_log(start=end - timedelta(minutes=3), end=end)


@pytest.fixture(scope="module")
def counter(stage: Stage) -> Counter:
    job = WindshieldJob(stage.scene, Plan())
    job.intake()
    return Counter(job, stage.scene.at(DAY, "08:00", "tachterly", "Bad input is tried"))


def _swapped(data: bytes) -> bytes:
    """A log whose last two lines changed places."""
    lines = data.strip().split(b"\r\n")
    lines[-1], lines[-2] = lines[-2], lines[-1]
    return b"\r\n".join(lines) + b"\r\n"


def _session_that_ends_before_it_began(counter: Counter) -> Answer:
    """Started properly at 07:50; its end is claimed for 07:40."""
    session, clock = counter.session, counter.job.scene.clock
    tablet = counter.job.scene.tablet("itolvaar")
    headers = {
        "Authorization": f"Bearer {tablet.token}",
        "Content-Type": "application/json",
        "Idempotency-Key": str(uuid4()),
        "If-Match": tablet.etag(f"{counter.job.base}/sessions/{session}"),
    }
    body = {"ended_at": clock.local(DAY, "07:40").isoformat(), "result": "completed"}
    path = f"{counter.job.base}/sessions/{session}/end"
    return tablet.transport.send("POST", path, headers, json.dumps(body).encode())


CASES: Final[dict[str, tuple[Callable[[Counter], Answer], int, str]]] = {
    "a text where a number belongs": (lambda c: c.vehicle(model_year="2025"), 400, "wrong_type"),
    "a picture that is a web page": (
        lambda c: c.upload(b"<!doctype html><title>front</title>" * 40, "photo"), 415, "type_mismatch"
    ),
    "a track sent as a photo": (lambda c: c.upload(c.track(), "photo"), 415, "type_mismatch"),
    "a JPEG cut short": (lambda c: c.upload(c.picture()[:-40_000], "photo"), 422, "image_truncated"),
    "a latitude that is no number": (
        lambda c: c.upload(c.track().replace(b'lat="43', b'lat="NaN" was="43', 1), "drive_log"),
        422, "log_out_of_range",
    ),
    "NaN in JSON": (
        lambda c: c.post(f"{c.job.base}/readings", b'{"id": 1, "value": NaN}'), 400, "number_not_finite"
    ),
    "a value of a reading that is NaN": (
        lambda c: c.post(f"{c.job.base}/readings", _reading(c, "NaN")), 400, "bad_number"
    ),
    "a log whose times go backwards": (
        lambda c: c.upload(_swapped(c.volts()), "voltage_log", more="&instrument=VL-009"),
        422, "log_time_order",
    ),
    "a session that ends before it began": (_session_that_ends_before_it_began, 422, "times_backwards"),
    "a VIN with I": (lambda c: c.vehicle(vin="Z0ASD1F89S20I1835"), 400, "vin_format"),
    "a VIN with O": (lambda c: c.vehicle(vin="ZOASD1F89S2011835"), 400, "vin_format"),
    "a VIN with Q": (lambda c: c.vehicle(vin="Z0ASQ1F89S2011835"), 400, "vin_format"),
    "JSON 100,000 deep": (lambda c: c.post("/api/v1/vehicles", DEEP), 400, "too_deep"),
    "a scan summary 100,000 deep": (lambda c: c.upload(DEEP, "scan_summary"), 400, "too_deep"),
    "a body over the limit": (
        lambda c: c.post("/api/v1/vehicles", b" " * (settings.MAX_BODY_BYTES + 1)), 413, "body_too_large"
    ),
    "a file over the limit": (
        lambda c: c.upload(b"\xff\xd8\xff" + bytes(settings.MAX_UPLOAD_BYTES), "photo"), 413, "body_too_large"
    ),
    "bytes that are not those stated": (
        lambda c: c.upload(c.picture(), "photo", digest=repr_digest(b"others")), 422, "digest_mismatch"
    ),
    "a scan summary with a member twice": (
        lambda c: c.upload(c.scan().replace(b'"stage"', b'"stage": "final", "stage"', 1), "scan_summary"),
        400, "duplicate_key",
    ),
}  # fmt: skip


def _reading(counter: Counter, value: str) -> dict[str, Any]:
    return {
        "id": str(uuid4()),
        "quantity": "tyre_pressure",
        "place": "front_left",
        "value": value,
        "unit": "kPa",
        "instrument": "PG-022",
        "at": counter.tablet.clock().isoformat(),
        "device": counter.tablet.device,
    }


@pytest.mark.parametrize("case", CASES)
def test_it_is_refused_and_leaves_nothing_behind(counter: Counter, case: str) -> None:
    act, status, code = CASES[case]
    if act is _session_that_ends_before_it_began:
        counter.session = _session(counter)
    rows, files = row_counts(), stored_files()
    answer = act(counter)
    assert (answer.status, answer.json()["code"]) == (status, code), answer.body[:500]
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.json()["status"] == status
    assert row_counts() == rows
    assert stored_files() == files


def test_the_same_things_in_order_are_taken(counter: Counter) -> None:
    """What the cases break is broken there and nowhere else."""
    assert counter.upload(counter.picture(), "photo").status == 201
    assert counter.upload(counter.track(), "drive_log").status == 201
    assert counter.upload(counter.volts(), "voltage_log", more="&instrument=VL-009").status == 201
    assert counter.upload(counter.scan(), "scan_summary", more="&instrument=SD-011").status == 201
    assert counter.post(f"{counter.job.base}/readings", _reading(counter, "231")).status == 201
    assert counter.vehicle(vin="Z0ASD1F89S2011835").status == 201


def _session(counter: Counter) -> str:
    session, clock = str(uuid4()), counter.job.scene.clock
    tablet = counter.job.scene.tablet("itolvaar")
    body = {
        "id": session,
        "procedure_id": "OV-FC-ROAD",
        "started_at": clock.local(DAY, "07:50").isoformat(),
        "tool": "SD-011",
        "device": tablet.device,
    }
    tablet.post(f"{counter.job.base}/sessions", body)
    return session


# ------------------------------------------------------------------ packs, through the desk's service


PACK: Final = Path(__file__).parents[2] / "fixtures" / "packs" / "orrinvale.8.yaml"


@pytest.mark.parametrize(
    ("good", "bad", "fault"),
    [
        ("pack: orrinvale\n", "pack: orrinvale\npack: orrinvale\n", "duplicate_key"),
        ('total_time: "at least 600 s"', 'total_time: "at least 600"', "unit_missing"),
        ('total_time: "at least 600 s"', "total_time: 600", "wrong_type"),
    ],
)
def test_a_pack_with_a_fault_is_not_published(
    stage: Stage, counter: Counter, good: str, bad: str, fault: str
) -> None:
    text = PACK.read_text(encoding="utf-8").replace("edition: 8", "edition: 9", 1)
    text = text.replace('from: "2026-06-15"', 'from: "2026-09-01"', 1)
    assert text.count(good) == 1
    line = text[: text.index(good)].count("\n") + 1
    now = stage.scene.clock.now()
    actor = actor_for_person(stage.world.people["pvantongeren"], as_of=now)
    rows = row_counts()
    with scope(actor.organisation_id), pytest.raises(Refused) as refusal:
        publish_pack(actor=actor, as_of=now, data=text.replace(good, bad).encode(), approved_by="dpell")
    assert refusal.value.code == "pack_faulty"
    faults = refusal.value.extra["faults"]
    assert fault in {item["code"] for item in faults}
    assert {item["line"] for item in faults} <= {line, line + 1}
    assert row_counts() == rows
