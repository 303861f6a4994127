"""The one form of ZIP archive that bundles have: every byte that is not content follows from the contents.

All entries are stored, sorted by name, with one date and one mode; no extras, no comments, no gaps, no ZIP64.
The layout is that of the public ZIP application note, 6.3: local headers with contents, central directory,
end record.
"""

import re
import struct
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

LOCAL: Final = struct.Struct("<4s5H3L2H")
CENTRAL: Final = struct.Struct("<4s6H3L5H2L")
END: Final = struct.Struct("<4s4H2LH")
LOCAL_MARK: Final = b"PK\x03\x04"
CENTRAL_MARK: Final = b"PK\x01\x02"
END_MARK: Final = b"PK\x05\x06"
# 1 January 1980, midnight: the earliest that the form can say, so that no clock is in an archive.
MIDNIGHT: Final = 0
FIRST_DAY: Final = 0x0021
NEEDED: Final = 20
MADE_BY: Final = 3 << 8 | 20
REGULAR_FILE: Final = 0o100644 << 16
# Beyond these the form would need ZIP64, which neither our writer nor our reader speaks.
MOST_BYTES: Final = 0xFFFFFFFF - 1
MOST_ENTRIES: Final = 20_000
LONGEST_NAME: Final = 200
PIECE: Final = 1 << 20

_NAME: Final = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.-]*(?:/[A-Za-z0-9_][A-Za-z0-9_.-]*)*")


class ZipError(ValueError):
    """What cannot be written in this form."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """One entry to write; ``pieces`` gives its ``size`` bytes, of which ``crc32`` is the check sum."""

    name: str
    size: int
    crc32: int
    pieces: Callable[[], Iterable[bytes]]


def of_bytes(name: str, data: bytes) -> Planned:
    """An entry whose bytes are at hand."""
    return Planned(name=name, size=len(data), crc32=zlib.crc32(data), pieces=lambda: (data,))


def name_fault(name: str) -> str:
    """Why ``name`` cannot stand in an archive of this form; empty where it can.

    Letters, digits, ``_``, ``.`` and ``-`` only, no part beginning with a dot: neither absolute nor with
    ``..``, the same on every file system.
    """
    if not name or len(name) > LONGEST_NAME:
        return f"a name has 1 to {LONGEST_NAME} characters"
    if _NAME.fullmatch(name) is None:
        return "a name has letters, digits, _ . - and / only, and no part of it begins with a dot"
    return ""


def names_fault(names: Sequence[str]) -> str:
    """Why these names cannot stand together, in this order; empty where they can."""
    for earlier, later in pairwise(names):
        if earlier == later:
            return f"{later} stands twice"
        if earlier > later:
            return f"{later} does not stand in order"
    folded: set[str] = set()
    for name in names:
        if name.lower() in folded:
            return f"{name} differs from another name by capital letters only"
        folded.add(name.lower())
    for name in names:
        parts = name.lower().split("/")
        if any("/".join(parts[:upto]) in folded for upto in range(1, len(parts))):
            return f"a folder of {name} is a file as well"
    return ""


# ------------------------------------------------------------------ the bytes around the contents


def local_header(name: str, size: int, crc32: int) -> bytes:
    """The bytes before the content of an entry."""
    raw = name.encode("ascii")
    fixed = (LOCAL_MARK, NEEDED, 0, 0, MIDNIGHT, FIRST_DAY, crc32, size, size, len(raw), 0)
    return LOCAL.pack(*fixed) + raw


def central_entry(name: str, size: int, crc32: int, at: int) -> bytes:
    """The entry of the central directory for content whose local header stands at ``at``."""
    raw = name.encode("ascii")
    same = (NEEDED, 0, 0, MIDNIGHT, FIRST_DAY, crc32, size, size, len(raw), 0)
    return CENTRAL.pack(CENTRAL_MARK, MADE_BY, *same, 0, 0, 0, REGULAR_FILE, at) + raw


def end_record(count: int, directory_bytes: int, directory_at: int) -> bytes:
    """The last 22 bytes."""
    return END.pack(END_MARK, 0, 0, count, count, directory_bytes, directory_at, 0)


# ------------------------------------------------------------------ writing


def in_order(planned: Iterable[Planned], first: bytes = b"") -> tuple[Planned, ...]:
    """The entries as they will stand.

    Raises:
        ZipError: a name that cannot stand there, too many entries, more than 4 GiB in all.
    """
    rows = tuple(sorted(planned, key=lambda entry: entry.name))
    for entry in rows:
        if fault := name_fault(entry.name):
            raise ZipError(f"{entry.name!r}: {fault}")
    if fault := names_fault([entry.name for entry in rows]):
        raise ZipError(fault)
    if not 0 < len(rows) <= MOST_ENTRIES:
        raise ZipError(f"an archive has 1 to {MOST_ENTRIES} entries, not {len(rows)}")
    if zip_bytes(rows, first) > MOST_BYTES:
        raise ZipError("the archive would be larger than 4 GiB")
    return rows


def zip_bytes(planned: Iterable[Planned], first: bytes = b"") -> int:
    """How many bytes the archive will have."""
    total = len(first) + END.size
    for entry in planned:
        total += LOCAL.size + CENTRAL.size + 2 * len(entry.name) + entry.size
    return total


def zip_pieces(planned: Iterable[Planned], first: bytes = b"") -> Iterator[bytes]:
    """The archive in pieces; the same entries give the same bytes.

    Args:
        planned: in any order.
        first: bytes before the first entry, for an archive that a program loader is to start.

    Raises:
        ZipError: as ``in_order``; or the pieces of an entry are not what was planned.
    """
    rows = in_order(planned, first)
    directory: list[bytes] = []
    at = len(first)
    if first:
        yield first
    for entry in rows:
        header = local_header(entry.name, entry.size, entry.crc32)
        yield header
        yield from _content(entry)
        directory.append(central_entry(entry.name, entry.size, entry.crc32, at))
        at += len(header) + entry.size
    joined = b"".join(directory)
    yield joined
    yield end_record(len(rows), len(joined), at)


def _content(entry: Planned) -> Iterator[bytes]:
    size, crc32 = 0, 0
    for piece in entry.pieces():
        size += len(piece)
        crc32 = zlib.crc32(piece, crc32)
        yield piece
    if (size, crc32) != (entry.size, entry.crc32):
        raise ZipError(f"{entry.name} changed while it was written")
