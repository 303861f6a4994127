"""Readings: as typed with their unit, converted beside it, with the uncertainty of the method that
took them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction

from jobs.access import Actor
from jobs.facts.uncertainty import VEHICLE_SHOWN, Budgets, Typed
from jobs.models import Equipment, Job, Reading
from jobs.services import equipment_use, moments, recording, references, values
from jobs.services.values import refused
from rules import quantities
from rules.quantities import QuantityError
from rules.vocabulary import QUANTITY_UNITS

MOST_READINGS: Final = 200
# Below this a temperature in degC cannot be (absolute zero); other quantities have no lower bound of their
# own.
LOWEST_DEG_C: Final = -273.15
NEVER_NEGATIVE: Final = frozenset(
    {
        "tyre_pressure", "arch_height", "target_distance", "datum_separation_front", "datum_separation_rear",
        "datum_front_to_rear", "bar_length", "target_height", "film_build", "light_level", "odometer",
        "supply_voltage", "rh", "parking_reading", "glass_bead_height",
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingEntry:
    """One value as typed. ``resolution`` (odometers) and ``value`` are text in ``unit``; ``instrument`` is a
    tag, ``bay`` a code: where light was read counts for that bay only."""

    id: UUID
    quantity: str
    value: str
    unit: str
    at: str
    place: str = ""
    device: UUID | None = None
    instrument: str = ""
    session: UUID | None = None
    procedure_id: str = ""
    set_no: int = 1
    resolution: str = ""
    bay: str = ""
    evidence: tuple[UUID, ...] = ()


@transaction.atomic
def record_readings(
    *, job: Job, actor: Actor, as_of: datetime, entries: Sequence[ReadingEntry]
) -> tuple[Reading, ...]:
    """Keeps readings, all or none, under one log entry.

    Codes: list_empty, too_many, bad_choice (quantity), bad_number, unit_unknown, unit_mismatch, out_of_range,
    unknown_reference, and those of moments; ``field`` names the place in the list.
    """
    recording.require_role(actor, *recording.FLOOR_ROLES)
    if not entries:
        raise refused("list_empty", "readings", "There are no readings.")
    if len(entries) > MOST_READINGS:
        raise refused("too_many", "readings", f"More than {MOST_READINGS} readings at once.")
    budgets = Budgets.on_file(as_of.date())
    prefixes = [f"readings[{place}]." if len(entries) > 1 else "" for place in range(len(entries))]
    readings = [
        _reading(entry, prefix, job=job, actor=actor, as_of=as_of, budgets=budgets)
        for entry, prefix in zip(entries, prefixes, strict=True)
    ]
    kept = recording.keep_all(readings, job=job, actor=actor, as_of=as_of, what="readings.recorded")
    for reading in kept:
        equipment_use.note_uses(
            job=job,
            session=reading.session,
            kind="reading",
            uses=[(reading.instrument, reading.pk, reading.at.reading)],
        )
    return kept


def _reading(
    entry: ReadingEntry, prefix: str, *, job: Job, actor: Actor, as_of: datetime, budgets: Budgets
) -> Reading:
    device = references.device(actor, entry.device, f"{prefix}device")
    instrument = references.instrument(entry.instrument, f"{prefix}instrument")
    typed = read_typed(entry, prefix)
    instrument_class = instrument.cls if instrument is not None else ""
    u, u_from = budgets.of(entry.quantity, instrument_class, typed)
    if not 1 <= entry.set_no <= 100:
        raise refused("bad_number", f"{prefix}set_no", "set_no counts from 1.")
    return Reading(
        id=entry.id,
        session=references.session(job, entry.session, f"{prefix}session"),
        procedure_id=values.read_text(entry.procedure_id, f"{prefix}procedure_id", shortest=0, longest=80),
        quantity=entry.quantity,
        place=values.read_text(entry.place, f"{prefix}place", shortest=0, longest=60),
        typed_value=entry.value,
        typed_unit=entry.unit,
        value=typed.value,
        unit=QUANTITY_UNITS[entry.quantity],
        u=u,
        u_from=u_from,
        u_common=budgets.common(entry.quantity, instrument_class),
        resolution=typed.resolution,
        instrument=instrument,
        vehicle_shown=is_vehicle_shown(entry.quantity, instrument),
        bay=references.bay(entry.bay, f"{prefix}bay"),
        set_no=entry.set_no,
        at=moments.read_moment(entry.at, field=f"{prefix}at", device=device, as_of=as_of),
        read_by=actor.person,
        device=device,
        evidence=references.evidence(job, entry.evidence, f"{prefix}evidence"),
    )


def is_vehicle_shown(quantity: str, instrument: Equipment | None) -> bool:
    """Whether the vehicle or the scan device itself displays this quantity."""
    return quantity in VEHICLE_SHOWN and (instrument is None or instrument.cls == "scan_device")


def read_typed(entry: ReadingEntry, prefix: str = "") -> Typed:
    """The typed value and the step of its last digit in the quantity's own unit.

    Raises:
        Refused: ``bad_choice``, ``bad_number``, ``unit_unknown``, ``unit_mismatch``, ``out_of_range``.
    """
    values.read_choice(entry.quantity, QUANTITY_UNITS, f"{prefix}quantity")
    value, step = values.read_number(entry.value, f"{prefix}value")
    if entry.resolution:
        stated = values.read_positive(entry.resolution, f"{prefix}resolution")
        # An odometer states its display's step; of other values nobody states a finer one than was typed.
        step = stated if entry.quantity == "odometer" else max(step, stated)
    try:
        typed = _converted(entry, value, step)
    except QuantityError as error:
        raise refused(error.code, f"{prefix}unit", str(error)) from error
    if typed is None:
        wanted = QUANTITY_UNITS[entry.quantity]
        raise refused("unit_mismatch", f"{prefix}unit", f"{entry.quantity} is not measured in {entry.unit}; "
                      f"it is kept in {wanted}.")  # fmt: skip
    _check_range(entry.quantity, typed.value, f"{prefix}value")
    return typed


def _converted(entry: ReadingEntry, value: float, step: float) -> Typed | None:
    if entry.quantity == "odometer":
        return Typed(
            value=quantities.odometer_km(value, entry.unit),
            resolution=quantities.odometer_km(step, entry.unit),
        )
    converted, unit = quantities.to_program_unit(value, entry.unit)
    resolution, _ = quantities.difference_to_program_unit(step, entry.unit)
    if unit != QUANTITY_UNITS[entry.quantity]:
        return None
    return Typed(value=converted, resolution=resolution)


def _check_range(quantity: str, value: float, field: str) -> None:
    if quantity in NEVER_NEGATIVE and value < 0:
        raise refused("out_of_range", field, f"{quantity} cannot be negative.")
    if quantity == "rh" and value > 100:
        raise refused("out_of_range", field, "Relative humidity is at most 100 percent.")
    if QUANTITY_UNITS[quantity] == "degC" and value < LOWEST_DEG_C:
        raise refused("out_of_range", field, "No temperature is below -273.15 degC.")
