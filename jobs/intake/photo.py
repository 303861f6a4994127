"""Photos: full decode as proof that the file is whole, its numbers, an upright copy without metadata."""

import base64
import io
import warnings
from typing import BinaryIO, Final

import numpy as np
from PIL import Image, ImageFile, ImageOps, PngImagePlugin, UnidentifiedImageError

from jobs.errors import Refused
from jobs.intake import picture_measures as measures
from jobs.intake.decoded import PhotoFacts
from jobs.intake.exif import read_exif
from jobs.intake.picture_copies import PAGE_COPIES, page_copies
from jobs.intake.slip_code import read_slip_texts

MAX_PIXELS: Final = 60_000_000
# Below this a photo is kept, and judged too small where a proof rests on it (project default).
MIN_LONG_SIDE: Final = 1600
MIN_SHORT_SIDE: Final = 1200
# A strip narrower than 1 to 8 shows no scene; kept with a note (project default).
MAX_ASPECT: Final = 8.0
WORKING_SIDE: Final = 1280
WORKING_QUALITY: Final = 84
_JPEG_END: Final = b"\xff\xd9"
_PNG_END: Final = b"IEND\xaeB`\x82"


def read_photo(data: bytes, working_copy: BinaryIO | None) -> tuple[PhotoFacts, list[str]]:
    """Decodes a JPEG or PNG fully.

    Args:
        data: the file.
        working_copy: receives the upright JPEG of at most 1280 pixels a side; may be None.

    Raises:
        Refused: ``image_truncated``, ``image_unreadable``, ``image_too_large``, ``metadata_too_large``,
            ``animated_not_allowed``.
    """
    Image.MAX_IMAGE_PIXELS = MAX_PIXELS
    # A library for pages may have switched this on in the same process: a cut-off picture is not a photo.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    with warnings.catch_warnings():
        # Between one and two times the limit Pillow only warns.
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        picture = _loaded(data)
    exif = read_exif(picture)
    stored_width, stored_height = picture.size
    upright = _upright(picture, exif.orientation)
    luma = np.asarray(upright.convert("L"))
    facts: PhotoFacts = {
        "width": upright.width,
        "height": upright.height,
        "stored_width": stored_width,
        "stored_height": stored_height,
        "orientation": exif.orientation,
        "exif_time": exif.exif_time,
        "exif_subsec_s": exif.exif_subsec_s,
        "exif_offset_min": exif.exif_offset_min,
        "exif_at": exif.exif_at,
        "satellite_at": exif.satellite_at,
        "lat": exif.lat,
        "lon": exif.lon,
        "accuracy_m": exif.accuracy_m,
        "camera_make": exif.camera_make,
        "camera_model": exif.camera_model,
        "software": exif.software,
        "dhash64": measures.difference_hash(luma),
        "laplacian_variance": _six(measures.sharpness(luma)),
        "clipped_share": round(measures.clipped_share(luma), 6),
        "mean_luma": round(measures.mean_luma(luma), 6),
        "slip_texts": read_slip_texts(luma),
        "luma64": base64.b64encode(measures.small_luma(luma)).decode("ascii"),
    }
    if working_copy is not None:
        _write_working_copy(upright, working_copy)
        facts = _with_page_copies(facts, data, working_copy)
    return facts, exif.notes + _size_notes(upright) + _tail_notes(data)


def _loaded(data: bytes) -> Image.Image:
    """The picture with all its pixels; only the two wanted decoders may run."""
    try:
        picture = Image.open(io.BytesIO(data), formats=["JPEG", "PNG"])
        # A JPEG may carry further pictures (depth, thumbnails); its first one is the photo. A PNG with
        # frames is an animation, of which Pillow would silently show the first.
        if isinstance(picture, PngImagePlugin.PngImageFile) and getattr(picture, "is_animated", False):
            raise Refused("animated_not_allowed", "The picture is an animation. Send a single photo.")
        picture.load()
    except (Image.DecompressionBombWarning, Image.DecompressionBombError, MemoryError):
        raise Refused(
            "image_too_large",
            f"The picture has more than {MAX_PIXELS // 1_000_000} megapixels.",
            max_pixels=MAX_PIXELS,
        ) from None
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, IndexError, EOFError) as error:
        raise _refusal(data, error) from None
    return picture


def _refusal(data: bytes, error: Exception) -> Refused:
    text = str(error).lower()
    if "too large" in text or "max_text" in text:
        return Refused("metadata_too_large", "The picture carries too much hidden text.")
    ended = _PNG_END in data if data.startswith(b"\x89PNG") else _JPEG_END in data
    if "truncated" in text or not ended:
        return Refused(
            "image_truncated", "The picture is cut off: its file did not arrive or was not saved whole."
        )
    return Refused("image_unreadable", "The picture is damaged and cannot be read.")


def _upright(picture: Image.Image, orientation: int) -> Image.Image:
    """RGB or grey pixels as a person would see them: transparency on white, deep grey in 8 bits, turned."""
    turned = _turned(_plain(picture), orientation)
    turned.info.clear()
    return turned


def _plain(picture: Image.Image) -> Image.Image:
    if picture.mode.startswith("I"):
        # 16-bit grey: 65535 is white. Pillow's own conversion cuts off at 255.
        deep = np.asarray(picture).astype(np.float64)
        return Image.fromarray(np.rint(np.clip(deep, 0.0, 65535.0) / 257.0).astype(np.uint8))
    if picture.has_transparency_data:
        seen = picture.convert("RGBA")
        ground = Image.new("RGBA", seen.size, "white")
        return Image.alpha_composite(ground, seen).convert("RGB")
    return picture if picture.mode in ("L", "RGB") else picture.convert("RGB")


_TURNS: Final = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


def _turned(picture: Image.Image, orientation: int) -> Image.Image:
    turn = _TURNS.get(orientation)
    return picture.copy() if turn is None else picture.transpose(turn)


def _write_working_copy(upright: Image.Image, target: BinaryIO) -> None:
    small = upright
    if max(upright.size) > WORKING_SIDE:
        small = ImageOps.contain(upright, (WORKING_SIDE, WORKING_SIDE), Image.Resampling.LANCZOS)
    encoded = io.BytesIO()
    small.save(encoded, "JPEG", quality=WORKING_QUALITY, optimize=True)
    target.write(encoded.getvalue())


def _with_page_copies(facts: PhotoFacts, data: bytes, target: BinaryIO) -> PhotoFacts:
    """The page copies one after the other behind the working copy, and where each lies."""
    start, places = target.tell(), []
    for copy in page_copies(data):
        target.write(copy.data)
        places.append([copy.use, copy.scale, copy.width, copy.height, start, start + len(copy.data)])
        start += len(copy.data)
    # Only between the child and its parent: no fact of the record.
    return {**facts, PAGE_COPIES: places}  # type: ignore[typeddict-unknown-key]


def _six(value: float | None) -> float | None:
    return None if value is None else round(value, 6)


def _size_notes(upright: Image.Image) -> list[str]:
    long_side, short_side = max(upright.size), min(upright.size)
    notes = []
    if long_side < MIN_LONG_SIDE or short_side < MIN_SHORT_SIDE:
        notes.append("photo_small")
    if long_side > MAX_ASPECT * short_side:
        notes.append("photo_narrow")
    return notes


def _tail_notes(data: bytes) -> list[str]:
    end = _PNG_END if data.startswith(b"\x89PNG") else _JPEG_END
    return [] if data.rstrip(b"\0").endswith(end) else ["trailing_bytes"]
