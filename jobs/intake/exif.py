"""Exif of a picture (CIPA DC-008): what can be read with certainty, everything else as None with a note."""

import math
import re
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from PIL import ExifTags, Image

# DC-008 writes local time without a zone; the offset stands in a tag of its own since version 2.31.
_TIME: Final = re.compile(r"(\d{4}):(\d{2}):(\d{2}) (\d{2}):(\d{2}):(\d{2})", re.ASCII)
_OFFSET: Final = re.compile(r"([+-])(\d{2}):(\d{2})", re.ASCII)
_DAY: Final = re.compile(r"(\d{4})[:\-](\d{2})[:\-](\d{2})", re.ASCII)
_FRACTION: Final = re.compile(r"\d{1,9}", re.ASCII)
_NOT_SHOWN: Final = re.compile(
    "[\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff\ud800-\udfff]"
)
_LONGEST_TEXT: Final = 80
# Digital cameras with Exif exist since 1995 (from memory); later years than this are a wrong clock.
_FIRST_YEAR: Final = 1995
_LAST_YEAR: Final = 2100
_MAX_ACCURACY_M: Final = 100_000.0


@dataclass(slots=True, kw_only=True)
class ExifFacts:
    """Fields as in :class:`jobs.intake.decoded.PhotoFacts`; ``notes`` are stable codes."""

    orientation: int = 1
    exif_time: str | None = None
    exif_subsec_s: float | None = None
    exif_offset_min: int | None = None
    exif_at: str | None = None
    satellite_at: str | None = None
    lat: float | None = None
    lon: float | None = None
    accuracy_m: float | None = None
    camera_make: str | None = None
    camera_model: str | None = None
    software: str | None = None
    notes: list[str] = field(default_factory=list)


def read_exif(picture: Image.Image) -> ExifFacts:
    """Reads the tags that the record uses. A damaged Exif block never refuses a picture: it is noted."""
    facts = ExifFacts()
    try:
        tags = picture.getexif()
        camera = dict(tags.get_ifd(ExifTags.IFD.Exif))
        satellite = dict(tags.get_ifd(ExifTags.IFD.GPSInfo))
        base = dict(tags)
    except Exception:  # a hostile block raises whatever the parser's arithmetic runs into
        facts.notes.append("exif_unreadable")
        return facts
    if not base and not camera:
        facts.notes.append("no_exif")
        return facts
    orientation = base.get(ExifTags.Base.Orientation)
    facts.orientation = orientation if isinstance(orientation, int) and 1 <= orientation <= 8 else 1
    facts.camera_make = _text(base.get(ExifTags.Base.Make))
    facts.camera_model = _text(base.get(ExifTags.Base.Model))
    facts.software = _text(base.get(ExifTags.Base.Software))
    _read_time(facts, camera)
    _read_place(facts, satellite)
    _add_notes(facts)
    return facts


def _add_notes(facts: ExifFacts) -> None:
    if facts.software:
        facts.notes.append("software_named")
    if not (facts.camera_make and facts.camera_model):
        facts.notes.append("no_camera_named")


def _text(value: Any) -> str | None:
    """Cleaned text: control, invisible and direction-changing characters become spaces."""
    if isinstance(value, bytes):
        value = value.decode("latin-1")
    if not isinstance(value, str):
        return None
    cleaned = " ".join(_NOT_SHOWN.sub(" ", value).split())
    return cleaned[:_LONGEST_TEXT] or None


def _read_time(facts: ExifFacts, camera: dict[int, Any]) -> None:
    value = camera.get(ExifTags.Base.DateTimeOriginal)
    if value is None:
        facts.notes.append("no_exif_time")
        return
    local = _local_time(value)
    if local is None:
        facts.notes.append("exif_time_unreadable")
        return
    if not _FIRST_YEAR <= local.year < _LAST_YEAR:
        facts.notes.append("clock_skew")
    facts.exif_time = local.isoformat()
    facts.exif_subsec_s = _fraction(camera.get(ExifTags.Base.SubsecTimeOriginal))
    facts.exif_offset_min = _offset_minutes(camera.get(ExifTags.Base.OffsetTimeOriginal))
    if facts.exif_offset_min is not None:
        facts.exif_at = _utc_text(
            local - timedelta(minutes=facts.exif_offset_min) + timedelta(seconds=facts.exif_subsec_s or 0.0)
        )


def _local_time(value: Any) -> datetime | None:
    matched = _TIME.fullmatch(value.rstrip("\0 ")) if isinstance(value, str) else None
    if matched is None:
        return None
    try:
        return datetime(*(int(part) for part in matched.groups()))  # type: ignore[arg-type]  # noqa: DTZ001
    except ValueError:
        return None


def _fraction(value: Any) -> float | None:
    text = value.strip("\0 ") if isinstance(value, str) else ""
    return float(f"0.{text}") if _FRACTION.fullmatch(text) else None


def _offset_minutes(value: Any) -> int | None:
    matched = _OFFSET.fullmatch(value.strip("\0 ")) if isinstance(value, str) else None
    if matched is None:
        return None
    minutes = int(matched.group(2)) * 60 + int(matched.group(3))
    # Zones in use reach from -12:00 to +14:00; anything beyond is no zone.
    east = -minutes if matched.group(1) == "-" else minutes
    return east if -720 <= east <= 840 and int(matched.group(3)) < 60 else None


def _utc_text(naive: datetime) -> str:
    return naive.isoformat(timespec="milliseconds" if naive.microsecond else "seconds") + "Z"


def _read_place(facts: ExifFacts, satellite: dict[int, Any]) -> None:
    if not satellite:
        return
    # A receiver marks with V that its position is only its last or a guess.
    if _text(satellite.get(ExifTags.GPS.GPSStatus)) == "V":
        facts.notes.append("position_void")
        return
    lat = _degrees(satellite, ExifTags.GPS.GPSLatitude, ExifTags.GPS.GPSLatitudeRef, "NS", 90.0)
    lon = _degrees(satellite, ExifTags.GPS.GPSLongitude, ExifTags.GPS.GPSLongitudeRef, "EW", 180.0)
    if lat is None or lon is None or (lat == 0.0 and lon == 0.0):
        facts.notes.append("position_unreadable")
    else:
        facts.lat, facts.lon = lat, lon
        accuracy = _number(satellite.get(ExifTags.GPS.GPSHPositioningError))
        facts.accuracy_m = accuracy if accuracy is not None and 0.0 <= accuracy <= _MAX_ACCURACY_M else None
    facts.satellite_at = _satellite_time(satellite)


def _number(value: Any) -> float | None:
    """A finite number; a rational with denominator 0 is none."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if math.isfinite(number) else None


def _three(value: Any) -> tuple[float, float, float] | None:
    if not isinstance(value, tuple) or len(value) != 3:
        return None
    first, second, third = (_number(part) for part in value)
    if first is None or second is None or third is None or min(first, second, third) < 0.0:
        return None
    return first, second, third


def _degrees(satellite: dict[int, Any], tag: int, reference: int, sides: str, most: float) -> float | None:
    parts = _three(satellite.get(tag))
    side = _text(satellite.get(reference))
    if parts is None or side not in tuple(sides) or parts[1] >= 60.0 or parts[2] >= 60.0:
        return None
    degrees = parts[0] + parts[1] / 60.0 + parts[2] / 3600.0
    if degrees > most:
        return None
    return round(degrees if side == sides[0] else -degrees, 9)


def _satellite_time(satellite: dict[int, Any]) -> str | None:
    """GPSDateStamp and GPSTimeStamp, which DC-008 defines as UTC."""
    day = _DAY.fullmatch(_text(satellite.get(ExifTags.GPS.GPSDateStamp)) or "")
    clock = _three(satellite.get(ExifTags.GPS.GPSTimeStamp))
    if day is None or clock is None or clock[0] >= 24.0 or clock[1] >= 60.0 or clock[2] >= 60.0:
        return None
    try:
        midnight = datetime(int(day.group(1)), int(day.group(2)), int(day.group(3)), tzinfo=UTC)
        instant = midnight + timedelta(hours=clock[0], minutes=clock[1], seconds=clock[2])
    except (ValueError, OverflowError):
        return None
    return _utc_text(instant.replace(tzinfo=None))
