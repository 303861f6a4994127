"""What a file is, by its first bytes alone: guessing libraries call HTML a PDF and HEIC a video."""

from dataclasses import dataclass
from typing import Final

SNIFF_BYTES: Final = 4096


@dataclass(frozen=True, slots=True)
class FileType:
    """A kind of file: ``media_type`` and the usual ending of its name."""

    media_type: str
    extension: str
    is_text: bool = False


JPEG: Final = FileType("image/jpeg", "jpg")
PNG: Final = FileType("image/png", "png")
PDF: Final = FileType("application/pdf", "pdf")
CSV: Final = FileType("text/csv", "csv", is_text=True)
GPX: Final = FileType("application/gpx+xml", "gpx", is_text=True)
NMEA: Final = FileType("text/plain", "nmea", is_text=True)
JSON: Final = FileType("application/json", "json", is_text=True)
HTML: Final = FileType("text/html", "html", is_text=True)
SVG: Final = FileType("image/svg+xml", "svg")
UTF16: Final = FileType("text/plain; charset=utf-16", "txt", is_text=True)
HEIF: Final = FileType("image/heif", "heic")
# A PDF mark that does not stand at the start: some readers would open it, the format does not allow it.
HIDDEN_PDF: Final = FileType("application/octet-stream; pdf-inside", "bin")

# (offset, bytes, type). Everything below PDF is named only so that the refusal can say what it is.
_TABLE: Final = (
    (0, b"\xff\xd8\xff", JPEG),
    (0, b"\x89PNG\r\n\x1a\n", PNG),
    (0, b"%PDF-", PDF),
    (0, b"GIF87a", FileType("image/gif", "gif")),
    (0, b"GIF89a", FileType("image/gif", "gif")),
    (0, b"II*\0", FileType("image/tiff", "tif")),
    (0, b"MM\0*", FileType("image/tiff", "tif")),
    (0, b"8BPS", FileType("image/vnd.adobe.photoshop", "psd")),
    (0, b"%!PS", FileType("application/postscript", "eps")),
    (0, b"\xc5\xd0\xd3\xc6", FileType("application/postscript", "eps")),
    (0, b"BM", FileType("image/bmp", "bmp")),
    (8, b"WEBP", FileType("image/webp", "webp")),
    (0, b"PK\x03\x04", FileType("application/zip", "zip")),
    (0, b"PK\x05\x06", FileType("application/zip", "zip")),
    (0, b"\x1f\x8b", FileType("application/gzip", "gz")),
    (0, b"MZ", FileType("application/vnd.microsoft.portable-executable", "exe")),
    (0, b"\x7fELF", FileType("application/x-elf", "bin")),
    (0, b"\xd0\xcf\x11\xe0", FileType("application/x-ole-storage", "doc")),
)
# Two-letter marks could also open a text; they count only in a file that is no text.
_SHORT_MARKS: Final = (b"BM", b"MZ")
_HEIF_BRANDS: Final = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1", b"avif")
_HTML_STARTS: Final = (b"<!doctype html", b"<html", b"<head", b"<body", b"<script", b"<iframe")
_BOM: Final = b"\xef\xbb\xbf"


def recognise(head: bytes) -> FileType | None:
    """The type of a file that starts with ``head`` (its first 4096 bytes); None if it cannot be told."""
    for offset, mark, file_type in _TABLE:
        if head[offset : offset + len(mark)] == mark and not (mark in _SHORT_MARKS and _is_text(head)):
            return file_type
    if head[4:8] == b"ftyp":
        return HEIF if head[8:12] in _HEIF_BRANDS else FileType("video/mp4", "mp4")
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return UTF16
    if _is_text(head):
        return _recognise_text(head)
    return HIDDEN_PDF if b"%PDF-" in head[:1024] else None


def _is_text(head: bytes) -> bool:
    """The opening is printable: a stray NUL further on is for the text decoder to name by its place."""
    opening = head.removeprefix(_BOM)[:16]
    return bool(opening) and all(byte in b"\t\r\n" or 0x20 <= byte < 0x7F for byte in opening)


def _recognise_text(head: bytes) -> FileType:
    text = head.removeprefix(_BOM).lstrip().lower()
    if text.startswith(b"<"):
        return _recognise_markup(text)
    if b"<html" in text:
        return HTML
    if b"%pdf-" in text[:1024]:
        return HIDDEN_PDF
    if text.startswith((b"{", b"[")):
        return JSON
    return NMEA if text.startswith((b"$", b"!")) else CSV


def _recognise_markup(text: bytes) -> FileType:
    if text.startswith(_HTML_STARTS) or b"<html" in text:
        return HTML
    return SVG if b"<svg" in text else GPX
