"""The logs and scan summaries of a rehearsal, as the instruments of the invented world write them."""

import json
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from jobs.demo import evidence
from jobs.demo.drive_notation import Fix
from jobs.errors import Refused

# A modern car of the middle class answers with so many modules; what no sensor needs fills them up.
MODULES_IN_ALL: Final = 31
_SENSOR_MODULES: Final[Mapping[str, tuple[str, ...]]] = {
    "forward_camera": ("Forward Camera",),
    "front_radar": ("Front Radar",),
    "front_corner_radar": ("Front Corner Radar Left", "Front Corner Radar Right"),
    "rear_corner_radar": ("Rear Corner Radar Left", "Rear Corner Radar Right"),
    "surround_cameras": ("Around View",),
    "rear_camera": ("Rear Camera",),
    "parking_sensors": ("Parking Aid",),
    "night_camera": ("Night Camera",),
    "driver_camera": ("Driver Camera",),
    "lidar": ("Lidar",),
    "steering_angle_sensor": ("Steering Angle",),
    "head_up_projector": ("Head-up Display",),
    "rain_light_sensor": ("Rain and Light Sensor",),
}
_OTHERS: Final = tuple((name, system) for name, system in evidence.MODULES if system not in _SENSOR_MODULES)
# These show the number of the car they sit in.
SHOW_VIN: Final = ("Forward Camera", "Brake Control", "Power Steering", "Restraint Control", "Body Control",
                   "Engine Control")  # fmt: skip
SERIALS: Final[Mapping[str, str]] = {"SD-011": "PW-7711", "SD-014": "PW-7745"}
_STEP = re.compile(r"(?:(to) )?([+-]?\d+(?:\.\d+)?) (?:for|in) (\d+(?:\.\d+)?)|(lost) (\d+(?:\.\d+)?)")


def modules_of(sensors: Sequence[str]) -> dict[str, str]:
    """Name and system of every module of a car with these sensors."""
    own = {name: sensor for sensor in sensors for name in _SENSOR_MODULES.get(sensor, ())}
    rest = _OTHERS[: max(0, MODULES_IN_ALL - len(own))]
    return {**own, **dict(rest)}


def scan_summary(
    body: Mapping[str, Any], *, fields: Mapping[str, Any], modules: Mapping[str, str]
) -> dict[str, Any]:
    """A scan summary as the scan device writes it.

    Args:
        body: the record's own keys.
        fields: device_serial, device_clock, ended_at, vin, odometer, cleared.
        modules: name → system of every module that was asked.
    """
    _known(modules, "silent", body["silent"])
    _known(modules, "used_parts", body["used_parts"])
    vin = fields["vin"]
    vins = {name: vin for name in SHOW_VIN if name in modules and name not in body["silent"]}
    return {
        "stage": body["stage"],
        "device_serial": fields["device_serial"],
        "device_software": body["software"],
        "database_version": "2026.04",
        "device_clock": fields["device_clock"],
        **({"ended_at": fields["ended_at"]} if fields["ended_at"] else {}),
        "cleared": fields["cleared"],
        "vin_per_module": {**vins, **body["vins"]},
        **({"odometer": fields["odometer"]} if fields["odometer"] else {}),
        "supply_voltage_v": body["volts"],
        "modules": [
            {
                "name": name,
                "system": system,
                "address": f"{0x700 + 8 * place:03X}",
                "answered": name not in body["silent"],
                "part_no": f"OV-{4100 + 13 * place}",
                "software_no": f"{1 + place % 4}.{place % 10}",
                "replaced_used_part": name in body["used_parts"],
                "codes": _codes_of(name, modules, body["codes"]),
            }
            for place, (name, system) in enumerate(modules.items())
        ],
    }


def _known(modules: Mapping[str, str], key: str, names: Sequence[str]) -> None:
    for name in names:
        if name not in modules:
            raise Refused("unknown_module", f"{key} names {name}, which was not asked.")


def _codes_of(
    name: str, modules: Mapping[str, str], codes: Sequence[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """The codes of one module: those that name it, or its system where it is the first one of that system."""
    first = {system: module for module, system in reversed(list(modules.items()))}
    found = []
    for code in codes:
        carrier = code["module"] or first.get(str(code["system"]), "")
        if carrier not in modules:
            raise Refused(
                "unknown_module", f"A code names {code['module'] or code['system']}, which was not asked."
            )
        if carrier == name:
            kept = {key: code[key] for key in ("code", "ftb", "state", "text", "count", "first_seen_km")}
            found.append({key: value for key, value in kept.items() if value is not None})
    return found


def summary_bytes(summary: Mapping[str, Any]) -> bytes:
    return (json.dumps(summary, indent=1) + "\n").encode()


def drive_file(fixes: Sequence[Fix], form: str, name: str) -> bytes:
    """A position log as GPX 1.1, CSV or NMEA 0183."""
    if form == "gpx":
        return evidence.gpx(fixes, name=name)
    if form == "csv":
        return _drive_csv(fixes)
    return _nmea(fixes)


def _drive_csv(fixes: Sequence[Fix]) -> bytes:
    lines = ["t,lat,lon,speed_kph,course_deg"]
    lines += [
        f"{stamp(t)},{lat:.8f},{lon:.8f},{speed:.3f},{course % 360:.2f}"
        for t, lat, lon, speed, course in fixes
    ]
    return ("\r\n".join(lines) + "\r\n").encode()


def _nmea(fixes: Sequence[Fix]) -> bytes:
    lines = []
    for t, lat, lon, speed, course in fixes:
        at = datetime.fromtimestamp(t, tz=UTC)
        place = f"{_minutes(lat, 2)},{'N' if lat >= 0 else 'S'},{_minutes(lon, 3)},{'E' if lon >= 0 else 'W'}"
        clock = f"{at:%H%M%S}.{at.microsecond // 10_000:02d}"
        text = f"GPRMC,{clock},A,{place},{speed / 1.852:.4f},{course % 360:.2f},{at:%d%m%y},,"
        check = 0
        for sign in text.encode():
            check ^= sign
        lines.append(f"${text}*{check:02X}")
    return ("\r\n".join(lines) + "\r\n").encode()


def _minutes(degrees: float, width: int) -> str:
    whole = int(abs(degrees))
    return f"{whole:0{width}d}{(abs(degrees) - whole) * 60:09.6f}"


def stamp(t: float) -> str:
    """A POSIX instant as RFC 3339 to the millisecond."""
    return datetime.fromtimestamp(t, tz=UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def series(text: str, start: datetime, every: timedelta) -> list[tuple[datetime, float]]:
    """Samples of a value told in steps: ``12.7 for 10; to 11.7 in 2; lost 15; 13.9 for 300`` (seconds).

    ``V for s`` holds a value, ``to V in s`` changes evenly, ``lost s`` leaves the samples out.

    Raises:
        Refused: ``series_notation``.
    """
    samples: list[tuple[datetime, float]] = []
    at, value = 0.0, 0.0
    step_s = every.total_seconds()
    for part in text.split(";"):
        found = _STEP.fullmatch(part.strip())
        if found is None:
            raise Refused(
                "series_notation", f"{part.strip()!r} is no step such as 12.7 for 10, to 11 in 2, lost 9."
            )
        begins = value
        value = float(found[2]) if found[2] else value
        seconds = float(found[3] or found[5])
        while not found[4] and samples_due(samples, start, step_s) < at + seconds:
            due = samples_due(samples, start, step_s)
            share = max(0.0, due - at) / seconds if found[1] else 1.0
            samples.append((start + timedelta(seconds=due), begins + (value - begins) * share))
        at += seconds
        if found[4] and samples:
            samples.append((start + timedelta(seconds=at), value))
    return samples


def samples_due(samples: Sequence[tuple[datetime, float]], start: datetime, step_s: float) -> float:
    """Seconds after ``start`` at which the next sample is due."""
    return (samples[-1][0] - start).total_seconds() + step_s if samples else 0.0


def voltage_csv(samples: Sequence[tuple[datetime, float]], events: Sequence[tuple[datetime, str]]) -> bytes:
    """A supply log; an event stands on the first sample at or after it."""
    waiting = sorted(events)
    lines = ["t,volts,event"]
    for at, volts in samples:
        name = waiting.pop(0)[1] if waiting and waiting[0][0] <= at else ""
        lines.append(f"{stamp(at.timestamp())},{volts:.2f},{name}")
    return ("\r\n".join(lines) + "\r\n").encode()


def climate_csv(samples: Sequence[tuple[datetime, str, str]]) -> bytes:
    lines = ["t,temp_c,rh_percent"]
    lines += [f"{stamp(at.timestamp())},{temp},{rh}" for at, temp, rh in samples]
    return ("\r\n".join(lines) + "\r\n").encode()
