"""Derived pictures for the packet: small copies without metadata; the original travels as an attachment."""

import io
from pathlib import Path
from typing import Final

from PIL import Image, ImageOps

LONG_SIDE_PX: Final = 480
MOST_PIXELS: Final = 80_000_000


class NoPictureError(ValueError):
    """The file cannot be drawn."""


def thumbnail(original: Path) -> bytes:
    """A JPEG of at most 480 px on its long side, upright, with nothing of the original's metadata.

    A picture that cannot be drawn gives a grey plate with a cross: the page says in words that it is one.
    """
    try:
        return _small(original)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return _plate()


def _small(original: Path) -> bytes:
    with Image.open(original, formats=("JPEG", "PNG", "WEBP")) as picture:
        if picture.width * picture.height > MOST_PIXELS:
            raise NoPictureError("too many pixels")
        picture.draft("RGB", (LONG_SIDE_PX * 2, LONG_SIDE_PX * 2))
        upright = ImageOps.exif_transpose(picture)
        upright.thumbnail((LONG_SIDE_PX, LONG_SIDE_PX), Image.Resampling.LANCZOS)
        # A fresh image takes only the pixels with it: no Exif, no profile, no text chunks.
        clean = Image.new("RGB", upright.size, "white")
        clean.paste(upright.convert("RGB"))
    return _jpeg(clean)


def _plate() -> bytes:
    plate = Image.new("L", (160, 120), 235)
    for step in range(120):
        plate.putpixel((step * 160 // 120, step), 120)
        plate.putpixel((159 - step * 160 // 120, step), 120)
    return _jpeg(plate.convert("RGB"))


def _jpeg(picture: Image.Image) -> bytes:
    buffer = io.BytesIO()
    picture.save(buffer, "JPEG", quality=82, subsampling=2, optimize=False)
    return buffer.getvalue()
