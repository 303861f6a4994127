"""Regions of a picture painted over before anything else is done with it: what was there is gone."""

import io
import json
import math
from collections.abc import Mapping
from typing import Any, BinaryIO, Final

from PIL import Image, ImageDraw, ImageFile

from jobs.errors import Refused
from jobs.intake.picture_copies import (
    MOST_PIXELS,
    PAGE_COPIES,
    jpeg_bytes,
    page_copies,
    upright,
)

DARK: Final = 40
QUALITY: Final = 92


def painted(data: bytes, regions: list[list[float]]) -> bytes:
    """The picture upright with each region in one flat colour, coded anew, with nothing else of the file.

    Args:
        data: a JPEG or PNG file.
        regions: [x, y, width, height] as shares of the upright picture's sides; rounded outwards to whole
            blocks of 16 x 16 pixels, so that coding cannot carry an edge of what was there.

    Raises:
        Refused: ``image_unreadable``.
    """
    # A library for pages may have switched this on in the same process: a cut-off picture is no picture.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG", "PNG")) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise Refused("image_unreadable", "The picture is too large.")
            opened.load()
            picture = upright(opened)
    except (OSError, ValueError, SyntaxError, EOFError, Image.DecompressionBombError):
        raise Refused("image_unreadable", "The picture cannot be read.") from None
    brush = ImageDraw.Draw(picture)
    for region in regions:
        brush.rectangle(
            pixels_of(region, picture.size), fill=DARK if picture.mode == "L" else (DARK, DARK, DARK)
        )
    return jpeg_bytes(picture, QUALITY)


def pixels_of(region: list[float], size: tuple[int, int]) -> tuple[int, int, int, int]:
    """First and last pixel columns and rows (inclusive) of a region, in whole blocks of 16."""
    x, y, width, height = region
    left, top = (math.floor(share * side / 16) * 16 for share, side in zip((x, y), size, strict=True))
    right, bottom = (
        math.ceil(share * side / 16) * 16 for share, side in zip((x + width, y + height), size, strict=True)
    )
    return left, top, min(right, size[0]) - 1, min(bottom, size[1]) - 1


def paint(data: bytes, target: BinaryIO | None) -> tuple[Mapping[str, Any], list[str]]:
    """In the limited child: one line of JSON with the regions, then the file; writes picture and copies."""
    head, _, file = data.partition(b"\n")
    whole = painted(file, json.loads(head))
    places: list[list[Any]] = []
    if target is not None:
        target.write(whole)
        start = len(whole)
        for copy in page_copies(whole):
            target.write(copy.data)
            places.append([copy.use, copy.scale, copy.width, copy.height, start, start + len(copy.data)])
            start += len(copy.data)
    return {PAGE_COPIES: places}, []
