"""Small makers of facts for tests: local times of one invented shop, records with ids, drives in a notation.

``at("10:34")`` is 10:34 local time on 2026-05-05 in Eastmarch (UTC-5 in summer) as an aware UTC datetime;
``"2026-05-06 09:00"`` names another day. Every record gets ``id`` as given and a SHA-256 of that id, and is
held by the server at its own time unless ``received_at`` is given. The finished windshield job is in
``windshield_job.py``; change a fact with ``dataclasses.replace``.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any, TypeVar

from rules.checks.base import CheckContext, RequiredProcedure
from rules.facts import (
    CalibrationPoint,
    Certificate,
    DriveLog,
    Equipment,
    JobFacts,
    LampRecord,
    LogClock,
    Moment,
    OffsetFrom,
    Person,
    Photo,
    Place,
    Qualification,
    Reading,
    Record,
    Scan,
    ScanModule,
    Session,
    Statement,
    TroubleCode,
    Vehicle,
    VoltageLog,
)
from rules.packs.model import PackEdition, Procedure, Proof
from tests.drive_notation import fixes as drive_fixes

DAY = "2026-05-05"
SUMMER_OFFSET = timedelta(hours=-5)
SATELLITE = LogClock(clock="satellite", offset_low_s=0.0, offset_high_s=0.0)
SERVER = LogClock(clock="server", offset_low_s=0.0, offset_high_s=0.0)
RecordT = TypeVar("RecordT", bound=Record)

EASTMARCH = Place(
    code="EM",
    name="Eastmarch",
    tz="America/Chicago",
    lat=43.1,
    lon=-98.2,
    photo_radius_m=250.0,
    offsets=(
        OffsetFrom(at=datetime(2025, 11, 2, 7, tzinfo=UTC), minutes=-360),
        OffsetFrom(at=datetime(2026, 3, 8, 8, tzinfo=UTC), minutes=-300),
        OffsetFrom(at=datetime(2026, 11, 1, 7, tzinfo=UTC), minutes=-360),
    ),
)

SEDGE = Vehicle(
    vin="Z0ASD1F89S2011835",
    make="Orrinvale",
    model="Sedge",
    model_year=2025,
    market="US",
    placard_front_kpa=230.0,
    placard_rear_kpa=220.0,
    wheelbase_mm=2590.0,
    front_track_mm=1510.0,
)

CORRAN = Vehicle(
    vin="Z0ACR4H24T1004217",
    make="Orrinvale",
    model="Corran",
    model_year=2026,
    market="US",
    placard_front_kpa=240.0,
    placard_rear_kpa=240.0,
    wheelbase_mm=2760.0,
    front_track_mm=1580.0,
)


def sha(text: str) -> str:
    """SHA-256 of the text, in hex."""
    return hashlib.sha256(text.encode()).hexdigest()


def at(text: str) -> datetime:
    """Local summer time at Eastmarch, ``hh:mm[:ss]`` of the day or ``yyyy-mm-dd hh:mm[:ss]``, as UTC."""
    full = text if " " in text else f"{DAY} {text}"
    form = "%Y-%m-%d %H:%M:%S" if full.count(":") == 2 else "%Y-%m-%d %H:%M"
    return datetime.strptime(full, form).replace(tzinfo=UTC) - SUMMER_OFFSET


def moment(text: str, clock: str = "server") -> Moment:
    """The exact moment of a local time."""
    return Moment.exact(at(text), clock)


def loose(text: str, half_width_s: float, clock: str = "device:tablet") -> Moment:
    """A device reading whose true time is known to plus or minus ``half_width_s``."""
    reading = at(text)
    half = timedelta(seconds=half_width_s)
    return Moment(low=reading - half, high=reading + half, reading=reading, clock=clock)


def held(id_: str, received: str | datetime) -> dict[str, Any]:
    """The fields that every record has."""
    when = received if isinstance(received, datetime) else at(received)
    return {"id": id_, "sha256": sha(id_), "received_at": when}


def ended(record: RecordT, when: str, how: str = "set_aside") -> RecordT:
    """The same record, no longer counting from then on."""
    return replace(record, ended_at=at(when), ended_how=how)


def photo(id_: str, shows: Iterable[str], when: str, **fields: Any) -> Photo:
    """A sharp, large photo taken at the shop."""
    base: dict[str, Any] = {
        "number": 1,
        "kind": "photo",
        "stage": "calibration",
        "media_type": "image/jpeg",
        "size_bytes": 900_000,
        "by": "itolvaar",
        "captured": moment(when),
        "captured_how": "exif and device offset",
        "shows": tuple(shows),
        "width": 4032,
        "height": 3024,
        "laplacian_variance": 240.0,
        "clipped_share": 0.03,
        "readable": "yes",
        "lat": EASTMARCH.lat,
        "lon": EASTMARCH.lon,
        "accuracy_m": 8.0,
        "has_exif_time": True,
    }
    return Photo(**{**held(id_, when), **base, **fields})


def statement(id_: str, says: Iterable[str], when: str, **fields: Any) -> Statement:
    base: dict[str, Any] = {"says": tuple(says), "at": moment(when), "by": "itolvaar", "text_version": "3"}
    return Statement(**{**held(id_, when), **base, **fields})


def lamps(id_: str, when: str, **states: str) -> LampRecord:
    return LampRecord(**held(id_, when), at=moment(when), by="itolvaar", states=tuple(sorted(states.items())))


def reading(
    id_: str, quantity: str, place: str, value: float, unit: str, when: str, **fields: Any
) -> Reading:
    base: dict[str, Any] = {
        "typed_value": f"{value:g}",
        "typed_unit": unit,
        "at": moment(when),
        "by": "itolvaar",
    }
    return Reading(
        **{
            **held(id_, when),
            **base,
            "quantity": quantity,
            "place": place,
            "value": value,
            "unit": unit,
            **fields,
        }
    )


def session(id_: str, procedure_id: str, start: str, end: str | None, **fields: Any) -> Session:
    base: dict[str, Any] = {
        "procedure_id": procedure_id,
        "attempt": 1,
        "performed_by": "itolvaar",
        "started": moment(start),
        "ended": None if end is None else moment(end),
        "result": "completed",
        "result_text": "Completed",
        "place": EASTMARCH,
        "bay": "EM-B2",
        "device": "SD-011",
        "device_software": "5.2",
    }
    return Session(**{**held(id_, end or start), **base, **fields})


def module(name: str, system: str, *codes: TroubleCode, answered: bool = True) -> ScanModule:
    return ScanModule(name=name, system=system, answered=answered, codes=codes)


def scan(id_: str, stage: str, when: str, modules: Iterable[ScanModule], vin: str, **fields: Any) -> Scan:
    """A scan in which every answering module shows ``vin``."""
    listed = tuple(modules)
    base: dict[str, Any] = {
        "stage": stage,
        "ended": moment(when),
        "modules": listed,
        "vin_per_module": tuple((item.name, vin) for item in listed if item.answered),
        "device": "SD-011",
        "device_software": "5.2",
        "supply_voltage_v": 13.1,
    }
    return Scan(**{**held(id_, when), **base, **fields})


def certificate(tag: str, unit: str, points: Iterable[tuple[float, float]], calibrated: date) -> Certificate:
    """``points`` are (nominal, expanded uncertainty with k = 2), all without error."""
    return Certificate(
        id=f"certificate-{tag}",
        sha256=sha(f"certificate-{tag}"),
        received_at=datetime(calibrated.year, calibrated.month, calibrated.day, 18, tzinfo=UTC),
        number=f"C-{tag}",
        lab_name="Fellgate Metrology Laboratory",
        calibrated_on=calibrated,
        calibrated_at=None,
        points=tuple(
            CalibrationPoint(nominal=nominal, indication=nominal, error=0.0, expanded_u=u, k=2.0, unit=unit)
            for nominal, u in points
        ),
        mpe_statement=None,
        no_as_found=False,
        confirmed=True,
    )


def equipment(tag: str, cls: str, unit: str, *certificates: Certificate, **fields: Any) -> Equipment:
    base: dict[str, Any] = {
        "needs_certificate": bool(certificates),
        "interval_months": 12 if certificates else None,
        "interval_uses": None,
        "in_service_from": date(2024, 1, 8),
        "state": "in_service",
    }
    return Equipment(**{**base, "tag": tag, "cls": cls, "unit": unit, "certificates": certificates, **fields})


def person(login: str, name: str, role: str, *kinds: str) -> Person:
    """A person with qualifications of these kinds, valid 2025-01-01 to 2027-12-31."""
    return Person(
        id=f"person-{login}",
        login=login,
        name=name,
        roles=(role,),
        qualifications=tuple(
            Qualification(
                id=f"qualification-{login}-{kind}",
                sha256=sha(f"qualification-{login}-{kind}"),
                received_at=datetime(2025, 1, 2, tzinfo=UTC),
                kind=kind,
                issuer="Brackwater Training",
                number=f"{login}-{kind}",
                issued_on=date(2025, 1, 1),
                expires_on=date(2027, 12, 31),
                revoked_on=None,
            )
            for kind in kinds
        ),
    )


def voltage_log(
    id_: str, start: str, end: str, volts: float, sessions: Iterable[str], **fields: Any
) -> VoltageLog:
    """A steady log with one sample each 2 s."""
    first, last = at(start).timestamp(), at(end).timestamp()
    count = int((last - first) // 2)
    base: dict[str, Any] = {
        "clock": SERVER,
        "samples": tuple((first + 2 * i, volts) for i in range(count + 1)),
        "events": (),
        "instrument": "VL-009",
        "u": 0.015,
        "sessions": tuple(sessions),
    }
    return VoltageLog(**{**held(id_, end), **base, **fields})


def drive_log(id_: str, start: str, spec: str, sessions: Iterable[str], **fields: Any) -> DriveLog:
    """A drive written ``to V s; hold s; turn deg s; lost s``: one fix a second, from rest, heading north."""
    fixes = drive_fixes(spec, at(start))
    received = datetime.fromtimestamp(fixes[-1].t, tz=UTC)
    base: dict[str, Any] = {"clock": SATELLITE, "fixes": fixes, "sessions": tuple(sessions)}
    return DriveLog(**{**held(id_, received), **base, **fields})


def with_records(facts: JobFacts, **added: Iterable[Record]) -> JobFacts:
    """The facts with records added to the named lists."""
    return replace(facts, **{name: (*getattr(facts, name), *items) for name, items in added.items()})


def check_context(
    facts: JobFacts,
    procedure: Procedure,
    proof: Proof,
    current_session: Session | None,
    gate: str = "23:00",
    **fields: Any,
) -> CheckContext:
    """A context in which ``procedure`` is the only one required, in an edition without triggers."""
    edition = PackEdition(
        pack="test",
        edition=1,
        title="",
        sha256="",
        in_force_from=date(2026, 1, 1),
        makes=("Orrinvale",),
        model_years=None,
        builds_on=(),
        sources=(),
        z=1.645,
        speaks_for=(),
        depends_on={},
        not_needed=(),
        triggers=(),
        procedures=(procedure,),
    )
    current = RequiredProcedure(
        procedure=procedure, edition=edition, sensors=("forward_camera",), session=current_session
    )
    base: dict[str, Any] = {
        "facts": facts,
        "gate_at": at(gate),
        "proof": proof,
        "current": current,
        "required": {procedure.id: current},
        "z": 1.645,
        "outcomes": {},
    }
    return CheckContext(**{**base, **fields})
