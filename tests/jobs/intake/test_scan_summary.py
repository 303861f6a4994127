"""Scan summaries: the complete form comes out, and each field is refused by code and place."""

import json
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from jobs.demo import evidence
from jobs.errors import Refused
from jobs.intake.scan_summary import read_scan_summary, validate_scan


def module(**change: Any) -> dict[str, Any]:
    return {"name": "Forward Camera", "system": "forward_camera", "answered": True, "codes": []} | change


def scan(**change: Any) -> dict[str, Any]:
    return {"device_serial": "PW-7711", "modules": [module()]} | change


def refusal_of(data: object) -> tuple[str, str]:
    with pytest.raises(Refused) as refusal:
        validate_scan(data)
    return refusal.value.code, str(refusal.value.extra.get("field"))


def test_least_form_is_completed() -> None:
    assert validate_scan(scan()) == {
        "job": None,
        "stage": None,
        "device_serial": "PW-7711",
        "device_software": None,
        "database_version": None,
        "device_clock": None,
        "ended_at": None,
        "cleared": [],
        "vin_per_module": {},
        "odometer": None,
        "supply_voltage_v": None,
        "source_sha256": None,
        "modules": [
            {
                "name": "Forward Camera",
                "system": "forward_camera",
                "address": None,
                "answered": True,
                "part_no": None,
                "hardware_no": None,
                "software_no": None,
                "replaced_used_part": False,
                "codes": [],
            }
        ],
    }


@pytest.mark.parametrize(
    ("written", "ftb", "expected"),
    [
        ("C1A4554", None, ("C1A45", "54")),
        ("C1A45:54", None, ("C1A45", "54")),
        ("c1a45-54", None, ("C1A45", "54")),
        ("C1A45", "54", ("C1A45", "54")),
        ("c1a45", "5f", ("C1A45", "5F")),
        ("U0100", None, ("U0100", None)),
    ],
)
def test_codes_have_one_spelling(written: str, ftb: str | None, expected: tuple[str, str | None]) -> None:
    found = validate_scan(scan(modules=[module(codes=[{"code": written, "ftb": ftb, "state": "stored"}])]))
    code = found["modules"][0]["codes"][0]
    assert (code["code"], code["ftb"]) == expected
    assert (code["text"], code["count"], code["first_seen_km"]) == ("", None, None)


@pytest.mark.parametrize("code", ["X1A45", "C4A45", "C1A4", "C1A45-5", "C1A45-5G", "Ｃ1A45", ""])
def test_no_codes(code: str) -> None:
    refused, _ = refusal_of(scan(modules=[module(codes=[{"code": code, "state": "stored"}])]))
    assert refused in ("code_format", "field_value")


def test_two_failure_types_that_differ() -> None:
    codes = [{"code": "C1A45-54", "ftb": "55", "state": "stored"}]
    assert refusal_of(scan(modules=[module(codes=codes)])) == ("code_format", "modules.0.codes.0.code")


@pytest.mark.parametrize(
    ("change", "code", "field"),
    [
        ({"modules": []}, "field_value", "modules"),
        ({"modules": None}, "field_missing", "modules"),
        ({"modules": {}}, "field_type", "modules"),
        ({"modules": [module()] * 301}, "field_value", "modules"),
        ({"modules": ["Forward Camera"]}, "field_type", "modules.0"),
        ({"modules": [module(), module()]}, "duplicate_module", "modules.1.name"),
        ({"modules": [module(answered=None)]}, "field_missing", "modules.0.answered"),
        ({"modules": [module(answered=1)]}, "field_type", "modules.0.answered"),
        ({"modules": [module(answered="yes")]}, "field_type", "modules.0.answered"),
        ({"modules": [module(system="engine")]}, "field_value", "modules.0.system"),
        ({"modules": [module(name=" ")]}, "field_value", "modules.0.name"),
        ({"modules": [module(name="a\nb")]}, "field_value", "modules.0.name"),
        ({"modules": [module(name="\x1b[2J")]}, "field_value", "modules.0.name"),
        ({"modules": [module(name="n" * 121)]}, "field_value", "modules.0.name"),
        ({"modules": [module(colour="red")]}, "field_unknown", "modules.0.colour"),
        ({"modules": [module(codes=[{"code": "C1A45"}])]}, "field_missing", "modules.0.codes.0.state"),
        (
            {"modules": [module(codes=[{"code": "C1A45", "state": "gone"}])]},
            "field_value",
            "modules.0.codes.0.state",
        ),
        (
            {"modules": [module(codes=[{"code": "C1A45", "state": "stored", "count": -1}])]},
            "field_value",
            "modules.0.codes.0.count",
        ),
        (
            {"modules": [module(codes=[{"code": "C1A45", "state": "stored", "count": 1.5}])]},
            "field_type",
            "modules.0.codes.0.count",
        ),
        (
            {"modules": [module(answered=False, codes=[{"code": "C1A45", "state": "stored"}])]},
            "module_not_answered",
            "modules.0",
        ),
        ({"device_serial": None}, "field_missing", "device_serial"),
        ({"device_serial": 7711}, "field_type", "device_serial"),
        ({"stage": "sometime"}, "field_value", "stage"),
        ({"ended_at": "2026-05-05T11:04:00"}, "field_value", "ended_at"),
        ({"device_clock": "11:04"}, "field_value", "device_clock"),
        ({"supply_voltage_v": float("nan")}, "field_type", "supply_voltage_v"),
        ({"supply_voltage_v": float("inf")}, "field_type", "supply_voltage_v"),
        ({"supply_voltage_v": "13,4"}, "field_type", "supply_voltage_v"),
        ({"supply_voltage_v": True}, "field_type", "supply_voltage_v"),
        ({"supply_voltage_v": 60.5}, "field_value", "supply_voltage_v"),
        ({"supply_voltage_v": -0.1}, "field_value", "supply_voltage_v"),
        ({"odometer": 21007}, "field_type", "odometer"),
        ({"odometer": {"value": 21007}}, "field_missing", "odometer.unit"),
        ({"odometer": {"value": 21007, "unit": "m"}}, "field_value", "odometer.unit"),
        ({"odometer": {"value": -1, "unit": "km"}}, "field_value", "odometer.value"),
        ({"vin_per_module": {"Radar": "Z0ASD1F89S2011835"}}, "field_unknown", "vin_per_module.Radar"),
        ({"vin_per_module": {"Forward Camera": 5}}, "field_type", "vin_per_module.Forward Camera"),
        ({"vin_per_module": ["Z0ASD1F89S2011835"]}, "field_type", "vin_per_module"),
        ({"cleared": [{"module": "Radar", "at": "2026-05-05T11:04"}]}, "field_value", "cleared.0.module"),
        ({"cleared": [{"module": "Forward Camera"}]}, "field_missing", "cleared.0.at"),
        ({"plate": "BRK 417"}, "field_unknown", "plate"),
    ],
)
def test_refusals(change: dict[str, Any], code: str, field: str) -> None:
    assert refusal_of(scan(**change)) == (code, field)


@pytest.mark.parametrize("value", [None, [], "scan", 5, True])
def test_no_object(value: object) -> None:
    assert refusal_of(value)[0] == "field_type"


def test_a_module_may_show_a_broken_vin() -> None:
    """What the module shows is the record; whether it is this car's VIN is judged, not refused."""
    found = validate_scan(scan(vin_per_module={"Forward Camera": "00000000000000000"}))
    assert found["vin_per_module"] == {"Forward Camera": "00000000000000000"}


def test_text_that_looks_like_code_stays_text() -> None:
    text = "{{7*7}} <img src=x onerror=alert(1)> =cmd javascript:"
    codes = [{"code": "C1A45", "state": "stored", "text": text}]
    assert validate_scan(scan(modules=[module(codes=codes)]))["modules"][0]["codes"][0]["text"] == text


@pytest.mark.parametrize(("volts", "notes"), [(11.49, ["low_supply_voltage"]), (11.5, []), (None, [])])
def test_low_supply_is_noted(volts: float | None, notes: list[str]) -> None:
    _, found = read_scan_summary(json.dumps(scan(supply_voltage_v=volts)).encode(), None)
    assert found == notes


def test_duplicate_keys_of_the_file_are_refused() -> None:
    with pytest.raises(Refused) as refusal:
        read_scan_summary(b'{"device_serial":"a","device_serial":"b","modules":[]}', None)
    assert refusal.value.code == "duplicate_key"


def test_demonstration_scan_has_31_modules() -> None:
    data = evidence.scan_summary(
        vin="Z0ASD1F89S2011835",
        stage="before_repair",
        ended_at=datetime(2026, 5, 5, 7, 52, tzinfo=ZoneInfo("America/Chicago")),
        codes=[
            {
                "system": "forward_camera",
                "code": "C1A45",
                "ftb": "54",
                "state": "present",
                "text": "not aimed",
            }
        ],
        odometer_km=21007,
        silent=["Audio Unit"],
    )
    found, _ = read_scan_summary(data, None)
    assert len(found["modules"]) == 31
    assert [m["name"] for m in found["modules"] if not m["answered"]] == ["Audio Unit"]
    assert [(m["name"], c["code"], c["ftb"]) for m in found["modules"] for c in m["codes"]] == [
        ("Forward Camera", "C1A45", "54")
    ]
    assert set(found["vin_per_module"].values()) == {"Z0ASD1F89S2011835"}
    assert found["ended_at"] == "2026-05-05T07:52:00.000-05:00"


@pytest.mark.parametrize(
    ("status", "state"), [("2F", "present"), ("09", "present"), ("24", "intermittent"), ("08", "stored")]
)
def test_a_status_byte_is_read_as_the_state_it_shows(status: str, state: str) -> None:
    """Bytes as decoded by a public diagnostics library (ISO 14229-1, annex D.2)."""
    found = validate_scan(scan(modules=[module(codes=[{"code": "C1A45", "status": status.lower()}])]))
    assert found["modules"][0]["codes"][0]["state"] == state
    both = {"code": "C1A45", "status": status, "state": state}
    assert validate_scan(scan(modules=[module(codes=[both])]))["modules"][0]["codes"][0]["state"] == state


@pytest.mark.parametrize(
    ("code", "path"),
    [
        ({"status": "50"}, "status"),  # just after clearing: shows no failure, and nothing else either
        ({"status": "00"}, "status"),
        ({"status": "2"}, "status"),
        ({"status": "0x"}, "status"),
        ({"status": "2F", "state": "stored"}, "state"),
    ],
)
def test_a_status_byte_that_shows_no_failure_or_another_is_refused(code: dict[str, str], path: str) -> None:
    refused, at = refusal_of(scan(modules=[module(codes=[{"code": "C1A45", **code}])]))
    assert (refused, at) == ("field_value", f"modules.0.codes.0.{path}")
