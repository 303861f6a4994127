"""File types by content, and which kinds take them."""

import pytest

from jobs.errors import Refused
from jobs.intake.codes import ALL
from jobs.intake.kinds import KINDS, choose
from jobs.intake.signature import CSV, GPX, HTML, JPEG, JSON, NMEA, PDF, PNG, SVG, UTF16, FileType, recognise
from rules.vocabulary import EVIDENCE_KINDS

BOM = b"\xef\xbb\xbf"


@pytest.mark.parametrize(
    ("head", "file_type"),
    [
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", JPEG),
        (b"\xff\xd8\xff\xfe\x00\x20%PDF-1.7", JPEG),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", PNG),
        (b"%PDF-1.7\n%\xe2\xe3", PDF),
        (b"t,lat,lon\n", CSV),
        (BOM + b"t,volts\n", CSV),
        (b"# t0=2026-05-05T15:34:00Z\nt,volts\n", CSV),
        (b"MZ,lat\n", CSV),
        (b"BM,lat\n", CSV),
        (b'{"modules": []}', JSON),
        (BOM + b"  \r\n[1]", JSON),
        (b"$GPRMC,123519", NMEA),
        (b'<?xml version="1.0"?><gpx>', GPX),
        (b"<gpx>", GPX),
        (b"<!DOCTYPE gpx [<!ENTITY a 'b'>]><gpx/>", GPX),
        (b"<!DOCTYPE html><html>", HTML),
        (b"  <HTML><body>", HTML),
        (b"hello <html> %PDF-1.4", HTML),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/>", SVG),
        (b"<?xml version='1.0'?><!-- x --><svg/>", SVG),
        ("t,volts\n".encode("utf-16"), UTF16),
    ],
)
def test_recognised(head: bytes, file_type: FileType) -> None:
    assert recognise(head) == file_type


@pytest.mark.parametrize(
    ("head", "media_type"),
    [
        (b"GIF89a/*", "image/gif"),
        (b"II*\x00", "image/tiff"),
        (b"8BPS\x00\x01", "image/vnd.adobe.photoshop"),
        (b"%!PS-Adobe", "application/postscript"),
        (b"MZ\x90\x00\x03", "application/vnd.microsoft.portable-executable"),
        (b"\x7fELF\x02", "application/x-elf"),
        (b"PK\x03\x04", "application/zip"),
        (b"\x1f\x8b\x08", "application/gzip"),
        (b"\x00\x00\x00\x18ftypheic", "image/heif"),
        (b"\x00\x00\x00\x18ftypisom", "video/mp4"),
        (b"RIFF\x00\x00\x00\x00WEBP", "image/webp"),
    ],
)
def test_named_only_to_be_refused(head: bytes, media_type: str) -> None:
    found = recognise(head)
    assert found is not None
    assert found.media_type == media_type


@pytest.mark.parametrize("head", [b"\xff", b"\x00" * 40, b"\x01\x02\x03", b"\xef\xbb\xbf"])
def test_not_recognised(head: bytes) -> None:
    assert recognise(head) is None


def test_every_kind_of_evidence_but_video_has_a_decoder() -> None:
    assert set(KINDS) == set(EVIDENCE_KINDS) - {"video"}


@pytest.mark.parametrize(
    ("kind", "head", "code"),
    [
        ("photo", b"", "empty_file"),
        ("photo", b"\xff", "unrecognised_type"),
        ("photo", b"%PDF-1.7", "type_mismatch"),
        ("photo", b"<html>", "type_mismatch"),
        ("document", b"<html>%PDF-1.7", "type_not_allowed"),
        ("document", b"\x00" * 900 + b"%PDF-1.7", "type_mismatch"),
        ("document", b"x" * 900 + b"%PDF-1.7", "type_mismatch"),
        ("document", b"\xff\xd8\xff\xe0", "type_mismatch"),
        ("drive_log", b'{"t": 1}', "type_mismatch"),
        ("scan_summary", b"t,volts\n", "type_mismatch"),
        ("voltage_log", b"<gpx/>", "type_mismatch"),
        ("statement", "{}".encode("utf-16"), "type_mismatch"),
        ("photo", b"\x00\x00\x00\x18ftypheic", "type_not_allowed"),
        ("video", b"\x00\x00\x00\x18ftypisom", "unknown_kind"),
        ("selfie", b"\xff\xd8\xff\xe0", "unknown_kind"),
    ],
)
def test_choice_refused(kind: str, head: bytes, code: str) -> None:
    with pytest.raises(Refused) as refusal:
        choose(kind, head)
    assert refusal.value.code == code
    assert code in ALL


def test_heic_refusal_says_what_to_do() -> None:
    with pytest.raises(Refused) as refusal:
        choose("photo", b"\x00\x00\x00\x18ftypheic")
    assert "JPEG" in refusal.value.message


def test_a_utf16_log_goes_to_its_decoder_which_names_the_byte() -> None:
    assert choose("voltage_log", "t,volts".encode("utf-16")) == (CSV, "voltage_log")
