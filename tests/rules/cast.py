"""Jobs of the invented world as facts, for tests of the rules; every helper gives live records."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from rules.facts import (
    Closing,
    EstimateLine,
    FittedWay,
    JobFacts,
    Moment,
    OffsetFrom,
    OperationDone,
    Place,
    Scan,
    ScanModule,
    TroubleCode,
    Vehicle,
)
from rules.packs.model import PackEdition
from rules.packs.reader import read_pack
from rules.vocabulary import SENSORS

OPENED = datetime(2026, 5, 5, 13, 0, tzinfo=UTC)
EASTMARCH = Place(
    code="EM",
    name="Eastmarch",
    tz="America/Chicago",
    lat=43.1,
    lon=-98.2,
    photo_radius_m=250.0,
    offsets=(OffsetFrom(at=datetime(2026, 3, 8, 8, 0, tzinfo=UTC), minutes=-300),),
)
VINS = {
    ("Orrinvale", "Corran"): ("Z0ACR4H24T1004217", 2026),
    ("Orrinvale", "Sedge"): ("Z0ASD1F89S2011835", 2025),
    ("Orrinvale", "Marrick"): ("Z0AMK7N31T3000962", 2026),
    ("Orrinvale", "Hebble"): ("Z0AHB2K50T1009934", 2026),
    ("Kestmoor", "Dray"): ("Z0KDR5B69R0045510", 2024),
    ("Kestmoor", "Linnet"): ("Z0KLN2C96S4120077", 2025),
}
OTHER_VIN = "Z0TVK3E13T0007741"


def at(minutes: float) -> datetime:
    return OPENED + timedelta(minutes=minutes)


@cache
def pack(name: str, edition: int) -> PackEdition:
    path = Path(__file__).parents[2] / "fixtures" / "packs" / f"{name}.{edition}.yaml"
    return read_pack(path.read_bytes(), name=path.name)


def packs(orrinvale: int = 7) -> tuple[PackEdition, ...]:
    return pack("common-practice", 3), pack("orrinvale", orrinvale)


def way(sensor: str, state: str, how: str, minutes: float = 0) -> FittedWay:
    return FittedWay(
        id=f"way-{sensor}-{how}-{state}",
        sha256="",
        received_at=at(minutes),
        sensor=sensor,
        state=state,
        way=how,
        at=Moment.exact(at(minutes)),
    )


def fitted(*sensors: str, unknown: tuple[str, ...] = ()) -> tuple[FittedWay, ...]:
    """Two ways for every sensor: yes for those named, no for the rest, none for the unknown ones."""
    return tuple(
        way(sensor, "yes" if sensor in sensors else "no", how)
        for sensor in SENSORS
        if sensor not in unknown
        for how in ("build_data", "sight")
    )


def operation(name: str, minutes: float = 10, detail: str | None = None) -> OperationDone:
    return OperationDone(
        id=f"op-{name}-{minutes}",
        sha256="",
        received_at=at(minutes),
        operation=name,
        by="itolvaar",
        done=Moment.exact(at(minutes)),
        zone_detail=detail,
    )


def line(number: int, *operations: str, nothing: bool = False, minutes: float = 5) -> EstimateLine:
    return EstimateLine(
        id=f"line-{number}",
        sha256="",
        received_at=at(minutes),
        line_no=number,
        text="R&I",
        operations=operations,
        touches_nothing=nothing,
    )


def closing(minutes: float = 60) -> Closing:
    return Closing(
        id=f"closing-{minutes}",
        sha256="",
        received_at=at(minutes),
        at=Moment.exact(at(minutes)),
        by="itolvaar",
    )


def scan(
    stage: str = "before_repair",
    minutes: float = 2,
    codes: tuple[tuple[str, str, str | None], ...] = (),
    vin: str | None = None,
    answering: tuple[str, ...] = (),
) -> Scan:
    """``codes`` are (system, code, failure type); ``answering`` systems answer without a code."""
    systems = dict.fromkeys([*(system for system, _code, _ftb in codes), *answering])
    modules = tuple(
        ScanModule(
            name=system,
            system=system,
            answered=True,
            codes=tuple(
                TroubleCode(code=code, ftb=ftb, state="stored") for of, code, ftb in codes if of == system
            ),
        )
        for system in systems
    )
    return Scan(
        id=f"scan-{stage}-{minutes}",
        sha256="",
        received_at=at(minutes),
        stage=stage,
        ended=Moment.exact(at(minutes)),
        modules=modules,
        vin_per_module=(("body", vin),) if vin else (),
    )


def ended(record: Any, how: str = "withdrawn") -> Any:
    return replace(record, ended_at=record.received_at + timedelta(minutes=1), ended_how=how)


def job(make: str = "Orrinvale", model: str = "Corran", **facts: Any) -> JobFacts:
    """A job with nothing recorded but what is given."""
    vin, year = VINS[make, model]
    base = JobFacts(
        job_id="job-1",
        order_number="EM-2026-0417",
        organisation="Brackwater Repair Group",
        refusal_allowed=True,
        place=EASTMARCH,
        opened=Moment.exact(OPENED),
        vehicle=Vehicle(vin=vin, make=make, model=model, model_year=year, market="US"),
    )
    return replace(base, **facts)


CORRAN_SENSORS = (
    "forward_camera",
    "front_radar",
    "rear_corner_radar",
    "surround_cameras",
    "parking_sensors",
    "steering_angle_sensor",
)


def corran(*operations: str, closed: Any = True, **facts: Any) -> JobFacts:
    """A Corran with everything established, a clean scan before the repair, and the given operations done."""
    given: dict[str, Any] = {
        "fitted_ways": fitted(*CORRAN_SENSORS),
        "operations": tuple(operation(name) for name in operations),
        "closings": (closing(),) if closed else (),
        "scans": (scan(),),
    }
    return job(**(given | facts))
