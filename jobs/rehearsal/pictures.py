"""The photos of a rehearsal: drawn once and kept, then given their own camera time, place and slip."""

import io
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Final

import segno
from PIL import Image, ImageFilter

from jobs.demo.evidence import exif_of
from jobs.demo.scenes import Setting, draw_scene
from jobs.rehearsal.scratch import cache_folder, digest_of

QUALITY: Final = 88
_SOI: Final = b"\xff\xd8"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One photo.

    Attributes:
        subject, job, text: what the scene shows; the same three draw the same picture.
        slip: content of the slip's code; None: no slip in the picture.
        taken_at: local camera time, or None for a picture without any camera data.
        with_offset: whether the camera wrote its offset from UTC.
        place: (latitude, longitude) in degrees, or None.
        size: pixels, or None for the usual 2048 x 1536.
        blurred: out of focus.
        mark: a comment in the file, for other bytes of the same picture.
    """

    subject: str
    job: str
    text: str = ""
    slip: str | None = None
    taken_at: datetime | None = None
    with_offset: bool = True
    place: tuple[float, float] | None = None
    size: tuple[int, int] | None = None
    blurred: bool = False
    mark: str = ""


def photo(shot: Shot) -> bytes:
    """A JPEG whose scene comes from the cache where it was drawn before."""
    plain = replace(shot, taken_at=None, place=None, with_offset=True, slip=None, mark="")
    encoded = _kept(plain)
    if shot.slip is not None:
        encoded = _with_slip(encoded, shot.slip)
    if shot.mark:
        encoded = _with_segment(encoded, b"\xff\xfe", shot.mark.encode())
    return encoded if shot.taken_at is None else _with_camera_data(encoded, shot)


def _kept(shot: Shot) -> bytes:
    drawn_by = digest_of("jobs/demo/canvas.py", "jobs/demo/digits.py", "jobs/demo/scenes.py",
                         more=repr(shot).encode())  # fmt: skip
    return keep(cache_folder() / f"scene-{drawn_by}.jpg", lambda: _draw(shot))


def keep(path: Path, make: Callable[[], bytes]) -> bytes:
    """The file's bytes, made and put there in one step where it is not there yet."""
    if path.is_file():
        return path.read_bytes()
    data = make()
    waiting = path.with_suffix(f".{os.getpid()}.new")
    waiting.write_bytes(data)
    waiting.replace(path)
    return data


def _draw(shot: Shot) -> bytes:
    picture = draw_scene(shot.subject, Setting(job=shot.job, text=shot.text))
    if shot.size is not None:
        picture = picture.resize(shot.size)
    if shot.blurred:
        picture = picture.filter(ImageFilter.GaussianBlur(picture.width / 100))
    return _encoded(picture)


def _encoded(picture: Image.Image) -> bytes:
    encoded = io.BytesIO()
    picture.save(encoded, "JPEG", quality=QUALITY)
    return encoded.getvalue()


def _with_slip(encoded: bytes, slip: str) -> bytes:
    """A white card with the slip's two-dimensional code (ISO/IEC 18004), laid into the picture."""
    with Image.open(io.BytesIO(encoded)) as opened:
        picture = opened.convert("RGB")
    rows = [list(row) for row in segno.make(slip, error="m", boost_error=False).matrix]
    code = Image.new("L", (len(rows) + 8, len(rows) + 8), 244)
    for y, row in enumerate(rows):
        for x, dark in enumerate(row):
            if dark:
                code.putpixel((x + 4, y + 4), 18)
    side = picture.width // 4
    card = code.convert("RGB").resize((side, side), Image.Resampling.NEAREST)
    picture.paste(card, ((picture.width - side) // 2, picture.height - side - picture.height // 20))
    return _encoded(picture)


def _with_camera_data(encoded: bytes, shot: Shot) -> bytes:
    """The same picture with Exif: only a segment is put in, so the scene need not be encoded again."""
    assert shot.taken_at is not None  # noqa: S101 - asked before
    exif = exif_of(shot.taken_at, shot.place, offset=shot.with_offset)
    return _with_segment(encoded, b"\xff\xe1", exif.tobytes())


def _with_segment(encoded: bytes, marker: bytes, content: bytes) -> bytes:
    """One more segment right after the start of the file (ISO/IEC 10918-1, annex B)."""
    segment = marker + (len(content) + 2).to_bytes(2, "big") + content
    return _SOI + segment + encoded[len(_SOI) :]
