"""Receiver logs in NMEA 0183: positions from RMC sentences, doubted by GGA sentences, checksums required."""

import re
from datetime import UTC, datetime, timedelta
from typing import BinaryIO, Final

from jobs.errors import Refused
from jobs.intake.decoded import DriveFacts, FixRow
from jobs.intake.drive_log import (
    MAX_FIXES,
    check_optional,
    check_position,
    drive_facts,
    too_long,
)
from jobs.intake.log_text import check_instant, posix_seconds, read_number

MAX_LINES: Final = 2_000_000
# Exact: one knot is 1852 m per hour.
KNOT_KPH: Final = 1.852
# A damaged sentence is left out and shows as a gap; a log with more of them is no log (project default).
_MOST_DAMAGED_SHARE: Final = 0.05
_SENTENCE: Final = re.compile(r"[$!]([A-Z0-9]{2,10}(?:,[\x20-\x29\x2b-\x7e]*)?)\*([0-9A-Fa-f]{2})")
_CLOCK: Final = re.compile(r"([0-9]{2})([0-9]{2})([0-9]{2})(\.[0-9]{1,6})?", re.ASCII)
_DAY: Final = re.compile(r"([0-9]{2})([0-9]{2})([0-9]{2})", re.ASCII)
_ANGLE: Final = re.compile(r"([0-9]{2,3})([0-9]{2}(?:\.[0-9]{1,8})?)", re.ASCII)


def read_nmea(data: bytes, _: BinaryIO | None) -> tuple[DriveFacts, list[str]]:
    """Fixes of every RMC sentence with status A that no GGA sentence of the same time calls invalid.

    Raises:
        Refused: ``nmea_format``, ``nmea_checksum`` (more than one sentence in twenty damaged),
            ``number_format``, ``time_format``, ``log_out_of_range``, ``log_time_order``, ``log_empty``,
            ``log_too_long``.
    """
    sentences, damaged = _sentences(data)
    invalid = {fields[1] for _, fields in sentences if fields[0][2:] == "GGA" and fields[6:7] == ["0"]}
    fixes: list[FixRow] = []
    rows: list[int] = []
    for line, fields in sentences:
        if fields[0][2:] != "RMC" or fields[2:3] != ["A"] or fields[1] in invalid:
            continue
        if len(fixes) >= MAX_FIXES:
            raise too_long()
        fixes.append(_fix(fields, line))
        rows.append(line)
    facts, notes = drive_facts("nmea", fixes, rows, "Line")
    return facts, notes + (["nmea_sentences_damaged"] if damaged else [])


def _sentences(data: bytes) -> tuple[list[tuple[int, list[str]]], int]:
    """Line number and fields of each RMC and GGA sentence that is whole; and how many are damaged."""
    found: list[tuple[int, list[str]]] = []
    damaged = 0
    lines = data.decode("ascii", errors="replace").splitlines()
    if len(lines) > MAX_LINES:
        raise too_long()
    for number, line in enumerate(lines, start=1):
        text = line.strip()
        if not text:
            continue
        if not text.startswith(("$", "!")):
            raise Refused("nmea_format", f"Line {number} is no NMEA 0183 sentence.", row=number)
        matched = _SENTENCE.fullmatch(text)
        if matched is None or _checksum(matched.group(1)) != int(matched.group(2), 16):
            damaged += 1
            continue
        fields = matched.group(1).split(",")
        if len(fields[0]) == 5 and fields[0][2:] in ("RMC", "GGA") and len(fields) > 9:
            found.append((number, fields))
    if damaged > _MOST_DAMAGED_SHARE * len(lines):
        raise Refused("nmea_checksum", f"{damaged} sentences have no right checksum.", damaged=damaged)
    return found, damaged


def _checksum(body: str) -> int:
    """Exclusive or of the characters between the opening sign and the asterisk."""
    value = 0
    for character in body:
        value ^= ord(character)
    return value


def _fix(fields: list[str], line: int) -> FixRow:
    t = check_instant(_t(fields[1], fields[9], line), "Line", line)
    lat, lon = check_position(
        _degrees(fields[3], fields[4], "NS", line), _degrees(fields[5], fields[6], "EW", line), line
    )
    knots, course = _optional(fields[7], "speed", line), _optional(fields[8], "course", line)
    return t, lat, lon, *check_optional(None if knots is None else knots * KNOT_KPH, course, None, line)


def _t(clock: str, day: str, line: int) -> float:
    times, days = _CLOCK.fullmatch(clock), _DAY.fullmatch(day)
    if times is not None and days is not None:
        year = int(days.group(3))
        try:
            instant = datetime(
                1900 + year if year >= 80 else 2000 + year,
                int(days.group(2)),
                int(days.group(1)),
                int(times.group(1)),
                int(times.group(2)),
                int(times.group(3)),
                tzinfo=UTC,
            )
            return posix_seconds(instant + timedelta(seconds=float(times.group(4) or 0)))
        except ValueError:
            pass
    raise Refused("time_format", f"Line {line} has no readable date and time.", row=line)


def _degrees(text: str, side: str, sides: str, line: int) -> float:
    matched = _ANGLE.fullmatch(text)
    if matched is None or len(side) != 1 or side not in sides or float(matched.group(2)) >= 60.0:
        raise Refused("number_format", f"Line {line}: {text[:20]!r} {side[:2]!r} is no position.", row=line)
    degrees = float(matched.group(1)) + float(matched.group(2)) / 60.0
    return degrees if side == sides[0] else -degrees


def _optional(text: str, column: str, line: int) -> float | None:
    if not text:
        return None
    value = read_number(text)
    if value is None:
        raise Refused(
            "number_format", f"Line {line}, {column}: {text[:20]!r} is no number.", row=line, column=column
        )
    return value
