"""GPX 1.1 tracks: streamed, with document type and entities forbidden and the depth bounded."""

import io
import math
from collections.abc import Iterator
from typing import BinaryIO, Final
from xml.etree.ElementTree import Element, ParseError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import iterparse

from jobs.errors import Refused
from jobs.intake.decoded import DriveFacts, FixRow
from jobs.intake.drive_log import (
    MAX_FIXES,
    OPTIONAL_COLUMNS,
    check_optional,
    check_position,
    drive_facts,
    too_long,
)
from jobs.intake.log_text import check_instant, posix_seconds, read_instant, read_number

MAX_DEPTH: Final = 32
_SPACE: Final = "{http://www.topografix.com/GPX/1/1}"
_POINT: Final = _SPACE + "trkpt"
_TIME: Final = _SPACE + "time"
_EXTENSIONS: Final = _SPACE + "extensions"
# GPX 1.1 has no speed, course or accuracy of its own and leaves them to extensions in a foreign namespace.
# This is ours: the column names and units of the CSV form.
TRACK_NAMESPACE: Final = "urn:x-witness-mark:track:1"


def read_gpx(data: bytes, _: BinaryIO | None) -> tuple[DriveFacts, list[str]]:
    """Every track point in file order; time, latitude and longitude are required of each.

    Speed, course and accuracy are read from the point's extensions in :data:`TRACK_NAMESPACE` only; in other
    namespaces their units are not known, and they are not guessed.

    Raises:
        Refused: ``xml_unreadable``, ``xml_entities_forbidden``, ``xml_too_deep``, ``gpx_version``,
            ``number_format``, ``time_missing``, ``time_format``, ``log_out_of_range``, ``log_time_order``,
            ``log_empty``, ``log_too_long``.
    """
    fixes: list[FixRow] = []
    for point in _points(data):
        if len(fixes) >= MAX_FIXES:
            raise too_long()
        fixes.append(_fix(point, len(fixes) + 1))
    return drive_facts("gpx", fixes, list(range(1, len(fixes) + 1)), "Track point")


def _points(data: bytes) -> Iterator[Element]:
    try:
        yield from _walk(data)
    except DefusedXmlException:
        raise Refused(
            "xml_entities_forbidden", "The file declares a document type or entities, which is not taken."
        ) from None
    except (ParseError, LookupError, ValueError, AssertionError) as error:
        raise Refused("xml_unreadable", f"The file is no well-formed XML: {str(error)[:120]}.") from None


def _walk(data: bytes) -> Iterator[Element]:
    open_elements: list[Element] = []
    for event, element in iterparse(io.BytesIO(data), events=("start", "end"), forbid_dtd=True):
        if event == "start":
            _check_place(element, len(open_elements))
            open_elements.append(element)
            continue
        open_elements.pop()
        if element.tag == _POINT:
            yield element
        # What has been read is let go at once, so that memory does not grow with the file. The children
        # of a point stay until the point itself has been read.
        if not any(parent.tag == _POINT for parent in open_elements):
            element.clear()
            if open_elements:
                open_elements[-1].remove(element)


def _check_place(element: Element, depth: int) -> None:
    if depth >= MAX_DEPTH:
        raise Refused(
            "xml_too_deep", f"The file is nested deeper than {MAX_DEPTH} levels.", max_depth=MAX_DEPTH
        )
    if depth == 0 and element.tag != _SPACE + "gpx":
        raise Refused("gpx_version", "The file is no GPX 1.1.", found=str(element.tag)[:120])


def _fix(point: Element, number: int) -> FixRow:
    lat, lon = check_position(_degrees(point, "lat", number), _degrees(point, "lon", number), number)
    text = point.findtext(_TIME)
    if text is None:
        raise Refused("time_missing", f"Track point {number} has no time.", row=number)
    instant = read_instant(text.strip())
    if instant is None:
        raise Refused(
            "time_format", f"Track point {number}: {text[:40]!r} is no time with an offset.", row=number
        )
    t = check_instant(posix_seconds(instant), "Track point", number)
    speed, course, accuracy = (_extension(point, name, number) for name in OPTIONAL_COLUMNS)
    return t, lat, lon, *check_optional(speed, course, accuracy, number)


def _extension(point: Element, name: str, number: int) -> float | None:
    text = point.findtext(f"{_EXTENSIONS}/{{{TRACK_NAMESPACE}}}{name}")
    return None if text is None else _number(text, name, number)


def _degrees(point: Element, name: str, number: int) -> float:
    return _number(point.get(name, ""), name, number)


def _number(written: str, name: str, number: int) -> float:
    text = written.strip()
    if text.lower().lstrip("+-") in ("nan", "inf", "infinity"):
        return math.nan
    value = read_number(text)
    if value is None:
        raise Refused(
            "number_format",
            f"Track point {number}, {name}: {text[:40]!r} is no number.",
            row=number,
            column=name,
        )
    return value
