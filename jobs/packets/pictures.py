"""Pictures of a packet's pages: ready copies byte for byte, made on the spot where there are none."""

import io
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Final

from PIL import Image

from jobs.intake.picture_copies import LEAST_PX, NoPictureError, is_plain_jpeg, jpeg_bytes, page_copy
from jobs.packets.source import EnclosedFile, PacketSource

# A page that shows a picture large names it so: hash of the evidence file and this.
LARGE: Final = "-large"
LONGEST_PX: Final = 2 * LEAST_PX["large"]


class WithheldPictureError(ValueError):
    """A page names a picture that this packet does not show: a fault of the page, never of the input."""


def picture_paths(
    source: PacketSource, names: Iterable[str], stored: Callable[[str], Path]
) -> dict[str, Path]:
    """Where the bytes of each picture lie that the pages name.

    Args:
        source: the frozen input, which knows the copies.
        names: SHA-256 of the evidence file for the copy in lists, with ``-large`` for the large one.
        stored: gives the path of the bytes with a SHA-256.

    Raises:
        WithheldPictureError: the picture is not one that may be shown.
    """
    shown = {file.sha256: file for file in source.shipped_files()}
    return {name: stored(_copy_of(shown, name)) for name in names}


def _copy_of(shown: dict[str, EnclosedFile], name: str) -> str:
    file = shown.get(name.removesuffix(LARGE))
    if file is None:
        raise WithheldPictureError(name)
    if name.endswith(LARGE):
        return file.large_sha256 or file.sha256
    return file.copy_sha256 or file.sha256


def thumbnail(original: Path) -> bytes:
    """A JPEG for a page: the file itself where it is a ready copy, else a copy made now, upright and plain.

    A picture that cannot be drawn gives a grey plate with a cross: the page says in words that it is one.
    """
    data = original.read_bytes()
    try:
        return data if _is_ready(data) else page_copy(data, "small").data
    except NoPictureError:
        return _plate()


def _is_ready(data: bytes) -> bool:
    if not is_plain_jpeg(data):
        return False
    with Image.open(io.BytesIO(data), formats=("JPEG",)) as picture:
        return max(picture.size) < LONGEST_PX and picture.mode in ("L", "RGB")


def _plate() -> bytes:
    plate = Image.new("L", (160, 120), 235)
    for step in range(120):
        plate.putpixel((step * 160 // 120, step), 120)
        plate.putpixel((159 - step * 160 // 120, step), 120)
    return jpeg_bytes(plate.convert("RGB"))
