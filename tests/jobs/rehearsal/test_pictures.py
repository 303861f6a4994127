"""Photos of a rehearsal: what the decoder reads from them is what the scenario says."""

import io
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from jobs.intake.photo import read_photo
from jobs.rehearsal.pictures import Shot, photo

SHOT = Shot(
    subject="plate",
    job="EM-2026-0417",
    text="BRK 417",
    taken_at=datetime(2026, 5, 5, 7, 41, tzinfo=ZoneInfo("America/Chicago")),
    place=(43.1, -98.2),
)


def read(shot: Shot) -> dict[str, object]:
    facts, _ = read_photo(photo(shot), io.BytesIO())
    return dict(facts)


def test_camera_time_and_place() -> None:
    facts = read(SHOT)
    assert facts["exif_at"] == "2026-05-05T12:41:00Z"
    assert (facts["lat"], facts["lon"]) == pytest.approx((43.1, -98.2), abs=1e-5)
    assert facts["slip_texts"] == []


def test_a_camera_that_writes_no_offset_and_one_that_writes_nothing() -> None:
    local = read(replace(SHOT, with_offset=False, place=None))
    assert (local["exif_at"], local["exif_time"], local["lat"]) == (None, "2026-05-05T07:41:00", None)
    assert read(replace(SHOT, taken_at=None))["exif_time"] is None


def test_a_slip_in_the_picture_is_read() -> None:
    code = "0123456789abcdef0123456789abcdef.0011223344556677.1778000000.0123456789abcdef0123456789abcdef"
    assert read(replace(SHOT, slip=code))["slip_texts"] == [code]


def test_the_same_picture_in_other_bytes() -> None:
    other = replace(SHOT, mark="another job's")
    assert photo(SHOT) == photo(SHOT)
    assert photo(other) != photo(SHOT)
    assert read(other)["dhash64"] == read(SHOT)["dhash64"]


def test_small_and_blurred() -> None:
    facts = read(replace(SHOT, size=(1200, 900)))
    assert (facts["width"], facts["height"]) == (1200, 900)
    sharp, blurred = read(SHOT)["laplacian_variance"], read(replace(SHOT, blurred=True))["laplacian_variance"]
    assert isinstance(sharp, float)
    assert isinstance(blurred, float)
    assert blurred < 60 < sharp
