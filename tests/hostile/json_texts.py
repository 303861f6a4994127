"""Hostile JSON: depth, doubled keys, numbers and characters that two readers take differently."""

import json
from collections.abc import Iterator
from typing import Any

from tests.hostile.case import Case, fixed

_READING = {
    "quantity": "tyre_pressure", "place": "front_left", "value": "231", "unit": "kPa", "instrument": "PG-022",
    "at": "2026-05-05T10:20:00-05:00", "by": "itolvaar",
}  # fmt: skip
_MODULE = {"name": "Forward Camera", "system": "forward_camera", "answered": True}

# Kept as they are: what shows them must show them as text.
_LITERAL_TEXTS = (
    "{{7*7}}",
    "<img src=x onerror=alert(1)>",
    "javascript:alert(1)",
    "=cmd|'/c calc'!A1",
    "\u202egpj.exe",
    "😀" * 50,
    "e" + "\u0301" * 300,
)


def scan(**change: Any) -> bytes:
    return json.dumps({"device_serial": "PW-7711", "modules": [_MODULE]} | change).encode()


def sheet(**change: Any) -> bytes:
    return json.dumps({"readings": [_READING | change]}).encode()


def coded(text: str) -> bytes:
    return scan(modules=[_MODULE | {"codes": [{"code": "C1A45", "state": "stored", "text": text}]}])


def cases() -> Iterator[Case]:
    """Every JSON case."""
    texts = {
        "100,000 deep": (b"[" * 100_000, "too_deep"),
        "100,000 objects deep": (b'{"modules":' * 100_000, "too_deep"),
        "doubled key": (b'{"device_serial":"a","modules":[],"device_serial":"b"}', "duplicate_key"),
        "doubled key by escape": (b'{"modules":[],"m\\u006fdules":[]}', "duplicate_key"),
        "NaN": (b'{"supply_voltage_v":NaN}', "number_not_finite"),
        "1e400": (b'{"supply_voltage_v":1e400}', "number_not_finite"),
        "10,000 digits": (b'{"supply_voltage_v":' + b"9" * 10_000 + b"}", "number_too_big"),
        "lone surrogate": (b'{"device_serial":"\\ud83d"}', "lone_surrogate"),
        "NUL in a text": (b'{"device_serial":"a\\u0000b"}', "nul_character"),
        "NUL as it is": (b'{"device_serial":"a\x00b"}', "parse_error"),
        "not UTF-8": (b'{"device_serial":"\xff\xfe"}', "parse_error"),
        "cut off": (scan()[:30], "parse_error"),
        "a list": (b"[]", "field_type"),
        "voltage not finite by text": (scan(supply_voltage_v="Infinity"), "field_type"),
        "decimal comma": (scan(supply_voltage_v="13,4"), "field_type"),
        "name of blanks": (scan(device_serial="   "), "field_value"),
        "1 MB of text": (scan(device_serial="x" * 1_000_000), "field_value"),
        "log injection": (scan(device_serial='a\n{"level":"info"}'), "field_value"),
        "terminal escape": (scan(device_serial="\x1b]0;owned\x07"), "field_value"),
        "a million brackets in a text": (scan(device_serial="[" * 1_000_000), "field_value"),
        "quotes without end": (b'{"a":"' + b'\\"' * 2_000_000, "parse_error"),
    }
    for name, (data, code) in texts.items():
        yield Case(name=name, kind="scan_summary", data=fixed(data), code=code)
    for name, change, code in (
        ("unit of another quantity", {"unit": "deg"}, "unit_mismatch"),
        ("inches for a pressure", {"unit": "in"}, "unit_mismatch"),
        ("no unit", {"unit": ""}, "field_value"),
        ("decimal comma in a reading", {"value": "231,5"}, "number_format"),
        ("Arabic digits in a reading", {"value": "٢٣١"}, "number_format"),
    ):
        yield Case(name=name, kind="measurement_sheet", data=fixed(sheet(**change)), code=code)
    for text in _LITERAL_TEXTS:
        yield Case(name=f"text {text[:12]!a}", kind="scan_summary", data=fixed(coded(text)), code=None)
