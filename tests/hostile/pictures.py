"""Hostile pictures: cut off, lying, oversized, animated, double-natured."""

import io
import struct
import zlib
from collections.abc import Iterator

import numpy as np
from PIL import Image, PngImagePlugin

from tests.hostile.case import Case, fixed
from tests.jobs.intake.pictures import encoded, exif, scene

_SVG = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>"
_HTML = b"<!DOCTYPE html><html><body><script>alert(1)</script></body></html>"
_ZIP = b"PK\x03\x04" + b"\0" * 26 + b"PK\x05\x06" + b"\0" * 18
_CANARY = b"<script>CANARY</script>"


def chunk(name: bytes, body: bytes) -> bytes:
    """One PNG chunk with its checksum (ISO/IEC 15948)."""
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png(width: int, height: int, *chunks: bytes, depth: int = 8, colour: int = 0) -> bytes:
    """A PNG that claims a size, with the given chunks between its head and its end."""
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + b"".join(chunks) + chunk(b"IEND", b"")


def blank_rows(width: int, height: int) -> bytes:
    """Compressed 1-bit rows for a PNG of any size, without ever holding them unpacked."""
    packer = zlib.compressobj(9)
    row = bytes(1 + (width + 7) // 8)
    return b"".join(packer.compress(row) for _ in range(height)) + packer.flush()


def pixel_flood() -> bytes:
    return png(50_000, 50_000, chunk(b"IDAT", blank_rows(50_000, 50_000)), depth=1)


def lying_jpeg() -> bytes:
    """A JPEG whose frame header says 65,500 x 65,500."""
    data = bytearray(encoded(scene()))
    place = data.index(b"\xff\xc0")
    data[place + 5 : place + 9] = struct.pack(">HH", 65_500, 65_500)
    return bytes(data)


def between_the_limits() -> bytes:
    """64 megapixels: over the limit, below twice the limit, where the library only warns."""
    return png(8_000, 8_000, chunk(b"IDAT", blank_rows(8_000, 8_000)), depth=1)


def text_bomb() -> bytes:
    packer = zlib.compressobj(9)
    packed = b"".join(packer.compress(b"A" * 1_000_000) for _ in range(200)) + packer.flush()
    text = chunk(b"zTXt", b"Comment\0\0" + packed)
    return png(10, 10, text, chunk(b"IDAT", blank_rows(80, 10)[:]), depth=8)


def profile_of(size: int) -> bytes:
    return encoded(scene(), icc_profile=bytes(range(256)) * (size // 256))


def animation(frames: int) -> bytes:
    target = io.BytesIO()
    pictures = [Image.new("L", (16, 16), number % 256) for number in range(frames)]
    pictures[0].save(target, "PNG", save_all=True, append_images=pictures[1:])
    return target.getvalue()


def gif_script() -> bytes:
    return b"GIF89a/*" + b"\0" * 20 + b"*/=1;alert(1)"


def commented(comment: bytes) -> bytes:
    return encoded(scene(1600, 1200), comment=comment)


def cmyk() -> bytes:
    return encoded(scene(1600, 1200).convert("CMYK"))


def deep_grey() -> bytes:
    return encoded(Image.fromarray(np.full((1200, 1600), 40_000, dtype=np.uint16)), "PNG")


def foreign(form: str) -> bytes:
    target = io.BytesIO()
    scene().save(target, form)
    return target.getvalue()


def tagged(base: dict[int, object] | None = None, camera: dict[int, object] | None = None) -> bytes:
    return encoded(scene(1600, 1200), exif=exif(base, camera))


def png_text_canary() -> bytes:
    info = PngImagePlugin.PngInfo()
    info.add_text("Comment", _CANARY.decode())
    return encoded(scene(1600, 1200), "PNG", pnginfo=info)


def cases() -> Iterator[Case]:
    """Every picture case."""
    jpeg, small_png = encoded(scene(1600, 1200)), encoded(scene(), "PNG")
    refused = {
        "zero bytes": (b"", "empty_file"),
        "one byte": (b"\xff", "unrecognised_type"),
        "JPEG cut off": (jpeg[: len(jpeg) // 2], "image_truncated"),
        "PNG cut off": (small_png[: len(small_png) // 2], "image_truncated"),
        "JPEG of three bytes": (b"\xff\xd8\xff", "image_truncated"),
        "HTML named as a picture": (_HTML, "type_mismatch"),
        "program": (b"MZ\x90\x00\x03\x00\x00\x00" + b"\0" * 100, "type_not_allowed"),
        "PDF announced as PNG": (b"%PDF-1.7\n", "type_mismatch"),
        "SVG with script": (_SVG, "type_not_allowed"),
        "SVG after an XML line": (b"<?xml version='1.0'?>" + _SVG, "type_not_allowed"),
        "SVG packed": (b"\x1f\x8b\x08\x00" + zlib.compress(_SVG), "type_not_allowed"),
        "GIF that is a script": (gif_script(), "type_not_allowed"),
        "TIFF": (foreign("TIFF"), "type_not_allowed"),
        "EPS": (b"%!PS-Adobe-3.0 EPSF-3.0\n", "type_not_allowed"),
        "PSD": (b"8BPS\x00\x01" + b"\0" * 40, "type_not_allowed"),
        "BMP": (foreign("BMP"), "type_not_allowed"),
        "WebP": (foreign("WEBP"), "type_not_allowed"),
        "HEIC": (b"\x00\x00\x00\x18ftypheic" + b"\0" * 100, "type_not_allowed"),
        "MP4 head": (b"\x00\x00\x00\x18ftypisom" + b"\0" * 100, "type_not_allowed"),
        "zip": (_ZIP, "type_not_allowed"),
        "PNG head and nothing": (b"\x89PNG\r\n\x1a\n", "image_truncated"),
    }
    for name, (data, code) in refused.items():
        yield Case(name=name, kind="photo", data=fixed(data), code=code)
    yield Case(name="pixel flood", kind="photo", data=pixel_flood, code="image_too_large")
    yield Case(name="JPEG that lies about its size", kind="photo", data=lying_jpeg, code="image_too_large")
    yield Case(name="64 megapixels", kind="photo", data=between_the_limits, code="image_too_large")
    yield Case(name="text bomb", kind="photo", data=text_bomb, code="metadata_too_large")
    yield Case(name="300 frames", kind="photo", data=lambda: animation(300), code="animated_not_allowed")
    yield from _accepted(jpeg)


def _accepted(jpeg: bytes) -> Iterator[Case]:
    kept = {
        "JPEG with HTML behind it": (jpeg + _CANARY + _HTML, ("trailing_bytes",)),
        "JPEG with a zip behind it": (jpeg + _CANARY + _ZIP, ("trailing_bytes",)),
        "JPEG with a PDF mark in its comment": (commented(b"%PDF-1.7 " + _CANARY), ()),
        "PNG with script in its text": (png_text_canary(), ()),
        "narrow strip": (encoded(scene(20, 30_000)), ("photo_narrow", "photo_small")),
        "Exif with script": (
            tagged({0x010F: _CANARY.decode(), 0x0131: "=cmd|'/c calc'!A1"}),
            ("software_named",),
        ),
        "Exif of the year 2199": (tagged(None, {0x9003: "2199:01:01 00:00:00"}), ("clock_skew",)),
        "Exif time with NUL": (tagged(None, {0x9003: "20\x00\x00garbage"}), ("exif_time_unreadable",)),
        "CMYK": (cmyk(), ()),
        "16-bit grey": (deep_grey(), ()),
        "ICC profile of 4 MB": (profile_of(4_000_000), ()),
        "ICC profile broken": (profile_of(512), ()),
    }
    for name, (data, notes) in kept.items():
        yield Case(name=name, kind="photo", data=fixed(data), code=None, notes=notes)
