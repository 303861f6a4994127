"""Makes pictures for tests: JPEG and PNG bytes with chosen size, Exif and content."""

import io
from collections.abc import Mapping
from typing import Any

import numpy as np
from PIL import ExifTags, Image


def scene(width: int = 320, height: int = 240, seed: int = 7) -> Image.Image:
    """Coarse random blocks: no symmetry, so every turn and mirror image differs."""
    blocks = np.random.default_rng(seed).integers(20, 236, size=(6, 8, 3), dtype=np.uint8)
    return Image.fromarray(blocks).resize((width, height), Image.Resampling.NEAREST)


def exif(
    base: Mapping[int, Any] | None = None,
    camera: Mapping[int, Any] | None = None,
    satellite: Mapping[int, Any] | None = None,
) -> Image.Exif:
    """An Exif block from tag numbers of the three directories."""
    block = Image.Exif()
    block.update(dict(base or {}))
    if camera:
        block.get_ifd(ExifTags.IFD.Exif).update(camera)
    if satellite:
        block.get_ifd(ExifTags.IFD.GPSInfo).update(satellite)
    return block


def encoded(picture: Image.Image, form: str = "JPEG", **options: Any) -> bytes:
    target = io.BytesIO()
    if form == "JPEG":
        options = {"quality": 90, **options}
    picture.save(target, form, **options)
    return target.getvalue()


def opened(data: bytes) -> Image.Image:
    picture = Image.open(io.BytesIO(data))
    picture.load()
    return picture
