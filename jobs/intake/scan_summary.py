"""Scan summaries in JSON: every module asked, answered or not, with its codes in one spelling."""

import re
from collections.abc import Mapping
from typing import Any, BinaryIO, Final

from jobs.intake.fields import Fields, join, wrong
from jobs.intake.strict_json import parse_strict
from rules.science.code_status import status_of
from rules.science.trouble_codes import normalise
from rules.vocabulary import EVIDENCE_STAGES, MODULE_SYSTEMS, SENSORS

SCAN_FIELDS: Final = (
    "job",
    "stage",
    "device_serial",
    "device_software",
    "database_version",
    "device_clock",
    "ended_at",
    "cleared",
    "vin_per_module",
    "odometer",
    "supply_voltage_v",
    "modules",
    "source_sha256",
)
MODULE_FIELDS: Final = (
    "name",
    "system",
    "address",
    "answered",
    "part_no",
    "hardware_no",
    "software_no",
    "replaced_used_part",
    "codes",
)
CODE_FIELDS: Final = ("code", "ftb", "state", "status", "text", "first_seen_km", "count")
CODE_STATES: Final = ("present", "intermittent", "stored")
_STATUS: Final = re.compile(r"[0-9A-Fa-f]{2}")
SYSTEMS: Final = frozenset((*SENSORS, *MODULE_SYSTEMS))
# More modules or codes than this no vehicle has (project default).
MOST_MODULES: Final = 300
MOST_CODES: Final = 400
# Electrical nets of road vehicles, 12 V and 24 V, with room for charging (project default).
MAX_VOLTS: Final = 60.0
MAX_DISTANCE: Final = 9_999_999.0


def read_scan_summary(data: bytes, _: BinaryIO | None) -> tuple[dict[str, Any], list[str]]:
    """The summary of a scan file; a supply below 11.5 V is noted (project default: codes may be doubtful).

    Raises:
        Refused: every code of :func:`validate_scan` and of strict JSON.
    """
    scan = validate_scan(parse_strict(data, max_bytes=len(data)))
    volts = scan["supply_voltage_v"]
    return scan, ["low_supply_voltage"] if volts is not None and volts < 11.5 else []


def validate_scan(data: object) -> dict[str, Any]:
    """Checks a parsed scan summary and gives it back complete, absent optional fields as None or empty.

    Args:
        data: the parsed JSON object; only :data:`SCAN_FIELDS` may stand in it.

    Returns:
        job, stage, device_serial, device_software, database_version, device_clock, ended_at (texts or None);
        cleared [{module, at}]; vin_per_module {module: VIN in capitals as the module shows it};
        odometer {value, unit} or None; supply_voltage_v or None; source_sha256 or None; modules
        [{name, system, address, answered, part_no, hardware_no, software_no, replaced_used_part, codes
        [{code, ftb, state, text, first_seen_km, count}]}] with code and ftb normalised (``C1A45``, ``54``);
        a ``status`` byte instead of the state, as ``2F``, is read as the state it shows.

    Raises:
        Refused: ``field_missing``, ``field_type``, ``field_value``, ``field_unknown``, ``duplicate_module``,
            ``module_not_answered`` (a silent module cannot report codes) or ``code_format``.
    """
    scan = Fields(data, "", SCAN_FIELDS)
    modules = [
        _module(item, join("modules", str(place)))
        for place, item in enumerate(scan.entries("modules", MOST_MODULES, least=1))
    ]
    names = _names(modules)
    return {
        "job": scan.optional_text("job"),
        "stage": scan.choice("stage", EVIDENCE_STAGES) if scan.has("stage") else None,
        "device_serial": scan.text("device_serial", longest=80),
        "device_software": scan.optional_text("device_software", longest=80),
        "database_version": scan.optional_text("database_version", longest=80),
        "device_clock": scan.optional_clock_text("device_clock"),
        "ended_at": scan.instant("ended_at") if scan.has("ended_at") else None,
        "cleared": _cleared(scan, names),
        "vin_per_module": _vins(scan, names),
        "odometer": _odometer(scan),
        "supply_voltage_v": scan.optional_number("supply_voltage_v", 0.0, MAX_VOLTS),
        "modules": modules,
        "source_sha256": scan.optional_text("source_sha256", longest=64),
    }


def _module(value: object, path: str) -> dict[str, Any]:
    module = Fields(value, path, MODULE_FIELDS)
    found: dict[str, Any] = {
        "name": module.text("name"),
        "system": module.choice("system", SYSTEMS),
        "address": module.optional_text("address", longest=80),
        "answered": module.flag("answered"),
        "part_no": module.optional_text("part_no", longest=80),
        "hardware_no": module.optional_text("hardware_no", longest=80),
        "software_no": module.optional_text("software_no", longest=80),
        "replaced_used_part": module.flag("replaced_used_part", default=False),
        "codes": [
            _code(item, join(path, f"codes.{place}"))
            for place, item in enumerate(module.entries("codes", MOST_CODES))
        ],
    }
    if found["codes"] and not found["answered"]:
        raise wrong(
            "module_not_answered", path, f"{found['name']} did not answer, yet codes are listed for it"
        )
    return found


def _code(value: object, path: str) -> dict[str, Any]:
    entry = Fields(value, path, CODE_FIELDS)
    try:
        code, ftb = normalise(entry.text("code", longest=20), entry.optional_text("ftb", longest=4))
    except ValueError:
        raise wrong(
            "code_format", entry.at("code"), "must be a trouble code like C1A45 or C1A45-54"
        ) from None
    return {
        "code": code,
        "ftb": ftb,
        "state": _state(entry),
        "text": entry.optional_text("text", longest=400) or "",
        "first_seen_km": entry.optional_number("first_seen_km", 0.0, MAX_DISTANCE),
        "count": entry.optional_whole("count", 0, 1_000_000),
    }


def _state(entry: Fields) -> str:
    """``state`` in words, or ``status`` as the byte the module sent (ISO 14229-1), two hex digits.

    A byte that tells of no failure is refused: a module that lists the code all the same has not shown that
    the fault is gone, and right after clearing no test has run.
    """
    byte = entry.optional_text("status", longest=2)
    if byte is None:
        return entry.choice("state", CODE_STATES)
    if not _STATUS.fullmatch(byte):
        raise wrong("field_value", entry.at("status"), "must be two hex digits, as 2F")
    status = status_of(int(byte, 16))
    if status.state is None:
        raise wrong(
            "field_value",
            entry.at("status"),
            f"{byte} shows no failure"
            + ("" if status.is_tested else " and the test has not run to its end")
            + ": scan again once the module has tested, or leave the code out if it is not listed any more",
        )
    told = entry.optional_text("state", longest=20)
    if told is not None and told != status.state:
        raise wrong(
            "field_value", entry.at("state"), f"contradicts the status {byte}, which is {status.state}"
        )
    return status.state


def _names(modules: list[dict[str, Any]]) -> frozenset[str]:
    seen: set[str] = set()
    for place, module in enumerate(modules):
        if module["name"] in seen:
            raise wrong("duplicate_module", f"modules.{place}.name", f"{module['name']} is listed twice")
        seen.add(module["name"])
    return frozenset(seen)


def _cleared(scan: Fields, names: frozenset[str]) -> list[dict[str, str]]:
    found = []
    for place, item in enumerate(scan.entries("cleared", MOST_MODULES)):
        entry = Fields(item, f"cleared.{place}", ("module", "at"))
        found.append({"module": entry.choice("module", names), "at": entry.clock_text("at")})
    return found


def _vins(scan: Fields, names: frozenset[str]) -> dict[str, str]:
    """A module may show a wrong or broken VIN: the record must say so, hence only the form is checked."""
    if not scan.has("vin_per_module"):
        return {}
    value = scan.required("vin_per_module")
    vins = Fields(value, "vin_per_module", names)
    texts: Mapping[str, object] = value if isinstance(value, dict) else {}
    return {name: vins.text(name, longest=32).strip().upper() for name in texts}


def _odometer(scan: Fields) -> dict[str, Any] | None:
    if not scan.has("odometer"):
        return None
    odometer = Fields(scan.required("odometer"), "odometer", ("value", "unit", "resolution"))
    found: dict[str, Any] = {
        "value": odometer.number("value", 0.0, MAX_DISTANCE),
        "unit": odometer.choice("unit", ("km", "mi")),
    }
    resolution = odometer.optional_number("resolution", 1e-3, 100.0)
    return found if resolution is None else {**found, "resolution": resolution}
