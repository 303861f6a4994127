"""Copies of a photo for pages: upright, without metadata, at exactly 1/2, 1/4 or 1/8 of its size where large.

A JPEG decoder gives these sizes itself, by leaving out what it would otherwise compute and throw away
(ISO/IEC 10918-1 codes blocks of 8 x 8: 1/8 is one value of each).
"""

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
from PIL import Image, ImageFile, ImageOps

Use = Literal["small", "large"]
# Long side of a copy at least, where the picture has it: legible in a list, and alone on a page.
LEAST_PX: Final[dict[Use, int]] = {"small": 1008, "large": 2016}
SCALES: Final = (8, 4, 2, 1)
QUALITY: Final = 85
MOST_PIXELS: Final = 80_000_000
# Under this name the child tells where in its file the copies lie.
PAGE_COPIES: Final = "page_copies"


class NoPictureError(ValueError):
    """The file cannot be drawn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageCopy:
    """A JPEG of ``width`` x ``height`` pixels, the picture's sides divided by ``scale``."""

    use: Use
    scale: int
    width: int
    height: int
    data: bytes


def scale_for(long_side: int, least: int) -> int:
    """The largest of 8, 4, 2 and 1 by which the long side can be divided and still have ``least`` pixels."""
    return next(scale for scale in SCALES if scale == 1 or -(-long_side // scale) >= least)


def page_copies(data: bytes) -> tuple[PageCopy, ...]:
    """The small and the large copy of a JPEG, PNG or WebP file.

    Raises:
        NoPictureError: it cannot be drawn, or has too many pixels.
    """
    return tuple(page_copy(data, use) for use in LEAST_PX)


def page_copy(data: bytes, use: Use) -> PageCopy:
    """One copy; ``NoPictureError`` as for ``page_copies``."""
    # A library for pages may have switched this on in the same process: a cut-off picture is no picture.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "WEBP")) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise NoPictureError("too many pixels")
            scale = scale_for(max(opened.size), LEAST_PX[use])
            drawn = upright(_scaled(opened, scale))
    except (OSError, ValueError, SyntaxError, EOFError, Image.DecompressionBombError) as error:
        raise NoPictureError(str(error)) from error
    return PageCopy(use=use, scale=scale, width=drawn.width, height=drawn.height, data=jpeg_bytes(drawn))


def _scaled(opened: Image.Image, scale: int) -> Image.Image:
    """``opened`` at 1/scale; what the decoder does not do itself is done by averaging whole squares."""
    before = opened.size
    if scale > 1:
        # Asked for in the picture's own shape: a square would make the decoder do less than it can.
        opened.draft(None, (before[0] // scale, before[1] // scale))
    opened.load()
    done = round(before[0] / opened.width)
    left = scale // done if done else scale
    return _reduced(opened, left) if left > 1 else opened


def _reduced(picture: Image.Image, factor: int) -> Image.Image:
    small = plain_pixels(picture).reduce(factor)
    # Turning it upright still needs what the file said.
    small.info["exif"] = picture.getexif().tobytes()
    return small


def upright(picture: Image.Image) -> Image.Image:
    """Grey or RGB pixels as a person would see them, in a fresh picture that carries nothing else."""
    turned = ImageOps.exif_transpose(picture)
    pixels = plain_pixels(turned)
    clean = Image.new(pixels.mode, pixels.size)
    clean.paste(pixels)
    return clean


def plain_pixels(picture: Image.Image) -> Image.Image:
    """RGB or grey: transparency on white, deep grey in 8 bits."""
    if picture.mode.startswith("I"):
        # 16-bit grey: 65535 is white. Pillow's own conversion cuts off at 255.
        deep = np.asarray(picture).astype(np.float64)
        return Image.fromarray(np.rint(np.clip(deep, 0.0, 65535.0) / 257.0).astype(np.uint8))
    if picture.has_transparency_data:
        seen = picture.convert("RGBA")
        return Image.alpha_composite(Image.new("RGBA", seen.size, "white"), seen).convert("RGB")
    return picture if picture.mode in ("L", "RGB") else picture.convert("RGB")


def jpeg_bytes(picture: Image.Image, quality: int = QUALITY) -> bytes:
    """The picture as a JPEG with its pixels and nothing else."""
    buffer = io.BytesIO()
    picture.save(buffer, "JPEG", quality=quality, subsampling=2, optimize=False)
    return buffer.getvalue()


def taken_apart(file: Path, places: list[list[Any]]) -> tuple[PageCopy, ...]:
    """The copies that lie behind the working copy in ``file``, which keeps the working copy alone."""
    if not places:
        return ()
    data = file.read_bytes()
    with file.open("r+b") as stream:
        stream.truncate(int(places[0][4]))
    return tuple(
        PageCopy(use=use, scale=scale, width=width, height=height, data=data[start:end])
        for use, scale, width, height, start, end in places
    )


_PLAIN_MARKS: Final = frozenset({0xE0, 0xDB, 0xC0, 0xC1, 0xC2, 0xC4, 0xDD})


def is_plain_jpeg(data: bytes) -> bool:
    """Whether a JPEG carries nothing before its pixels but the tables that they need (no Exif, no text)."""
    if not data.startswith(b"\xff\xd8"):
        return False
    place = 2
    while place + 4 <= len(data) and data[place] == 0xFF:
        mark = data[place + 1]
        if mark == 0xDA:
            return data.endswith(b"\xff\xd9")
        if mark not in _PLAIN_MARKS:
            return False
        place += 2 + int.from_bytes(data[place + 2 : place + 4], "big")
    return False
