"""Reading a group's ways of measuring from a text, for an author who lints without the group's record."""

from typing import Final

from rules.packs.errors import FaultList, PackError
from rules.packs.methods import GroupMethods, Instrument, Method, PlaceMethods, VehicleSize
from rules.packs.reader import read_mapping
from rules.packs.tree import Section
from rules.quantities import QuantityError, parse_quantity
from rules.vocabulary import QUANTITY_UNITS

INSTRUMENTS: Final = (
    "tape",
    "rule",
    "laser_distance",
    "target_stand",
    "angle_gauge",
    "tyre_gauge",
    "voltage_logger",
    "alignment_rack",
    "film_gauge",
    "light_meter",
    "climate_logger",
    "level",
    "scan_device",
)
_LARGEST_SHARE: Final = 1.0


def read_methods(data: bytes, *, name: str = "methods") -> GroupMethods:
    """The methods of a group: ``group``, ``methods``, ``places``, and perhaps ``vehicles``.

    Raises:
        PackError: with every fault found, as for a pack.
    """
    faults = FaultList()
    text = Section(read_mapping(data, faults, name=name), faults, "methods")
    text.only("group", "methods", "places", "vehicles")
    found = GroupMethods(
        name=text.text("group"),
        methods=tuple(_method(one) for one in text.sections("methods")),
        places=tuple(_place(one) for one in text.sections("places")),
        vehicles=tuple(_vehicle(one) for one in text.sections("vehicles", required=False)),
    )
    if faults.found:
        raise PackError(name, faults.shown_with(data.decode("utf-8", errors="replace")))
    return found


def _method(section: Section) -> Method:
    section.only("quantity", "instrument", "u", "u_share")
    quantity = section.choice("quantity", tuple(QUANTITY_UNITS))
    unit = QUANTITY_UNITS.get(quantity, "")
    return Method(
        quantity=quantity,
        instrument=section.choice("instrument", INSTRUMENTS, ""),
        u_fixed=_amount(section, "u", unit),
        u_relative=section.number("u_share", 0.0, _LARGEST_SHARE) if section.has("u_share") else 0.0,
    )


def _place(section: Section) -> PlaceMethods:
    section.only("code", "name", "instruments")
    return PlaceMethods(
        code=section.text("code"),
        name=section.text("name"),
        instruments=tuple(_instrument(one) for one in section.sections("instruments", required=False)),
    )


def _instrument(section: Section) -> Instrument:
    section.only("tag", "instrument", "certified_for")
    return Instrument(
        tag=section.text("tag"),
        kind=section.choice("instrument", INSTRUMENTS),
        certified_for=frozenset(section.words("certified_for", tuple(QUANTITY_UNITS), required=False)),
    )


def _vehicle(section: Section) -> VehicleSize:
    section.only("model", "wheelbase", "track")
    return VehicleSize(
        model=section.text("model"),
        wheelbase_mm=_amount(section, "wheelbase", "mm"),
        track_mm=_amount(section, "track", "mm"),
    )


def _amount(section: Section, key: str, unit: str) -> float:
    """A quantity in ``unit``, not negative."""
    text = section.text(key)
    if not text.strip():
        return 0.0
    try:
        value, found = parse_quantity(text)
    except QuantityError as error:
        section.fault(key, error.code, str(error))
        return 0.0
    if unit and found != unit:
        section.fault(key, "unit_does_not_fit", f'"{key}" is given in {unit}, "{text}" is not')
    elif value < 0:
        section.fault(key, "out_of_range", f'"{key}" cannot be negative', expected="zero or more")
    return value
