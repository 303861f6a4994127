"""Inside the limited child process: loads one decoder, reads standard input, writes one JSON answer."""

import importlib
import json
import os
import sys
from collections.abc import Callable, Mapping
from typing import Any, BinaryIO, Final

from jobs.errors import Refused

# A decoder takes the bytes and, for pictures, the open file for the working copy; it gives facts and notes.
Decoder = Callable[[bytes, BinaryIO | None], tuple[Mapping[str, Any], list[str]]]

# Name of the decoder: (form of its facts, module, function). Loaded by name, so that a log does not load
# the picture libraries.
DECODERS: Final = {
    "photo": ("photo", "jobs.intake.photo", "read_photo"),
    "painting": ("painting", "jobs.intake.painting", "paint"),
    "document": ("document", "jobs.intake.document", "read_document"),
    "drive_csv": ("drive_log", "jobs.intake.drive_log", "read_drive_csv"),
    "drive_gpx": ("drive_log", "jobs.intake.gpx_track", "read_gpx"),
    "drive_nmea": ("drive_log", "jobs.intake.nmea_log", "read_nmea"),
    "voltage_log": ("voltage_log", "jobs.intake.voltage_log", "read_voltage_log"),
    "climate_log": ("climate_log", "jobs.intake.climate_log", "read_climate_log"),
    "scan_summary": ("scan_summary", "jobs.intake.scan_summary", "read_scan_summary"),
    "measurement_sheet": ("measurement_sheet", "jobs.intake.measurement_sheet", "read_measurement_sheet"),
    "film_build": ("measurement_sheet", "jobs.intake.measurement_sheet", "read_film_build"),
    "statement": ("statement", "jobs.intake.statement", "read_statement"),
    "signature": ("signature", "jobs.intake.statement", "read_signature"),
}


def main() -> None:
    """Runs the ordered decoder; called after :func:`jobs.intake.confine.begin`."""
    order = json.loads(sys.argv[2])
    answer = json.dumps(_answer(order), allow_nan=False).encode()
    with os.fdopen(1, "wb") as pipe:
        pipe.write(answer)


def _answer(order: dict[str, Any]) -> dict[str, Any]:
    form, module, function = DECODERS[order["decoder"]]
    decoder: Decoder = getattr(importlib.import_module(module), function)
    try:
        data = sys.stdin.buffer.read(order["max_bytes"] + 1)
        if len(data) > order["max_bytes"]:
            raise Refused("too_large", f"The file has more than {order['max_bytes']} bytes.")
        facts, notes = _decoded(decoder, data, order["copy_descriptor"])
    except Refused as refusal:
        return {"state": "refused", "code": refusal.code, "message": refusal.message, "extra": refusal.extra}
    return {"state": "decoded", "decoder": form, "facts": facts, "notes": notes}


def _decoded(decoder: Decoder, data: bytes, descriptor: int | None) -> tuple[Mapping[str, Any], list[str]]:
    if descriptor is None:
        return decoder(data, None)
    with os.fdopen(descriptor, "wb") as working_copy:
        return decoder(data, working_copy)
