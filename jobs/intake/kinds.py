"""Which contents each evidence kind accepts, which decoder reads them, and how many bytes they may have."""

from dataclasses import dataclass
from typing import Final

from jobs.errors import Refused
from jobs.intake.signature import (
    CSV,
    GPX,
    HEIF,
    HIDDEN_PDF,
    HTML,
    JPEG,
    JSON,
    NMEA,
    PDF,
    PNG,
    UTF16,
    FileType,
    recognise,
)

_PICTURES: Final = ((JPEG, "photo"), (PNG, "photo"))
_MEGABYTE: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class Kind:
    """An evidence kind: accepted types with their decoders; ``wanted`` completes "This must be ..."."""

    accepts: tuple[tuple[FileType, str], ...]
    max_bytes: int
    wanted: str


def _json(decoder: str, wanted: str) -> Kind:
    return Kind(((JSON, decoder),), 5 * _MEGABYTE, wanted)


KINDS: Final = {
    "photo": Kind(_PICTURES, 30 * _MEGABYTE, "a JPEG or PNG picture"),
    "document": Kind(((PDF, "document"),), 50 * _MEGABYTE, "a PDF"),
    "certificate": Kind(((PDF, "document"),), 50 * _MEGABYTE, "a PDF"),
    "alignment_report": Kind(
        ((PDF, "document"), *_PICTURES), 50 * _MEGABYTE, "a PDF, or a JPEG or PNG picture"
    ),
    "scan_summary": Kind(
        ((JSON, "scan_summary"), (PDF, "document"), *_PICTURES),
        50 * _MEGABYTE,
        "a scan summary in JSON, or a PDF or picture of the scan report",
    ),
    "voltage_log": Kind(((CSV, "voltage_log"),), 50 * _MEGABYTE, "a CSV file with the header t,volts"),
    "climate_log": Kind(
        ((CSV, "climate_log"),), 50 * _MEGABYTE, "a CSV file with the header t,temp_c,rh_percent"
    ),
    "drive_log": Kind(
        ((CSV, "drive_csv"), (GPX, "drive_gpx"), (NMEA, "drive_nmea")),
        50 * _MEGABYTE,
        "a CSV, GPX 1.1 or NMEA 0183 log",
    ),
    "measurement_sheet": Kind(
        ((JSON, "measurement_sheet"), *_PICTURES),
        30 * _MEGABYTE,
        "the tablet's sheet in JSON, or a picture of it",
    ),
    "film_build": _json("film_build", "film readings in JSON"),
    "statement": _json("statement", "a statement in JSON"),
    "signature": _json("signature", "a signature in JSON"),
}


def choose(kind: str, head: bytes) -> tuple[FileType, str]:
    """The type and decoder for a file of this kind that starts with ``head``.

    Raises:
        Refused: ``unknown_kind``; ``empty_file``; ``unrecognised_type`` if it opens like no file we know;
            ``type_mismatch`` if other kinds take such a file; ``type_not_allowed`` if no kind does.
    """
    wanted = KINDS.get(kind)
    if wanted is None:
        raise Refused("unknown_kind", "There is no such kind of evidence.", kinds=sorted(KINDS))
    if not head:
        raise Refused("empty_file", "The file is empty.")
    found = recognise(head)
    if found is None:
        raise Refused(
            "unrecognised_type", f"This is no file that can be read here. It must be {wanted.wanted}."
        )
    for accepted, decoder in wanted.accepts:
        if found == accepted or (found == UTF16 and accepted == CSV):
            return accepted, decoder
    raise _refusal(found, wanted)


def _refusal(found: FileType, wanted: Kind) -> Refused:
    must_be = f"It must be {wanted.wanted}."
    if found == HEIF:
        return Refused(
            "type_not_allowed",
            f"This is a HEIC picture, which is not read here. Set the camera to JPEG. {must_be}",
            found=found.media_type,
        )
    taken_elsewhere = any(found == accepted for kind in KINDS.values() for accepted, _ in kind.accepts)
    text_for_picture = found in (HTML, UTF16) and wanted.accepts == _PICTURES
    if taken_elsewhere or text_for_picture or found in (HIDDEN_PDF, UTF16):
        code, message = "type_mismatch", "The content is of another kind than asked for."
    else:
        code, message = "type_not_allowed", "Files of this kind are not taken."
    return Refused(code, f"{message} {must_be}", found=found.media_type)
