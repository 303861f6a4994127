"""Evidence files of the invented world, made the same on every run: photos, logs and scan summaries."""

import io
import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from xml.sax.saxutils import escape

from PIL import ExifTags, Image

from jobs.demo.drive_notation import Fix
from jobs.demo.scenes import Setting, draw_scene
from jobs.intake.gpx_track import TRACK_NAMESPACE
from rules.science.geodesy import destination

# (name on the scan device, system it serves). Thirty-one modules, as a modern car of the middle class has.
MODULES: Final = (
    ("Forward Camera", "forward_camera"),
    ("Rear Camera", "rear_camera"),
    ("Steering Angle", "steering_angle_sensor"),
    ("Brake Control", "brake"),
    ("Parking Brake", "brake"),
    ("Power Steering", "steering"),
    ("Restraint Control", "restraint"),
    ("Occupant Sensing", "restraint"),
    *((name, "body") for name in (
        "Body Control", "Driver Door", "Passenger Door", "Rear Left Door", "Rear Right Door", "Tailgate",
        "Instrument Cluster", "Climate Control", "Seat Memory", "Roof Console", "Wiper Control",
        "Exterior Lighting", "Keyless Entry",
    )),
    *((name, "other") for name in (
        "Engine Control", "Transmission", "Fuel Pump", "Charging Control", "Battery Monitor", "Cooling Fan",
        "Gateway", "Telematics", "Audio Unit", "Tyre Monitor",
    )),
)  # fmt: skip
_SHOWS_VIN: Final = ("Forward Camera", "Brake Control", "Power Steering", "Restraint Control", "Body Control",
                     "Engine Control", "Gateway")  # fmt: skip
_SERIALS: Final = {"SD-011": "PW-7711", "SD-014": "PW-7745"}


def photo(  # noqa: PLR0913 - what a photo shows, where and when: each has its own name at the call
    subject: str,
    *,
    taken_at: datetime,
    lat: float,
    lon: float,
    job: str,
    slip: str | None = None,
    text: str = "",
) -> bytes:
    """A JPEG of 2048 x 1536 pixels with Exif time, offset and place.

    Args:
        subject: photo subject, for example ``vehicle_front_with_slip`` or ``odometer_in``.
        taken_at: aware local time of the camera.
        lat, lon: degrees; the camera stands a few metres from there.
        job: order number; with the subject it decides how the picture looks.
        slip: content of the slip code in the picture.
        text: what is to be read from the picture.
    """
    picture = draw_scene(subject, Setting(job=job, slip=slip, text=text))
    metres = 3.0 + len(subject) % 9
    near_lat, near_lon = destination(lat, lon, 37.0 * (len(subject) % 7), metres)
    encoded = io.BytesIO()
    picture.save(encoded, "JPEG", quality=88, exif=exif_of(taken_at, (near_lat, near_lon)))
    return encoded.getvalue()


def exif_of(taken_at: datetime, place: tuple[float, float] | None, *, offset: bool = True) -> Image.Exif:
    """What the camera writes: aware local time, with its offset from UTC or not, and the place in degrees."""
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "Stavel"
    exif[ExifTags.Base.Model] = "Fieldcam 3"
    exif[ExifTags.Base.Orientation] = 1
    local = taken_at.strftime("%Y:%m:%d %H:%M:%S")
    exif[ExifTags.Base.DateTime] = local
    camera = exif.get_ifd(ExifTags.IFD.Exif)
    camera[ExifTags.Base.DateTimeOriginal] = local
    camera[ExifTags.Base.DateTimeDigitized] = local
    if offset:
        east = taken_at.strftime("%z")
        camera[ExifTags.Base.OffsetTimeOriginal] = f"{east[:3]}:{east[3:5]}"
    camera[ExifTags.Base.SubsecTimeOriginal] = f"{taken_at.microsecond // 10_000:02d}"
    if place is not None:
        _write_place(exif, taken_at.astimezone(UTC), *place)
    return exif


def _write_place(exif: Image.Exif, at_utc: datetime, lat: float, lon: float) -> None:
    satellite = exif.get_ifd(ExifTags.IFD.GPSInfo)
    satellite[ExifTags.GPS.GPSLatitudeRef] = "N" if lat >= 0 else "S"
    satellite[ExifTags.GPS.GPSLatitude] = _sexagesimal(lat)
    satellite[ExifTags.GPS.GPSLongitudeRef] = "E" if lon >= 0 else "W"
    satellite[ExifTags.GPS.GPSLongitude] = _sexagesimal(lon)
    satellite[ExifTags.GPS.GPSHPositioningError] = 6.0
    satellite[ExifTags.GPS.GPSDateStamp] = at_utc.strftime("%Y:%m:%d")
    satellite[ExifTags.GPS.GPSTimeStamp] = (float(at_utc.hour), float(at_utc.minute), float(at_utc.second))


def _sexagesimal(degrees: float) -> tuple[float, float, float]:
    size = abs(degrees)
    whole = int(size)
    minutes = int((size - whole) * 60)
    return float(whole), float(minutes), round((size - whole - minutes / 60) * 3600, 4)


def gpx(fixes: Sequence[Fix], *, name: str) -> bytes:
    """A GPX 1.1 track with a time in every point; the receiver's speed and course stand in its extensions."""
    points = "\n".join(
        f'   <trkpt lat="{lat:.8f}" lon="{lon:.8f}"><time>{_utc(t)}</time><extensions>'
        f"<t:speed_kph>{speed:.3f}</t:speed_kph><t:course_deg>{course % 360:.2f}</t:course_deg>"
        "</extensions></trkpt>"
        for t, lat, lon, speed, course in fixes
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<gpx version="1.1" creator="Stavel Tracklog 2" xmlns="http://www.topografix.com/GPX/1/1"\n'
        f' xmlns:t="{TRACK_NAMESPACE}">\n'
        f" <trk>\n  <name>{escape(name)}</name>\n  <trkseg>\n{points}\n  </trkseg>\n </trk>\n</gpx>\n"
    ).encode()


def _utc(t: float) -> str:
    return datetime.fromtimestamp(t, tz=UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def voltage_log(*, start: datetime, end: datetime, low_from: float | None = None) -> bytes:
    """A supply log in CSV, one sample every two seconds from 10 s before ``start`` to 10 s after ``end``.

    Args:
        start, end: the session; the key is on from ``start``.
        low_from: seconds after ``start`` at which the supply falls below 12 V for 5 s; None: it never does.
    """
    lines = ["t,volts,event"]
    t = start - timedelta(seconds=10)
    step = 0
    while t <= end + timedelta(seconds=10):
        after_start = (t - start).total_seconds()
        volts = 12.7 if after_start < 0 else 13.9 + 0.02 * (step * 7 % 11) - 0.01 * (step * 5 % 13)
        if low_from is not None and low_from <= after_start <= low_from + 5:
            volts = 11.7
        event = "key_on" if 0 <= after_start < 2 else ""
        lines.append(f"{_utc(t.timestamp())},{volts:.2f},{event}")
        t += timedelta(seconds=2)
        step += 1
    return ("\r\n".join(lines) + "\r\n").encode()


def climate_log(*, start: datetime, minutes: int, temp_min: float, rh_min: float) -> bytes:
    """A climate log in CSV, every five minutes; both lowest values come 40 minutes after ``start``."""
    lines = ["t,temp_c,rh_percent"]
    for minute in range(0, minutes + 1, 5):
        rise = abs(minute - 40) / 40
        at = _utc((start + timedelta(minutes=minute)).timestamp())
        lines.append(f"{at},{temp_min + 1.3 * rise:.1f},{rh_min + 4.0 * rise:.1f}")
    return ("\r\n".join(lines) + "\r\n").encode()


def scan_summary(  # noqa: PLR0913 - the fields of a summary, named at the call
    *,
    vin: str,
    stage: str,
    ended_at: datetime,
    device: str = "SD-011",
    codes: Sequence[Mapping[str, Any]] = (),
    odometer_km: int,
    silent: Sequence[str] = (),
    extra_modules: Sequence[tuple[str, str]] = (),
) -> bytes:
    """A scan summary in JSON: all modules asked, the first one of a system carrying that system's codes.

    Args:
        vin: what the modules show.
        stage: before_repair, before_calibration, calibration or final.
        ended_at: aware local time of the end.
        device: tag of the scan device.
        codes: each with ``system``, ``code``, ``ftb``, ``state``, ``text`` and optional ``count``.
        odometer_km: what the cluster shows.
        silent: names of modules that did not answer.
        extra_modules: further (name, system), for cars with more sensors.
    """
    asked = (*MODULES, *extra_modules)
    carriers = {system: name for name, system in reversed(asked)}
    modules = [
        {
            "name": name,
            "system": system,
            "address": f"{0x700 + 8 * place:03X}",
            "answered": name not in silent,
            "part_no": f"OV-{4100 + 13 * place}",
            "software_no": f"{1 + place % 4}.{place % 10}",
            "codes": [
                {key: value for key, value in code.items() if key != "system"}
                for code in codes
                if carriers.get(str(code["system"])) == name
            ],
        }
        for place, (name, system) in enumerate(asked)
    ]
    summary = {
        "stage": stage,
        "device_serial": _SERIALS.get(device, device),
        "device_software": "SC 7.2",
        "database_version": "2026.04",
        "device_clock": ended_at.strftime("%Y-%m-%dT%H:%M"),
        "ended_at": ended_at.isoformat(timespec="milliseconds"),
        "cleared": [],
        "vin_per_module": {name: vin for name in _SHOWS_VIN if name not in silent},
        "odometer": {"value": odometer_km, "unit": "km"},
        "supply_voltage_v": 13.4,
        "modules": modules,
    }
    return (json.dumps(summary, indent=1) + "\n").encode()
