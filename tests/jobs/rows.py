"""Plain rows of the invented world for tests of the record itself, made without any service."""

import uuid
from datetime import UTC, date, datetime
from typing import Any

from jobs.models import (
    Device,
    Equipment,
    Evidence,
    Job,
    Location,
    Organisation,
    Packet,
    Person,
    Reading,
    RecordedMoment,
    RepairOrder,
    Scan,
    SignOff,
    Vehicle,
)

NOON = datetime(2026, 5, 12, 17, 0, tzinfo=UTC)
CORRAN_VIN = "Z0ACR4H24T1004217"


def organisation(name: str = "Brackwater Repair Group", **fields: Any) -> Organisation:
    values = {"kind": "repair_group", "default_tz": "America/Chicago", "created_at": NOON} | fields
    return Organisation.objects.create(name=name, **values)


def location(owner: Organisation, code: str = "EM", **fields: Any) -> Location:
    values = {
        "name": "Eastmarch", "lat": 43.1, "lon": -98.2, "tz": "America/Chicago",
        "active_from": date(2020, 1, 1),
    } | fields  # fmt: skip
    return Location.objects.create(organisation=owner, code=code, **values)


def person(
    owner: Organisation, login: str = "itolvaar", *at: Location, roles: tuple[str, ...] = ("technician",)
) -> Person:
    made = Person.objects.create_person(
        login=login, organisation=owner, name=login.title(), roles=list(roles)
    )
    made.locations.set(at)
    return made


def job(at: Location, by: Person, number: str = "EM-2026-0417", **fields: Any) -> Job:
    owner = at.organisation
    car = Vehicle.objects.create(
        organisation=owner, vin=CORRAN_VIN, make="Orrinvale", model="Corran", model_year=2026, market="US",
        created_at=NOON, created_by=by,
    )  # fmt: skip
    order = RepairOrder.objects.create(
        organisation=owner, number=number, location=at, vehicle=car, customer_name="R. Ashgrove",
        opened=RecordedMoment.exact(NOON), odometer_in={"value": "18204", "unit": "mi", "resolution": "1"},
        received_at=NOON, created_by=by,
    )  # fmt: skip
    values = {"opened_at": NOON} | fields
    return Job.objects.create(
        organisation=owner, order=order, location=at, number=number, vin_reversed=car.vin_reversed, **values
    )


def job_beside(first: Job, by: Person, number: str = "EM-2026-0418") -> Job:
    """Another order of the same car."""
    order = RepairOrder.objects.create(
        organisation=first.organisation, number=number, location=first.location, vehicle=first.order.vehicle,
        customer_name="P. Larkhill", opened=RecordedMoment.exact(NOON), odometer_in={}, received_at=NOON,
        created_by=by,
    )  # fmt: skip
    return Job.objects.create(
        organisation=first.organisation, order=order, location=first.location, number=number,
        vin_reversed=first.vin_reversed, opened_at=NOON,
    )  # fmt: skip


def evidence(of: Job, by: Person, number: int = 1, **fields: Any) -> Evidence:
    values = {
        "kind": "photo", "stage": "intake", "sha256": f"{number:064x}", "size_bytes": 200_000,
        "media_type": "image/jpeg", "captured_how": "device", "captured": RecordedMoment.exact(NOON),
    } | fields  # fmt: skip
    return Evidence.objects.create(
        organisation=of.organisation, job=of, number=number, captured_by=by, received_at=NOON, created_by=by,
        content_sha256="0" * 64, **values,
    )  # fmt: skip


def reading(of: Job, by: Person, **fields: Any) -> Reading:
    values = {
        "quantity": "tyre_pressure", "place": "front_left", "typed_value": "35", "typed_unit": "psi",
        "value": 241.316495, "unit": "kPa",
    } | fields  # fmt: skip
    return Reading.objects.create(
        organisation=of.organisation, job=of, at=RecordedMoment.exact(NOON), read_by=by, created_by=by,
        received_at=NOON, content_sha256="1" * 64, **values,
    )  # fmt: skip


def scan(of: Job, by: Person) -> Scan:
    return Scan.objects.create(
        organisation=of.organisation, job=of, stage="before_repair", ended=RecordedMoment.exact(NOON),
        modules=[], scanned_by=by, created_by=by, received_at=NOON, content_sha256="2" * 64,
    )  # fmt: skip


def sign_off(of: Job, by: Person) -> SignOff:
    return SignOff.objects.create(
        organisation=of.organisation, job=of, role="technician", person=by, covers=["0" * 64],
        covers_root="3" * 64, statement_version="1", reauthenticated=True, at=RecordedMoment.exact(NOON),
        created_by=by, received_at=NOON, content_sha256="3" * 64,
    )  # fmt: skip


def packet(of: Job, by: Person, number: int = 1, **fields: Any) -> Packet:
    values = {"kind": "full", "as_of": NOON, "salt_key": b"k" * 32} | fields
    return Packet.objects.create(
        organisation=of.organisation, job=of, number=number, serial=f"{of.number}/P{number}",
        requested_at=NOON, requested_by=by, **values,
    )  # fmt: skip


def tape(owner: Organisation, tag: str = "TM-014", **fields: Any) -> Equipment:
    values = {"cls": "tape", "unit": "mm", "in_service_from": date(2024, 1, 1), "interval_months": 6} | fields
    return Equipment.objects.create(organisation=owner, tag=tag, **values)


def device(owner: Organisation, **fields: Any) -> Device:
    return Device.objects.create(organisation=owner, name="bay tablet", enrolled_at=NOON, **fields)


def other_id() -> uuid.UUID:
    return uuid.uuid4()
