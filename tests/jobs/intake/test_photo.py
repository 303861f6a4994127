"""Photos: full decode, upright pixels, working copy, Exif with nonsense refused."""

import base64
import io
from typing import Any

import numpy as np
import pytest
from PIL import ExifTags, Image, ImageCms, ImageFile, ImageOps
from PIL.TiffImagePlugin import IFDRational

from jobs.errors import Refused
from jobs.intake.decoded import PhotoFacts
from jobs.intake.photo import WORKING_SIDE, read_photo
from tests.jobs.intake.pictures import encoded, exif, opened, scene

TAG = ExifTags.Base
GPS = ExifTags.GPS
PLACE = {
    GPS.GPSLatitudeRef: "N",
    GPS.GPSLatitude: (43.0, 28.0, 2.814),
    GPS.GPSLongitudeRef: "W",
    GPS.GPSLongitude: (98.0, 12.0, 0.0),
}


def read(data: bytes) -> tuple[PhotoFacts, list[str], bytes]:
    copy = io.BytesIO()
    facts, notes = read_photo(data, copy)
    return facts, notes, copy.getvalue()


def with_exif(**directories: Any) -> tuple[PhotoFacts, list[str], bytes]:
    return read(encoded(scene(), exif=exif(**directories)))


def code_of(data: bytes) -> str:
    with pytest.raises(Refused) as refusal:
        read_photo(data, None)
    return refusal.value.code


# ------------------------------------------------------------------ pixels


@pytest.mark.parametrize("orientation", range(1, 9))
def test_upright_for_every_orientation(orientation: int) -> None:
    """Outside check: Pillow's exif_transpose; 5 to 8 swap width and height (CIPA DC-008)."""
    data = encoded(scene(), exif=exif({TAG.Orientation: orientation}))
    facts, _, copy = read(data)
    theirs = ImageOps.exif_transpose(opened(data))
    assert facts["orientation"] == orientation
    assert (facts["stored_width"], facts["stored_height"]) == (320, 240)
    assert (facts["width"], facts["height"]) == theirs.size
    assert (facts["width"] > facts["height"]) is (orientation <= 4)
    difference = np.asarray(opened(copy), dtype=int) - np.asarray(theirs, dtype=int)
    assert np.abs(difference).mean() < 4


def test_one_scene_stored_in_eight_ways_has_one_hash() -> None:
    """A picture stored turned, with the orientation that turns it back, is the same picture."""
    undo = {
        1: None,
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }
    hashes = set()
    for orientation, turn in undo.items():
        stored = scene() if turn is None else scene().transpose(turn)
        facts, _, _ = read(encoded(stored, "PNG", exif=exif({TAG.Orientation: orientation})))
        hashes.add(facts["dhash64"])
    assert len(hashes) == 1


@pytest.mark.parametrize("orientation", [0, 9, 255])
def test_nonsense_orientation_counts_as_upright(orientation: Any) -> None:
    facts, _, _ = with_exif(base={TAG.Orientation: orientation})
    assert (facts["orientation"], facts["width"], facts["height"]) == (1, 320, 240)


def test_a_copy_resaved_and_scaled_stays_near() -> None:
    original = scene(1600, 1200)
    first, _, _ = read(encoded(original))
    second, _, _ = read(encoded(original.resize((800, 600)), quality=40))
    other, _, _ = read(encoded(scene(1600, 1200, seed=8)))
    assert distance(first, second) <= 2
    assert distance(first, other) > 6
    assert correlation(first, second) > 0.97
    assert correlation(first, other) < 0.9


def distance(one: PhotoFacts, other: PhotoFacts) -> int:
    return (int(one["dhash64"], 16) ^ int(other["dhash64"], 16)).bit_count()


def correlation(one: PhotoFacts, other: PhotoFacts) -> float:
    pair = [np.frombuffer(base64.b64decode(facts["luma64"]), dtype=np.uint8) for facts in (one, other)]
    return float(np.corrcoef(pair[0], pair[1])[0, 1])


def test_cmyk_is_converted() -> None:
    facts, _, copy = read(encoded(scene().convert("CMYK")))
    assert opened(copy).mode == "RGB"
    assert facts["mean_luma"] == pytest.approx(np.asarray(scene().convert("L")).mean(), abs=4)


@pytest.mark.parametrize(("value", "luma"), [(0, 0), (257 * 100, 100), (65535, 255)])
def test_sixteen_bit_grey_is_scaled_not_cut(value: int, luma: int) -> None:
    deep = Image.fromarray(np.full((40, 60), value, dtype=np.uint16))
    facts, _, _ = read(encoded(deep, "PNG"))
    assert facts["mean_luma"] == luma


def test_transparency_is_shown_on_white() -> None:
    clear = Image.new("RGBA", (40, 30), (0, 0, 0, 0))
    facts, _, copy = read(encoded(clear, "PNG"))
    assert facts["mean_luma"] == 255.0
    assert opened(copy).getpixel((3, 3)) == (255, 255, 255)


@pytest.mark.parametrize(
    ("size", "expected"),
    [
        ((4032, 3024), (1280, 960)),
        ((3024, 4032), (960, 1280)),
        ((1280, 900), (1280, 900)),
        ((300, 200), (300, 200)),
    ],
)
def test_working_copy_size(size: tuple[int, int], expected: tuple[int, int]) -> None:
    facts, _, copy = read(encoded(scene(*size)))
    assert opened(copy).size == expected
    assert max(expected) <= WORKING_SIDE
    assert (facts["width"], facts["height"]) == size


def test_working_copy_has_no_metadata() -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    data = encoded(
        scene(),
        exif=exif({TAG.Make: "Stavel", TAG.Software: "CANARY"}, satellite=PLACE),
        icc_profile=profile,
        comment=b"CANARY comment",
    )
    _, _, copy = read(data)
    picture = opened(copy)
    assert not picture.getexif()
    assert "icc_profile" not in picture.info
    assert "comment" not in picture.info
    assert b"CANARY" not in copy
    assert b"Stavel" not in copy


@pytest.mark.parametrize(
    ("size", "notes"),
    [
        ((1600, 1200), []),
        ((1200, 1600), []),
        ((1599, 1200), ["photo_small"]),
        ((1600, 1199), ["photo_small"]),
        ((9608, 1200), ["photo_narrow"]),
        ((9600, 1200), []),
    ],
)
def test_size_notes(size: tuple[int, int], notes: list[str]) -> None:
    _, found, _ = read(encoded(scene(*size)))
    assert [note for note in found if note.startswith("photo_")] == notes


# ------------------------------------------------------------------ refusals


@pytest.mark.parametrize("form", ["JPEG", "PNG"])
@pytest.mark.parametrize("share", [0.2, 0.5, 0.99])
def test_cut_off_pictures(form: str, share: float) -> None:
    data = encoded(scene(800, 600), form)
    assert code_of(data[: int(len(data) * share)]) == "image_truncated"


def test_second_picture_in_a_jpeg_is_no_animation() -> None:
    """Phones append depth maps and previews as further pictures (CIPA DC-007)."""
    target = io.BytesIO()
    scene().save(target, "MPO", save_all=True, append_images=[scene(seed=9)])
    facts, _, _ = read(target.getvalue())
    assert (facts["width"], facts["height"]) == (320, 240)


def test_damaged_png_with_its_end() -> None:
    data = bytearray(encoded(scene(), "PNG"))
    data[60] ^= 0xFF
    assert code_of(bytes(data)) in ("image_unreadable", "image_truncated")


# ------------------------------------------------------------------ Exif


def test_time_with_offset() -> None:
    """Outside check: a phone's 2022:08:14 14:12:31 +03:00 is 11:12:31 UTC, its satellite time 11:12:32."""
    facts, notes, _ = with_exif(
        base={TAG.Make: "Stavel", TAG.Model: "Fieldcam 3"},
        camera={
            TAG.DateTimeOriginal: "2022:08:14 14:12:31",
            TAG.OffsetTimeOriginal: "+03:00",
            TAG.SubsecTimeOriginal: "25",
        },
        satellite=PLACE | {GPS.GPSDateStamp: "2022:08:14", GPS.GPSTimeStamp: (11.0, 12.0, 32.0)},
    )
    assert facts["exif_time"] == "2022-08-14T14:12:31"
    assert (facts["exif_offset_min"], facts["exif_subsec_s"]) == (180, 0.25)
    assert facts["exif_at"] == "2022-08-14T11:12:31.250Z"
    assert facts["satellite_at"] == "2022-08-14T11:12:32Z"
    assert (facts["camera_make"], facts["camera_model"]) == ("Stavel", "Fieldcam 3")
    assert notes == ["photo_small"]


def test_time_without_offset_is_no_instant() -> None:
    facts, _, _ = with_exif(camera={TAG.DateTimeOriginal: "2015:04:10 20:12:23"})
    assert (facts["exif_time"], facts["exif_offset_min"], facts["exif_at"]) == (
        "2015-04-10T20:12:23",
        None,
        None,
    )


@pytest.mark.parametrize("offset", ["+15:00", "-12:30", "+05:75", "05:00", "Z", "+5:00", "\0\0"])
def test_offsets_that_are_no_zone(offset: str) -> None:
    facts, _, _ = with_exif(
        camera={TAG.DateTimeOriginal: "2026:05:05 08:41:12", TAG.OffsetTimeOriginal: offset}
    )
    assert (facts["exif_offset_min"], facts["exif_at"]) == (None, None)


@pytest.mark.parametrize(
    ("written", "note"),
    [
        ("2026:02:30 08:00:00", "exif_time_unreadable"),
        ("2026-05-05 08:00:00", "exif_time_unreadable"),
        ("0000:00:00 00:00:00", "exif_time_unreadable"),
        ("20\x0026:05:05 08:00", "exif_time_unreadable"),
        ("    :  :     :  :  ", "exif_time_unreadable"),
        ("", "exif_time_unreadable"),
    ],
)
def test_garbage_times(written: str, note: str) -> None:
    facts, notes, _ = with_exif(camera={TAG.DateTimeOriginal: written})
    assert facts["exif_time"] is None
    assert note in notes


@pytest.mark.parametrize(
    ("year", "skewed"), [(1994, True), (1995, False), (2099, False), (2100, True), (2199, True)]
)
def test_impossible_years_are_kept_and_noted(year: int, skewed: bool) -> None:
    facts, notes, _ = with_exif(camera={TAG.DateTimeOriginal: f"{year}:05:05 08:00:00"})
    assert facts["exif_time"] == f"{year}-05-05T08:00:00"
    assert ("clock_skew" in notes) is skewed


def test_degrees() -> None:
    """Outside check: 43 deg 28 min 2.814 s N is 43.467448333; west is negative (arithmetic)."""
    facts, _, _ = with_exif(satellite=PLACE | {GPS.GPSHPositioningError: 6.5})
    assert facts["lat"] == pytest.approx(43.467448333, abs=5e-10)
    assert facts["lon"] == pytest.approx(-98.2, abs=5e-10)
    assert facts["accuracy_m"] == pytest.approx(6.5)


@pytest.mark.parametrize(
    "change",
    [
        {GPS.GPSLatitude: (90.0, 0.0, 0.5)},
        {GPS.GPSLatitude: (IFDRational(0, 0), 0.0, 0.0)},
        {GPS.GPSLatitude: (43.0, 60.0, 0.0)},
        {GPS.GPSLatitude: (43.0, 28.0, 61.0)},
        {GPS.GPSLatitude: (4294967295.0,)},
        {GPS.GPSLatitudeRef: "X"},
        {GPS.GPSLatitudeRef: ""},
        {GPS.GPSLatitudeRef: "NS"},
        {GPS.GPSLongitude: (181.0, 0.0, 0.0)},
        {GPS.GPSLatitude: (0.0, 0.0, 0.0), GPS.GPSLongitude: (0.0, 0.0, 0.0)},
    ],
)
def test_nonsense_places_are_none(change: dict[int, Any]) -> None:
    facts, notes, _ = with_exif(satellite=PLACE | change)
    assert (facts["lat"], facts["lon"], facts["accuracy_m"]) == (None, None, None)
    assert "position_unreadable" in notes


def test_void_position_is_none() -> None:
    facts, notes, _ = with_exif(satellite=PLACE | {GPS.GPSStatus: "V"})
    assert facts["lat"] is None
    assert "position_void" in notes


@pytest.mark.parametrize("stamp", ["1999:99:99", "garbage", "2026:05"])
def test_nonsense_satellite_dates(stamp: str) -> None:
    facts, _, _ = with_exif(satellite=PLACE | {GPS.GPSDateStamp: stamp, GPS.GPSTimeStamp: (1.0, 2.0, 3.0)})
    assert facts["satellite_at"] is None


def test_texts_are_cleaned_not_trusted() -> None:
    facts, notes, _ = with_exif(
        base={
            TAG.Make: "Sta\u202evel\x1b[31m",
            TAG.Software: "=cmd|'/c calc'!A1 <script>alert(1)</script>" * 9,
        }
    )
    assert facts["camera_make"] is not None
    assert all(" " <= character <= "\uffff" for character in facts["camera_make"])
    assert facts["software"] is not None
    assert facts["software"].startswith("=cmd|'/c calc'!A1 <script>")
    assert len(facts["software"]) == 80
    assert "software_named" in notes


def test_without_exif() -> None:
    _, notes, _ = read(encoded(scene()))
    assert notes[:1] == ["no_exif"]


@pytest.mark.filterwarnings("ignore::UserWarning")
def test_damaged_exif_block_never_refuses_a_picture() -> None:
    good = exif({TAG.Make: "Stavel"}, satellite=PLACE).tobytes()
    for place in range(6, len(good), 7):
        damaged = good[:place] + b"\xff\xff\xff\x7f" + good[place + 4 :]
        facts, _, _ = read(encoded(scene(), exif=damaged))
        assert facts["width"] == 320


def test_a_switch_that_another_library_set_lets_no_cut_off_picture_through(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    data = encoded(scene(800, 600), "JPEG")
    assert code_of(data[: len(data) // 2]) == "image_truncated"
