"""The table of evidence kinds: every kind has a decoder that exists, and content decides, never the name."""

import importlib

import pytest

from jobs.errors import Refused
from jobs.intake.codes import ALL
from jobs.intake.kinds import KINDS, choose
from jobs.intake.runner import DECODERS

JPEG, PNG, PDF = b"\xff\xd8\xff\xe0\0\x10JFIF\0", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", b"%PDF-1.7\n"
JSON, CSV, GPX = b'{"a": 1}', b"t,volts\n1,2\n", b'<?xml version="1.0"?><gpx version="1.1">'
NMEA, HTML = b"$GPRMC,123519,A\r\n", b"<!DOCTYPE html><html>"
HEIC, UTF16 = b"\0\0\0\x18ftypheic\0\0\0\0", "t,volts\n".encode("utf-16")
HIDDEN_PDF = b"x" * 300 + PDF
ZIP, SVG = b"PK\x03\x04", b"<svg xmlns='http://www.w3.org/2000/svg'>"


def test_every_kind_is_read_by_a_decoder_that_is_there() -> None:
    for kind, row in KINDS.items():
        assert row.accepts, kind
        assert 0 < row.max_bytes <= 50_000_000, kind
        assert row.wanted, kind
        for _, decoder in row.accepts:
            _, module, function = DECODERS[decoder]
            assert callable(getattr(importlib.import_module(module), function)), decoder
    # Painting is asked for by the program alone: no upload reaches it.
    used = {decoder for row in KINDS.values() for _, decoder in row.accepts}
    assert set(DECODERS) - used == {"painting"}


@pytest.mark.parametrize(
    ("kind", "head", "told"),
    [
        ("photo", JPEG, "photo"), ("photo", PNG, "photo"), ("photo", PDF, "type_mismatch"),
        ("photo", JSON, "type_mismatch"), ("photo", HEIC, "type_not_allowed"), ("photo", b"", "empty_file"),
        ("photo", HTML, "type_mismatch"), ("photo", UTF16, "type_mismatch"),
        ("photo", HIDDEN_PDF, "type_mismatch"),
        ("document", PDF, "document"), ("document", JPEG, "type_mismatch"),
        ("document", HIDDEN_PDF, "type_mismatch"),
        ("certificate", PDF, "document"), ("alignment_report", JPEG, "photo"),
        ("scan_summary", JSON, "scan_summary"), ("scan_summary", PDF, "document"),
        ("scan_summary", PNG, "photo"), ("scan_summary", CSV, "type_mismatch"),
        ("drive_log", CSV, "drive_csv"), ("drive_log", GPX, "drive_gpx"), ("drive_log", NMEA, "drive_nmea"),
        ("drive_log", JSON, "type_mismatch"),
        ("voltage_log", CSV, "voltage_log"), ("voltage_log", UTF16, "voltage_log"),
        ("voltage_log", GPX, "type_mismatch"), ("climate_log", CSV, "climate_log"),
        ("measurement_sheet", JSON, "measurement_sheet"), ("measurement_sheet", JPEG, "photo"),
        ("film_build", JSON, "film_build"), ("film_build", JPEG, "type_mismatch"),
        ("statement", JSON, "statement"), ("signature", JSON, "signature"),
        ("signature", HTML, "type_not_allowed"),
        ("video", JPEG, "unknown_kind"), ("", JPEG, "unknown_kind"), ("painting", JPEG, "unknown_kind"),
    ],
)  # fmt: skip
def test_which_content_a_kind_takes(kind: str, head: bytes, told: str) -> None:
    try:
        found = choose(kind, head)[1]
    except Refused as refusal:
        found = refusal.code
        assert found in ALL
    assert found == told


@pytest.mark.parametrize("head", [ZIP, SVG, b"MZ\x90\0", b"\0" * 64])
@pytest.mark.parametrize("kind", sorted(KINDS))
def test_what_no_kind_takes(kind: str, head: bytes) -> None:
    with pytest.raises(Refused) as refusal:
        choose(kind, head)
    assert refusal.value.code in ("type_not_allowed", "unrecognised_type")
