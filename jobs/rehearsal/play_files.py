"""Playing photos, logs, scans and other files."""

import base64
import binascii
import hashlib
import io
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

from django.db.models import Model

from jobs.demo import evidence
from jobs.demo.drive_notation import NotationError, drive
from jobs.errors import Refused
from jobs.models import Device, Equipment, SlipCode
from jobs.rehearsal import log_files, pictures
from jobs.rehearsal.script import Act, JobScript
from jobs.rehearsal.stage import Call
from jobs.rehearsal.times import read_when
from jobs.services.evidence_intake import Upload
from jobs.services.filing import file_evidence
from jobs.services.scan import ScanEntry, record_scan
from jobs.services.slips import issue_slip
from rules.science.geodesy import destination

MOST_BYTES: Final = 20_000_000
# No car drives longer than this for an aiming (project default); a typing error must not fill the disk.
LONGEST_LOG_S: Final = 12 * 3600
WHERE_THE_SLIP_IS: Final = "vehicle_front_with_slip"


def upload(call: Call, data: bytes, *, kind: str, name: str, captured_at: str | None = None) -> Model:
    """Sends one file as the tablet does."""
    body = call.body
    session = call.session()
    entry = Upload(
        id=call.id(),
        claimed_sha256=hashlib.sha256(data).hexdigest(),
        kind=kind,
        stage=body["stage"],
        shows=tuple(body.get("shows") or ()),
        captured_at=call.claim() if captured_at is None else captured_at,
        device=call.device.pk,
        session=session,
        sessions=call.sessions(),
        instrument=body.get("instrument") or "",
        file_name=name,
    )
    kept, _ = file_evidence(
        job=call.job, actor=call.actor, as_of=call.as_of, upload=entry, source=io.BytesIO(data)
    )
    return kept


def given_bytes(call: Call) -> bytes | None:
    """The bytes that the record brings with it: inline, or a file beside the scenario."""
    body = call.body
    if body.get("text") is not None:
        return str(body["text"]).encode()
    if body.get("base64") is not None:
        try:
            return base64.b64decode("".join(str(body["base64"]).split()), validate=True)
        except (binascii.Error, ValueError) as error:
            raise Refused("bad_base64", "base64 does not hold base64.") from error
    if body.get("file") is None:
        return None
    return read_beside(call.stage.scenario.folder, str(body["file"]))


def read_beside(folder: Path, name: str) -> bytes:
    """A file named from the scenario's folder."""
    path = folder / name
    try:
        if path.stat().st_size > MOST_BYTES:
            raise Refused("file_too_large", f"{name} is larger than {MOST_BYTES:,} bytes.")
        return path.read_bytes()
    except (OSError, ValueError) as error:
        raise Refused("file_missing", f"{name} cannot be read beside the scenario.") from error


# ------------------------------------------------------------------ photos


def play_photo(call: Call) -> Model:
    body = call.body
    other = _reused(call, body["same_as"])
    data = other if other is not None else given_bytes(call)
    if data is None:
        data = pictures.photo(_shot(call))
    # The camera's own time stands in the picture; the tablet's claim is what remains without it.
    claim = call.claim(body["taken"])
    shows = tuple(body["shows"]) or (call.act.name,)
    return upload(_showing(call, shows), data, kind="photo", name=f"{call.act.name}.jpg", captured_at=claim)


def _showing(call: Call, shows: Sequence[str]) -> Call:
    from_body = {**call.body, "shows": tuple(shows)}
    return call.with_body(from_body)


def _shot(call: Call) -> pictures.Shot:
    body = call.body
    shows = tuple(body["shows"]) or (call.act.name,)
    drawn_for, text = _drawn_for(call, body["looks_like"])
    size = body["size"]
    taken_at = call.stage.shown(call.device, call.instant(body["taken"]), call.zone)
    return pictures.Shot(
        subject=shows[0],
        job=drawn_for,
        text=text,
        slip=_slip(call, shows),
        taken_at=None if body["camera_time"] == "none" else taken_at,
        with_offset=body["camera_time"] == "with_offset",
        place=_place(call),
        size=(size[0], size[1]) if size and len(size) == 2 else None,
        blurred=bool(body["blurred"]),
        mark=str(call.id()) if body["looks_like"] is not None else "",
    )


def _drawn_for(call: Call, looks_like: str | None) -> tuple[str, str]:
    """Order number and text that decide how the picture looks; another job's for one that looks the same."""
    if looks_like is None:
        return call.script.number, _reads(call.script, call.act)
    job_name, _, name = looks_like.partition("/")
    other = call.stage.jobs.get(job_name)
    if other is None:
        raise Refused("unknown_photo", f"{looks_like} names no job/photo of this scenario.")
    acts = {act.name: act for act in other.script.acts if act.section == "photos"}
    if name not in acts:
        raise Refused("unknown_photo", f"{looks_like} names no photo.")
    return other.script.number, _reads(other.script, acts[name])


def _reads(script: JobScript, act: Act) -> str:
    """What is to be read from the picture: what the record says, else what the car shows there."""
    if act.body["reads"]:
        return str(act.body["reads"])
    subject = (tuple(act.body["shows"]) or (act.name,))[0]
    shown = {
        "plate": script.vehicle["plate"],
        "odometer_in": script.order["odometer"],
        "vin_plate": script.vehicle["vin"],
        "vin_label": script.vehicle["vin"],
        "safety_mark_photo": "GLASTRAN 43R",
    }
    return str(shown.get(subject) or act.name)


def _place(call: Call) -> tuple[float, float] | None:
    body = call.body
    if body["no_place"]:
        return None
    if body["place"] is not None:
        return body["place"]["lat"], body["place"]["lon"]
    at = call.location
    metres = 5.0 if body["metres_north"] is None else float(body["metres_north"])
    return destination(at.lat, at.lon, 0.0, metres)


def _slip(call: Call, shows: Sequence[str]) -> str | None:
    """The code on the card in the picture: this job's, another one's, or none."""
    wanted = call.body["slip"]
    if wanted == "no" or (wanted is None and WHERE_THE_SLIP_IS not in shows):
        return None
    owner = call.stage.jobs[wanted].job if wanted in call.stage.jobs else call.job
    slip: SlipCode = issue_slip(job=owner, actor=call.actor, as_of=call.as_of, slip_id=call.id("slip"))
    return slip.code


def _reused(call: Call, same_as: str | None) -> bytes | None:
    """The bytes of another job's photo."""
    if same_as is None:
        return None
    job_name, _, name = same_as.partition("/")
    row: Any = call.stage.rows.get((job_name, "photos", name))
    if row is None:
        raise Refused("unknown_photo", f"{same_as} names no job/photo that is on record.")
    return call.stored(row.sha256)


# ------------------------------------------------------------------ logs


def play_file(call: Call) -> Model:
    data = given_bytes(call)
    if data is None:
        raise Refused("file_missing", "Give text, base64 or file.")
    return upload(call, data, kind=call.body["kind"], name=call.act.name)


def play_drive(call: Call) -> Model:
    body = call.body
    data = given_bytes(call)
    form = body["form"]
    if data is None:
        text = body["drive"] or ""
        _not_too_long(text)
        start = call.instant(body["start"])
        place = body["from"] or {"lat": call.location.lat + 0.0005, "lon": call.location.lon - 0.001}
        try:
            fixes = drive(text, start, place["lat"], place["lon"], course_deg=body["course"])
        except NotationError as error:
            raise Refused("drive_notation", str(error)) from error
        data = log_files.drive_file(fixes, form, call.script.number)
    return upload(call, data, kind="drive_log", name=f"{call.act.name}.{form}")


def _not_too_long(notation: str) -> None:
    """A drive is played second by second: an endless one is a typing error."""
    total = 0.0
    for part in notation.split(";"):
        last = part.strip().rstrip(".").rpartition(" ")[2]
        total += float(last) if last.isdigit() and len(last) < 9 else 0.0
        if total > LONGEST_LOG_S or len(last) >= 9:
            raise Refused("log_too_long", f"A log lasts at most {LONGEST_LOG_S} s.")


def play_voltage(call: Call) -> Model:
    body = call.body
    data = given_bytes(call)
    if data is None:
        start, end = call.instant(body["start"]), call.instant(body["end"])
        if body["volts"] is None and not body["events"]:
            if not timedelta(0) <= end - start <= timedelta(seconds=LONGEST_LOG_S):
                raise Refused("log_too_long", f"A log lasts 0 to {LONGEST_LOG_S} s.")
            data = evidence.voltage_log(start=start, end=end)
        else:
            every = body["every"] or timedelta(seconds=2)
            samples = log_files.series(body["volts"] or "13.9 for 600", start, every)
            data = log_files.voltage_csv(samples, _events(call))
    return upload(call, data, kind="voltage_log", name=f"{call.act.name}.csv")


def _events(call: Call) -> list[tuple[datetime, str]]:
    found = []
    for typed, name in call.body["events"].items():
        when = read_when(typed)
        if when is None:
            raise Refused("bad_time", f"{typed} is no time.")
        found.append((call.instant(when), str(name)))
    return found


def play_climate(call: Call) -> Model:
    body = call.body
    data = given_bytes(call)
    if data is None and body["samples"]:
        data = log_files.climate_csv([_climate_sample(call, typed) for typed in body["samples"]])
    if data is None:
        lows = body["lows"] or {"temp": 20.0, "rh": 55.0}
        data = evidence.climate_log(
            start=call.instant(body["start"]),
            minutes=body["minutes"],
            temp_min=lows["temp"],
            rh_min=lows["rh"],
        )
    return upload(call, data, kind="climate_log", name=f"{call.act.name}.csv")


def _climate_sample(call: Call, typed: str) -> tuple[datetime, str, str]:
    """``08:40 20.1 55.0``: when, degC, percent."""
    parts = typed.rsplit(maxsplit=2)
    when = read_when(parts[0]) if len(parts) == 3 else None
    if when is None:
        raise Refused("climate_sample", f"{typed!r} is no sample such as 08:40 20.1 55.0.")
    return call.instant(when), parts[1], parts[2]


# ------------------------------------------------------------------ scans


def play_scan(call: Call) -> Model:
    body = call.body
    tool = _tool(call)
    given = given_bytes(call)
    if given is not None:
        body = {**body, "instrument": tool.tag if tool is not None else ""}
        return upload(call.with_body(body), given, kind="scan_summary", name=f"{call.act.name}.json")
    summary = log_files.scan_summary(body, fields=_scan_fields(call, tool), modules=_modules(call))
    entry = ScanEntry(
        id=call.id(),
        tool=tool.tag if tool is not None else "",
        stage=body["stage"],
        summary=summary,
        device=call.device.pk,
    )
    return record_scan(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def _tool(call: Call) -> Equipment | None:
    """The scan device that the record names, else the one of the place."""
    name = call.body["tool"]
    rows = Equipment.objects.filter(cls="scan_device").order_by("tag")
    if name == "none":
        return None
    if name is not None:
        found = rows.filter(tag=name).first()
        if found is None:
            raise Refused("unknown_reference", f"There is no scan device {name}.")
        return found
    return rows.filter(home_location=call.location).first() or rows.first()


def _scan_fields(call: Call, tool: Equipment | None) -> dict[str, Any]:
    body = call.body
    ended = call.instant(body["ended"])
    own = (
        Device.objects.select_related("equipment").filter(equipment=tool).first()
        if tool is not None
        else None
    )
    shown = call.stage.shown(own, ended, call.zone) if own is not None else ended.astimezone(call.zone)
    by_tool = body["timed_by"] == "tool" or body["shows"] is not None
    mileage = body["mileage"] or call.script.order["odometer"]
    value, unit = mileage.split()
    serial = (tool.serial or tool.tag) if tool is not None else "unknown"
    return {
        "device_serial": serial,
        "device_clock": body["shows"] or shown.strftime("%Y-%m-%dT%H:%M"),
        "ended_at": "" if by_tool else call.claim(body["ended"]),
        "vin": body["vin"] or call.script.vehicle["vin"],
        "odometer": {"value": float(value), "unit": unit},
        "cleared": [{"module": name, "at": at} for name, at in body["cleared"].items()],
    }


def _modules(call: Call) -> dict[str, str]:
    """Every module that was asked: those of the car's sensors, or the ones that the record names."""
    body = call.body
    modules = dict(body["modules"] or log_files.modules_of(_sensors(call)))
    modules.update(body["more_modules"])
    for name in body["not_asked"]:
        if name not in modules:
            raise Refused("unknown_module", f"not_asked names {name}, which the car does not have.")
        del modules[name]
    return modules


def _sensors(call: Call) -> list[str]:
    """The sensors that the story says are there."""
    there = [sensor for act in call.script.acts if act.section == "fitted" for sensor in act.body["yes"]]
    return list(dict.fromkeys(there))
