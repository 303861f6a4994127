"""A vehicle and a repair order come in; the order opens its job."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction

from jobs.access import Actor
from jobs.errors import Conflict, VersionConflict
from jobs.models import IdentityReading, Job, RepairOrder, Vehicle
from jobs.services import assessment_queue, moments, recording, references, values
from jobs.services.odometer import Odometer, check_odometer
from jobs.services.values import refused
from rules.science import vin

INTAKE_ROLES: Final = (
    "estimator", "technician", "glass_installer", "location_manager", "operations_manager", "integration",
)  # fmt: skip
_LENGTHS: Final = ("wheelbase_mm", "front_track_mm", "placard_front_kpa", "placard_rear_kpa")


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleEntry:
    """A car as typed; lengths in mm and pressures in kPa, as text."""

    id: UUID
    vin: str
    make: str
    model: str
    model_year: int
    market: str
    check_digit_rule: str = "required"
    build_date: str | None = None
    trim: str = ""
    plate: str = ""
    wheelbase_mm: str | None = None
    front_track_mm: str | None = None
    placard_front_kpa: str | None = None
    placard_rear_kpa: str | None = None
    tyre_size_placard: str = ""
    modifications: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleChanges:
    """What may be put right later; None leaves a field as it is.

    The VIN is not among them: another VIN is another car.
    """

    build_date: str | None = None
    trim: str | None = None
    plate: str | None = None
    wheelbase_mm: str | None = None
    front_track_mm: str | None = None
    placard_front_kpa: str | None = None
    placard_rear_kpa: str | None = None
    tyre_size_placard: str | None = None
    modifications: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderEntry:
    """One visit. ``location`` is its code, ``vehicle`` the id of a registered one."""

    id: UUID
    job_id: UUID
    number: str
    location: str
    vehicle: UUID
    opened_at: str
    customer_name: str
    odometer_in: Odometer
    customer_contact: str = ""
    payer: str = ""
    claim_number: str = ""
    device: UUID | None = None


def read_vin(text: str, *, rule: str, field: str = "vin") -> str:
    """The VIN in capitals without blanks.

    Raises:
        Refused: ``vin_length`` (not 17 characters), ``vin_letter`` (I, O, Q or another sign that no VIN has),
            ``vin_check_digit`` (49 CFR 565.15(c), where the market requires it).
    """
    plain = vin.normalise(text)
    if len(plain) != vin.LENGTH:
        raise refused("vin_length", field, f"A VIN has 17 characters; this has {len(plain)}.")
    bad = sorted({sign for sign in plain if vin.character_value(sign) is None})
    if bad:
        raise refused(
            "vin_letter",
            field,
            f"A VIN never contains {', '.join(bad)}. I, O and Q are left out: look for 1 and 0.",
        )
    if rule == "required" and vin.check_vin(plain).state == "mismatch":
        raise refused(
            "vin_check_digit",
            field,
            "The check digit (position 9) does not fit: two characters may be exchanged. "
            "For a market without check digits choose the rule advisory.",
        )
    return plain


@transaction.atomic
def register_vehicle(*, actor: Actor, as_of: datetime, entry: VehicleEntry) -> Vehicle:
    """Puts a vehicle on record. Codes: those of ``read_vin``, bad_choice, bad_date, bad_number, id_in_use."""
    recording.require_role(actor, *INTAKE_ROLES)
    values.read_choice(entry.check_digit_rule, ("required", "advisory"), "check_digit_rule")
    if not 1980 <= entry.model_year <= as_of.year + 2:
        raise refused("bad_number", "model_year", f"model_year lies between 1980 and {as_of.year + 2}.")
    if len(entry.market) != 2 or not (entry.market.isascii() and entry.market.isupper()):
        raise refused("bad_choice", "market", "market is a country in two capitals (ISO 3166-1).")
    vehicle = Vehicle(
        id=entry.id,
        organisation=actor.organisation,
        vin=read_vin(entry.vin, rule=entry.check_digit_rule),
        check_digit_rule=entry.check_digit_rule,
        make=values.read_text(entry.make, "make", longest=60),
        model=values.read_text(entry.model, "model", longest=60),
        model_year=entry.model_year,
        market=entry.market,
        created_at=as_of,
        created_by=actor.person,
    )
    _fill(vehicle, entry)
    return _kept_vehicle(vehicle, actor=actor, as_of=as_of)


def _kept_vehicle(vehicle: Vehicle, *, actor: Actor, as_of: datetime) -> Vehicle:
    vehicle.vin_reversed = vehicle.vin[::-1]
    there = Vehicle.objects.filter(pk=vehicle.pk).first()
    if there is not None:
        same = recording.content_of(there) == recording.content_of(vehicle)
        if there.vin != vehicle.vin or (there.version == 1 and not same):
            raise recording.id_in_use()
        return there
    recording.insert(vehicle)
    recording.log_about(
        actor=actor,
        as_of=as_of,
        what="vehicle.registered",
        target=f"vehicle/{vehicle.pk}",
        detail={"make": vehicle.make, "model": vehicle.model, "sha256": recording.content_hash(vehicle)},
    )
    return vehicle


def _fill(vehicle: Vehicle, entry: VehicleEntry | VehicleChanges) -> None:
    for name in _LENGTHS:
        text = getattr(entry, name)
        if text is not None:
            setattr(vehicle, name, values.read_positive(text, name))
    for name, longest in (("trim", 60), ("plate", 20), ("tyre_size_placard", 40)):
        text = getattr(entry, name)
        if text is not None:
            setattr(vehicle, name, values.read_text(text, name, shortest=0, longest=longest))
    if entry.build_date is not None:
        vehicle.build_date = values.read_day(entry.build_date, "build_date")
    if entry.modifications is not None:
        vehicle.modifications = [
            values.read_text(item, "modifications", longest=200) for item in entry.modifications
        ]


@transaction.atomic
def change_vehicle(
    *, vehicle: Vehicle, actor: Actor, as_of: datetime, version: int, changes: VehicleChanges
) -> Vehicle:
    """Puts right what was typed of a vehicle, and judges its open jobs anew.

    Raises:
        VersionConflict: somebody else changed it since.
        Conflict: ``vehicle_in_use`` once a job of it was released: what a packet rests on is not changed.
    """
    recording.require_role(actor, *INTAKE_ROLES)
    jobs = list(Job.objects.filter(order__vehicle=vehicle).select_for_update())
    if any(job.state in ("released", "delivered", "archived") for job in jobs):
        raise Conflict(
            "vehicle_in_use", "A released job rests on this vehicle's data; they stay as they are."
        )
    before = recording.content_of(vehicle)
    _fill(vehicle, changes)
    after = recording.content_of(vehicle)
    changed = sorted(name for name in after if after[name] != before[name])
    moved = Vehicle.objects.filter(pk=vehicle.pk, version=version).update(
        version=version + 1, **{name: getattr(vehicle, name) for name in changed}
    )
    if moved != 1:
        raise VersionConflict
    vehicle.refresh_from_db()
    recording.log_about(
        actor=actor,
        as_of=as_of,
        what="vehicle.changed",
        target=f"vehicle/{vehicle.pk}",
        detail={"before": {name: before[name] for name in changed}, "fields": changed},
    )
    for job in jobs:
        assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)
    return vehicle


@transaction.atomic
def open_order(*, actor: Actor, as_of: datetime, entry: OrderEntry) -> Job:
    """Opens a repair order and its job, with the typed VIN as the first way of identity.

    Codes: role_missing, unknown_reference (location, vehicle), order_number_taken, id_in_use, and those of
        values.
    """
    recording.require_role(actor, *INTAKE_ROLES)
    order = _order(entry, actor=actor, as_of=as_of)
    there = Job.objects.filter(pk=entry.job_id).select_related("order", "location").first()
    if there is not None:
        if there.order_id != entry.id or there.number != order.number:
            raise recording.id_in_use()
        return there
    if RepairOrder.objects.filter(location=order.location, number=order.number).exists():
        raise Conflict("order_number_taken", f"{order.location.code} has an order {order.number} already.")
    recording.insert(order)
    job = Job(
        id=entry.job_id,
        organisation=actor.organisation,
        order=order,
        location=order.location,
        number=order.number,
        claim_number=order.claim_number,
        vin_reversed=order.vehicle.vin_reversed,
        opened_at=order.opened.reading,
    )
    recording.insert(job)
    _type_identity(job, order, actor=actor, as_of=as_of)
    recording.log(actor=actor, as_of=as_of, what="job.opened", job=job, detail={"order": str(order.pk)})
    assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)
    return job


def _order(entry: OrderEntry, *, actor: Actor, as_of: datetime) -> RepairOrder:
    vehicle = Vehicle.objects.filter(pk=entry.vehicle).first()
    if vehicle is None:
        raise refused("unknown_reference", "vehicle", "vehicle names no vehicle here.")
    device = references.device(actor, entry.device, "device")
    return RepairOrder(
        id=entry.id,
        organisation=actor.organisation,
        number=values.read_text(entry.number, "number", longest=40),
        location=references.location(actor, entry.location, "location"),
        vehicle=vehicle,
        customer_name=values.read_text(entry.customer_name, "customer_name", longest=120),
        customer_contact=values.read_text(
            entry.customer_contact, "customer_contact", shortest=0, longest=200
        ),
        payer=values.read_text(entry.payer, "payer", shortest=0, longest=120),
        claim_number=values.read_text(entry.claim_number, "claim_number", shortest=0, longest=60),
        opened=moments.read_moment(entry.opened_at, field="opened_at", device=device, as_of=as_of),
        odometer_in=check_odometer(entry.odometer_in, "odometer_in").as_json(),
        received_at=as_of,
        created_by=actor.person,
    )


def _type_identity(job: Job, order: RepairOrder, *, actor: Actor, as_of: datetime) -> None:
    reading = IdentityReading(
        job=job, way="typed", vin_read=order.vehicle.vin, at=order.opened, read_by=actor.person
    )
    recording.stamp(reading, actor=actor, as_of=as_of)
    recording.insert(reading)
