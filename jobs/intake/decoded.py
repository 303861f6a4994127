"""What a decoder hands back: the facts of one evidence file, ready to be stored as JSON.

Forms of ``Decoded.facts`` by ``Decoded.decoder`` (several kinds share one decoder):

* ``photo``: :class:`PhotoFacts`
* ``drive_log``: :class:`DriveFacts`; ``voltage_log``: :class:`VoltageFacts`
* ``climate_log``: :class:`ClimateFacts`
* ``scan_summary``: the dictionary of :func:`jobs.intake.scan_summary.validate_scan`
* ``measurement_sheet`` (also for film_build): :class:`SheetFacts`
* ``statement``: :class:`StatementFacts`; ``signature``: :class:`SignatureFacts`
* ``document``: :class:`DocumentFacts`

All times ``t`` are POSIX seconds of the log's own clock. Nothing here is corrected, rounded or guessed:
a value that cannot be read with certainty is None, and ``Decoded.notes`` says so.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypedDict

from jobs.intake.picture_copies import PageCopy

# Seconds, degrees north, degrees east, km/h, degrees clockwise from north, metres.
FixRow = tuple[float, float, float, float | None, float | None, float | None]


class PhotoFacts(TypedDict):
    """One picture.

    Attributes:
        width, height: pixels of the upright picture (sides 5 to 8 of the Exif orientation swap them).
        stored_width, stored_height: pixels as stored in the file.
        orientation: Exif value 1 to 8; 1 where absent or nonsense.
        exif_time: local camera time ``YYYY-MM-DDTHH:MM:SS`` of DateTimeOriginal; None: absent or garbage.
        exif_subsec_s: fraction of a second that belongs to it.
        exif_offset_min: minutes east of UTC from OffsetTimeOriginal; None where the camera did not say.
        exif_at: the instant as RFC 3339 UTC, only where time and offset are both there.
        satellite_at: RFC 3339 UTC from GPSDateStamp and GPSTimeStamp.
        lat, lon: WGS 84 degrees; accuracy_m: GPSHPositioningError.
        camera_make, camera_model, software: cleaned text of at most 80 characters.
        dhash64: 16 hexadecimal digits, row by row, most significant bit first.
        laplacian_variance: of luma scaled to 1024 wide; None for a picture of fewer than 3 x 3 pixels.
        clipped_share: 0 to 1; mean_luma: 0 to 255.
        slip_texts: texts of the two-dimensional codes in the picture, at most 8, sorted.
        luma64: base64 of 64 x 64 bytes of luma, row by row, for a correlation of two pictures.
    """

    width: int
    height: int
    stored_width: int
    stored_height: int
    orientation: int
    exif_time: str | None
    exif_subsec_s: float | None
    exif_offset_min: int | None
    exif_at: str | None
    satellite_at: str | None
    lat: float | None
    lon: float | None
    accuracy_m: float | None
    camera_make: str | None
    camera_model: str | None
    software: str | None
    dhash64: str
    laplacian_variance: float | None
    clipped_share: float
    mean_luma: float
    slip_texts: list[str]
    luma64: str


class DriveFacts(TypedDict):
    """``source`` is ``csv``, ``gpx`` or ``nmea``; each fix is [t, lat, lon, speed, course, accuracy]."""

    source: str
    fixes: list[FixRow]


class VoltageFacts(TypedDict):
    """Samples [t, V]; events [t, name]: crank_start, crank_end, key_on, key_off, support_on, support_off."""

    samples: list[tuple[float, float]]
    events: list[tuple[float, str]]


class ClimateFacts(TypedDict):
    """Samples [t, degC, percent relative humidity]."""

    samples: list[tuple[float, float, float]]


class DocumentFacts(TypedDict):
    """A PDF: ``text_pages`` of the first ``pages_read`` hold text; ``active_content`` is what could act."""

    pages: int
    pages_read: int
    text_pages: int
    pdf_version: str
    active_content: list[str]


class SheetReading(TypedDict):
    """One raw reading: ``value`` as typed, ``at`` RFC 3339 with offset; ``instrument`` None means by eye."""

    quantity: str
    place: str
    value: str
    unit: str
    instrument: str | None
    at: str
    by: str
    set_no: int
    procedure_id: str | None
    session: str | None


class SheetFacts(TypedDict):
    readings: list[SheetReading]


class StatementFacts(TypedDict):
    says: list[str]
    text_version: str
    by: str
    at: str


class SignatureFacts(TypedDict):
    """``covers`` are SHA-256 values in lower-case hexadecimal, sorted, each once."""

    person: str
    role: str
    covers: list[str]
    text_version: str
    at: str
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoded:
    """The answer for one file.

    Attributes:
        kind: the evidence kind asked for.
        decoder: which form ``facts`` has (see the module's docstring).
        media_type: decided by content.
        extension: matching file name ending without the dot.
        facts: JSON-able.
        notes: stable codes of remarks (``exif_time_unreadable``, ``pdf_active_content``,
            ``trailing_bytes``, ``photo_small``, ``slow_sampling`` …); a note never refuses.
        working_copy: photos only: an upright JPEG without metadata, beside the input file; the caller
            moves it to storage or deletes it.
        copies: photos only: the copies for pages, with their bytes.
    """

    kind: str
    decoder: str
    media_type: str
    extension: str
    facts: dict[str, Any]
    notes: tuple[str, ...] = ()
    working_copy: Path | None = None
    copies: tuple[PageCopy, ...] = ()
