"""Painted pictures: what lay under a region is gone from picture and copies; the child holds its limits."""

import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image, ImageFile

from jobs.errors import Refused
from jobs.intake import child
from jobs.intake.painting import DARK, painted, pixels_of
from jobs.intake.picture_copies import MOST_PIXELS, is_plain_jpeg
from tests.jobs.intake.pictures import encoded, exif, opened

SIZE = (640, 480)


def bright(size: tuple[int, int] = SIZE, mode: str = "RGB") -> Image.Image:
    """Nearly white all over: any dark pixel was painted."""
    return Image.new("RGB", size, (255, 255, 255) if mode == "1" else (240, 240, 240)).convert(mode)


def dark_box(data: bytes) -> tuple[int, int, int, int]:
    """Left, top, right, bottom (exclusive) of the dark pixels of a JPEG; they fill it."""
    grey = np.asarray(opened(data).convert("L"))
    is_dark = grey < (DARK + 240) // 2
    rows, columns = np.flatnonzero(is_dark.any(axis=1)), np.flatnonzero(is_dark.any(axis=0))
    box = int(columns[0]), int(rows[0]), int(columns[-1]) + 1, int(rows[-1]) + 1
    assert is_dark[box[1] : box[3], box[0] : box[2]].all()
    return box


@pytest.mark.parametrize(
    ("region", "box"),
    [
        # Shares of 640 x 480, rounded outwards to whole blocks of 16 (JPEG codes colour in 16 x 16 at 4:2:0,
        # ISO/IEC 10918-1).
        ([0.25, 0.5, 0.25, 0.25], (160, 240, 319, 367)),
        ([0.0, 0.0, 1.0, 1.0], (0, 0, 639, 479)),
        ([0.25, 0.5, 0.2501, 0.25], (160, 240, 335, 367)),
        ([0.249, 0.499, 0.251, 0.251], (144, 224, 319, 367)),
        ([0.0, 0.0, 1e-9, 1e-9], (0, 0, 15, 15)),
        ([0.9999, 0.9999, 0.0001, 0.0001], (624, 464, 639, 479)),
        ([0.5, 0.5, 0.9, 0.9], (320, 240, 639, 479)),
    ],
)
def test_a_region_covers_whole_blocks_and_no_less(region: list[float], box: tuple[int, ...]) -> None:
    assert pixels_of(region, SIZE) == box
    left, top, right, bottom = box
    assert dark_box(painted(encoded(bright()), [region])) == (left, top, right + 1, bottom + 1)


def test_the_edge_of_a_picture_that_is_no_multiple_of_16() -> None:
    assert pixels_of([0.9, 0.9, 0.1, 0.1], (101, 53)) == (80, 32, 100, 52)
    assert dark_box(painted(encoded(bright((101, 53))), [[0.9, 0.9, 0.1, 0.1]])) == (80, 32, 101, 53)


def test_regions_are_of_the_upright_picture() -> None:
    """Orientation 6 (TIFF 6.0): the file lies on its side; a person draws on it as it is seen."""
    turned = encoded(bright((480, 640)), exif=exif({ExifTags.Base.Orientation: 6}))
    done = painted(turned, [[0.0, 0.0, 0.25, 0.25]])
    assert opened(done).size == (640, 480)
    assert dark_box(done) == (0, 0, 160, 128)


@pytest.mark.parametrize(
    ("mode", "form"),
    [("RGB", "JPEG"), ("L", "JPEG"), ("CMYK", "JPEG"), ("RGBA", "PNG"), ("P", "PNG"), ("1", "PNG"),
     ("I;16", "PNG"), ("LA", "PNG")],
)  # fmt: skip
def test_every_kind_of_picture_is_painted_the_same(mode: str, form: str) -> None:
    picture = Image.new("I;16", SIZE, 60000) if mode == "I;16" else bright(mode=mode)
    assert dark_box(painted(encoded(picture, form), [[0.25, 0.5, 0.25, 0.25]])) == (160, 240, 320, 368)


def test_nothing_of_the_file_but_its_pixels_comes_along() -> None:
    """Neither the metadata nor the thumbnail in it, which would show what was painted over."""
    told = exif({ExifTags.Base.Make: "a maker", ExifTags.Base.ImageDescription: "plate BRK 902"})
    data = encoded(bright(), exif=told, comment=b"plate BRK 902", icc_profile=b"x" * 200)
    done = painted(data, [[0.0, 0.0, 0.1, 0.1]])
    assert b"BRK 902" in data
    assert b"BRK" not in done
    assert is_plain_jpeg(done)
    assert not opened(done).getexif()


def chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def bomb(width: int, height: int) -> bytes:
    """A PNG of a few bytes that says it has so many pixels."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    "data",
    [b"", b"no picture", encoded(bright())[:2000], encoded(bright(), "GIF"), encoded(bright(), "TIFF"),
     bomb(MOST_PIXELS // 1000 + 1, 1000), bomb(40_000, 40_000), bomb(100, 100)],
    ids=["empty", "text", "cut off", "gif", "tiff", "too large", "far too large", "no pixels"],
)  # fmt: skip
def test_what_is_no_picture_is_refused(data: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    # As a library for pages leaves it in a process that renders.
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    with pytest.raises(Refused) as refusal:
        painted(data, [[0.0, 0.0, 0.5, 0.5]])
    assert refusal.value.code == "image_unreadable"


# ------------------------------------------------------------------ in the child


@pytest.mark.slow
def test_the_child_gives_the_painted_picture_and_its_painted_copies() -> None:
    whole, copies = child.paint(encoded(bright((3200, 2400))), [[0.25, 0.5, 0.25, 0.25], [0, 0, 0.1, 0.1]])
    assert [(copy.use, copy.scale, copy.width, copy.height) for copy in copies] == [
        ("small", 2, 1600, 1200), ("large", 1, 3200, 2400),
    ]  # fmt: skip
    for data in (whole, *(copy.data for copy in copies)):
        grey = np.asarray(opened(data).convert("L"))
        height, width = grey.shape
        for share_x, share_y, is_dark in ((0.3, 0.6, True), (0.05, 0.05, True), (0.7, 0.3, False)):
            assert bool(grey[int(share_y * height), int(share_x * width)] < 140) is is_dark


@pytest.mark.slow
@pytest.mark.parametrize(
    ("data", "regions", "code"),
    [
        (bomb(40_000, 40_000), [[0, 0, 0.5, 0.5]], "image_unreadable"),
        (b"no picture", [[0, 0, 0.5, 0.5]], "image_unreadable"),
        # What should have been refused before: nothing comes out rather than a picture that shows too much.
        (encoded(bright()), [[1.2, 0.5, 0.1, 0.1]], "decoder_failed"),
        (encoded(bright()), [[0.5, 0.5, float("nan"), 0.1]], "decoder_failed"),
        (encoded(bright()), [[0.5, 0.5]], "decoder_failed"),
    ],
    ids=["bomb", "text", "outside", "not a number", "half a region"],
)
def test_a_child_that_cannot_paint_gives_a_refusal_and_leaves_nothing(
    data: bytes, regions: list[list[float]], code: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(child.tempfile, "tempdir", str(tmp_path))
    with pytest.raises(Refused) as refusal:
        child.paint(data, regions)
    assert refusal.value.code == code
    assert list(tmp_path.iterdir()) == []
