"""Measurement sheets, film sheets, statements and signatures in JSON."""

import json
from typing import Any

import pytest

from jobs.errors import Refused
from jobs.intake.measurement_sheet import read_film_build, read_measurement_sheet
from jobs.intake.statement import read_signature, read_statement

AT = "2026-05-05T10:20:00-05:00"
DIGESTS = sorted(["ab" * 32, "0f" * 32])


def reading(**change: Any) -> dict[str, Any]:
    return {
        "quantity": "tyre_pressure",
        "place": "front_left",
        "value": "231",
        "unit": "kPa",
        "instrument": "PG-022",
        "at": AT,
        "by": "itolvaar",
    } | change


def refusal_of(reader: Any, value: object) -> tuple[str, str]:
    with pytest.raises(Refused) as refusal:
        reader(json.dumps(value).encode(), None)
    return refusal.value.code, str(refusal.value.extra.get("field"))


def test_reading_is_kept_as_typed() -> None:
    data = json.dumps(
        {"readings": [reading(value="231.0", unit="psi", instrument="none", set_no=2)]}
    ).encode()
    facts, notes = read_measurement_sheet(data, None)
    assert facts["readings"] == [
        {
            "quantity": "tyre_pressure",
            "place": "front_left",
            "value": "231.0",
            "unit": "psi",
            "instrument": None,
            "at": AT,
            "by": "itolvaar",
            "set_no": 2,
            "procedure_id": None,
            "session": None,
        }
    ]
    assert notes == []


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"value": 231}, "field_type"),
        ({"value": "231,5"}, "number_format"),
        ({"value": "1e400"}, "number_format"),
        ({"value": "٢٣١"}, "number_format"),
        ({"value": "--5"}, "number_format"),
        ({"value": "NaN"}, "number_format"),
        ({"unit": "deg"}, "unit_mismatch"),
        ({"unit": "furlong"}, "unit_mismatch"),
        ({"unit": ""}, "field_value"),
        ({"quantity": "learned_yaw", "unit": "mm"}, "unit_mismatch"),
        ({"quantity": "temp", "unit": "kPa"}, "unit_mismatch"),
        ({"quantity": "happiness"}, "field_value"),
        ({"at": "10:20"}, "field_value"),
        ({"set_no": 0}, "field_value"),
        ({"set_no": True}, "field_type"),
        ({"instrument": None}, "field_missing"),
        ({"place": "a\u0085b"}, "field_value"),
        ({"note": "x"}, "field_unknown"),
    ],
)
def test_reading_refusals(change: dict[str, Any], code: str) -> None:
    assert refusal_of(read_measurement_sheet, {"readings": [reading(**change)]})[0] == code


@pytest.mark.parametrize("value", [{}, {"readings": []}, {"readings": [1]}, {"readings": "x"}, []])
def test_sheet_without_readings(value: object) -> None:
    assert refusal_of(read_measurement_sheet, value)[0] in ("field_missing", "field_value", "field_type")


@pytest.mark.parametrize(("points", "notes"), [(4, ["few_film_points"]), (5, [])])
def test_film_points(points: int, notes: list[str]) -> None:
    film = reading(quantity="film_build", place="radar_zone", value="118", unit="um", instrument="FB-004")
    _, found = read_film_build(json.dumps({"readings": [film] * points}).encode(), None)
    assert found == notes


def test_film_sheet_holds_film_only() -> None:
    assert refusal_of(read_film_build, {"readings": [reading()]})[0] == "field_value"


STATEMENT = {
    "says": ["dry_road", "lane_lines_both_sides"],
    "text_version": "road-1",
    "by": "itolvaar",
    "at": AT,
}
SIGNATURE = {
    "person": "itolvaar",
    "role": "technician",
    "covers": DIGESTS,
    "text_version": "1",
    "at": AT,
    "method": "pin",
}


def test_statement_and_signature() -> None:
    assert read_statement(json.dumps(STATEMENT).encode(), None) == (STATEMENT, [])
    assert read_signature(json.dumps(SIGNATURE).encode(), None) == (SIGNATURE, [])


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"says": []}, "field_value"),
        ({"says": ["dry_road", "dry_road"]}, "field_value"),
        ({"says": ["Dry road"]}, "field_value"),
        ({"says": [5]}, "field_type"),
        ({"says": "dry_road"}, "field_type"),
        ({"at": "2026-05-05"}, "field_value"),
        ({"by": ""}, "field_value"),
        ({"by": "n" * 121}, "field_value"),
        ({"text_version": None}, "field_missing"),
        ({"extra": 1}, "field_unknown"),
    ],
)
def test_statement_refusals(change: dict[str, Any], code: str) -> None:
    assert refusal_of(read_statement, STATEMENT | change)[0] == code


@pytest.mark.parametrize(
    "covers",
    [[], DIGESTS[::-1], [DIGESTS[0]] * 2, ["AB" * 32], ["ab" * 31], [None], "ab" * 32],
)
def test_signature_covers(covers: object) -> None:
    assert refusal_of(read_signature, SIGNATURE | {"covers": covers})[0] in (
        "field_value",
        "field_type",
        "field_missing",
    )


def test_signature_role() -> None:
    assert refusal_of(read_signature, SIGNATURE | {"role": "owner"})[0] == "field_value"
