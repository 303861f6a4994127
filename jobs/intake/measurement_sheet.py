"""Measurement sheets and film readings in JSON: raw readings as typed, instrument and time of each."""

from typing import BinaryIO, Final

from jobs.intake.decoded import SheetFacts, SheetReading
from jobs.intake.fields import Fields, wrong
from jobs.intake.log_text import read_number
from jobs.intake.strict_json import parse_strict
from rules.quantities import QuantityError, to_program_unit
from rules.vocabulary import QUANTITY_UNITS

MOST_READINGS: Final = 2000
# Points per zone below which a film reading shows too little (project default).
FILM_POINTS: Final = 5
_READING_FIELDS: Final = (
    "quantity",
    "place",
    "value",
    "unit",
    "instrument",
    "at",
    "by",
    "set_no",
    "procedure_id",
    "session",
)


def read_measurement_sheet(data: bytes, _: BinaryIO | None) -> tuple[SheetFacts, list[str]]:
    """``{"readings": [...]}``; see :class:`jobs.intake.decoded.SheetReading`.

    Raises:
        Refused: strict JSON codes, ``field_missing``, ``field_type``, ``field_value``, ``field_unknown``,
            ``number_format``, ``unit_mismatch`` (a unit that does not measure the quantity).
    """
    sheet = Fields(parse_strict(data, max_bytes=len(data)), "", ("readings",))
    readings = [
        _reading(item, f"readings.{place}")
        for place, item in enumerate(sheet.entries("readings", MOST_READINGS, least=1))
    ]
    return {"readings": readings}, []


def read_film_build(data: bytes, _: BinaryIO | None) -> tuple[SheetFacts, list[str]]:
    """A sheet of film readings only; fewer than five points in a zone is noted, not refused."""
    facts, notes = read_measurement_sheet(data, None)
    points: dict[str, int] = {}
    for reading in facts["readings"]:
        if reading["quantity"] != "film_build":
            raise wrong("field_value", "readings", "a film sheet holds film_build readings only")
        points[reading["place"]] = points.get(reading["place"], 0) + 1
    few = any(count < FILM_POINTS for count in points.values())
    return facts, [*notes, "few_film_points"] if few else notes


def _reading(value: object, path: str) -> SheetReading:
    reading = Fields(value, path, _READING_FIELDS)
    quantity = reading.choice("quantity", QUANTITY_UNITS)
    instrument = reading.text("instrument", longest=40)
    return {
        "quantity": quantity,
        "place": reading.text("place", longest=60),
        "value": _typed_number(reading),
        "unit": _unit(reading, quantity),
        "instrument": None if instrument == "none" else instrument,
        "at": reading.instant("at"),
        "by": reading.text("by", longest=60),
        "set_no": reading.whole("set_no", 1, 1000) if reading.has("set_no") else 1,
        "procedure_id": reading.optional_text("procedure_id", longest=60),
        "session": reading.optional_text("session", longest=60),
    }


def _typed_number(reading: Fields) -> str:
    """The number as typed: sheets carry it as a text, because 240 and 240.0 say different things."""
    text = reading.text("value", longest=40)
    if read_number(text) is None:
        raise wrong(
            "number_format", reading.at("value"), f"{text!r} is not a number written with a decimal point"
        )
    return text


def _unit(reading: Fields, quantity: str) -> str:
    unit = reading.text("unit", longest=20)
    try:
        _, program_unit = to_program_unit(1.0, unit)
    except QuantityError:
        program_unit = ""
    if program_unit != QUANTITY_UNITS[quantity]:
        raise wrong("unit_mismatch", reading.at("unit"), f"{unit!r} does not measure {quantity}")
    return unit
