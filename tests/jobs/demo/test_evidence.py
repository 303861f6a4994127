"""Files of the invented world: the same on every run, accepted by intake, and far from each other."""

import base64
import itertools
import json
from datetime import datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import gpxpy
import numpy as np
import pytest

from jobs.demo import evidence
from jobs.demo.drive_notation import drive
from jobs.intake.climate_log import read_climate_log
from jobs.intake.decoded import PhotoFacts
from jobs.intake.gpx_track import read_gpx
from jobs.intake.photo import read_photo
from jobs.intake.voltage_log import read_voltage_log
from rules.vocabulary import PHOTO_SUBJECTS

# Minutes of work in all: left out of what runs before each commit.
pytestmark = pytest.mark.slow

AT = datetime(2026, 5, 5, 8, 41, 12, 250_000, tzinfo=ZoneInfo("America/Chicago"))
JOBS = ("EM-2026-0417", "EM-2026-0418")
# The subjects that every played job photographs.
PLAYED = (
    "vehicle_front_with_slip",
    "plate",
    "dash_lamps_before",
    "dash_lamps_after",
    "odometer_in",
    "odometer_out",
    "vin_plate",
    "safety_mark_photo",
)


def make(subject: str, job: str = JOBS[0], text: str = "21007 km") -> bytes:
    return evidence.photo(subject, taken_at=AT, lat=43.1, lon=-98.2, job=job, slip=f"slip {job}", text=text)


@cache
def facts_of(subject: str, job: str) -> PhotoFacts:
    return read_photo(make(subject, job), None)[0]


@pytest.mark.parametrize("subject", PHOTO_SUBJECTS)
def test_photo_is_readable_and_placed(subject: str) -> None:
    data = make(subject)
    facts, notes = read_photo(data, None)
    assert 100_000 < len(data) < 30_000_000
    assert (facts["width"], facts["height"]) == (2048, 1536)
    assert facts["laplacian_variance"] is not None
    assert facts["laplacian_variance"] > 90
    assert facts["clipped_share"] < 0.1
    assert facts["exif_at"] == "2026-05-05T13:41:12.250Z"
    assert facts["satellite_at"] == "2026-05-05T13:41:12Z"
    assert (facts["lat"], facts["lon"]) == (pytest.approx(43.1, abs=2e-4), pytest.approx(-98.2, abs=2e-4))
    assert facts["accuracy_m"] == pytest.approx(6.0)
    assert (facts["camera_make"], facts["camera_model"]) == ("Stavel", "Fieldcam 3")
    assert facts["slip_texts"] == ([f"slip {JOBS[0]}"] if subject == "vehicle_front_with_slip" else [])
    assert notes == []


def test_same_photo_every_time() -> None:
    assert make("plate") == make("plate")
    assert make("plate") != make("plate", JOBS[1])


def test_photos_of_different_jobs_do_not_look_alike() -> None:
    """No pair comes near the distance of 6 bits at which a reuse is suspected."""
    shots = [(job, subject) for job in JOBS for subject in PLAYED]
    for (job, subject), (other_job, other_subject) in itertools.combinations(shots, 2):
        if job == other_job:
            continue
        one, other = facts_of(subject, job), facts_of(other_subject, other_job)
        distance = (int(one["dhash64"], 16) ^ int(other["dhash64"], 16)).bit_count()
        small = [np.frombuffer(base64.b64decode(f["luma64"]), dtype=np.uint8) for f in (one, other)]
        assert distance > 6 or np.corrcoef(small[0], small[1])[0, 1] < 0.97, (
            job,
            subject,
            other_job,
            other_subject,
        )


def test_track_keeps_the_drive() -> None:
    """Outside check: gpxpy reads the same points and times."""
    fixes = drive("to 40 22; hold 30; turn 60 10; to 0 20", AT.replace(microsecond=0), 43.1, -98.2)
    data = evidence.gpx(fixes, name="EM <&> 1")
    facts, notes = read_gpx(data, None)
    assert notes == []
    for read, made in zip(facts["fixes"], fixes, strict=True):
        assert read[:5] == pytest.approx(made, abs=5e-3)
        assert read[1:3] == pytest.approx(made[1:3], abs=1e-8)
    track = gpxpy.parse(data.decode()).tracks[0]
    assert track.name == "EM <&> 1"
    assert [p.time.timestamp() for p in track.segments[0].points if p.time] == [fix[0] for fix in fixes]


@pytest.mark.parametrize(("low_from", "lowest"), [(None, 12.7), (60.0, 11.7)])
def test_voltage_log(low_from: float | None, lowest: float) -> None:
    end = AT + timedelta(minutes=5)
    facts, notes = read_voltage_log(evidence.voltage_log(start=AT, end=end, low_from=low_from), None)
    assert notes == []
    assert facts["samples"][0][0] < AT.timestamp() < end.timestamp() < facts["samples"][-1][0]
    assert min(volts for _, volts in facts["samples"]) == lowest
    assert max(volts for _, volts in facts["samples"]) < 15.0
    assert facts["events"] == [(pytest.approx(AT.timestamp(), abs=1e-3), "key_on")]


def test_climate_log_reaches_its_lowest_values() -> None:
    facts, notes = read_climate_log(
        evidence.climate_log(start=AT, minutes=96, temp_min=18.9, rh_min=52.0), None
    )
    assert notes == []
    assert min(temp for _, temp, _ in facts["samples"]) == 18.9
    assert min(humidity for _, _, humidity in facts["samples"]) == 52.0
    assert facts["samples"][-1][0] - facts["samples"][0][0] == 95 * 60


def test_scan_summary_names_its_device() -> None:
    made = evidence.scan_summary(
        vin="Z0ASD1F89S2011835", stage="final", ended_at=AT, device="SD-014", odometer_km=5
    )
    assert json.loads(made)["device_serial"] == "PW-7745"
