"""Reading an archive of the one form strictly: a byte that is not as it must be is found, its place named.

Local headers and central directory say the same twice. Both are read side by side, and of two that disagree
the one that fits the rest is believed.
"""

import hashlib
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import BinaryIO, Final

from rules.seal.plain_zip import (
    CENTRAL,
    CENTRAL_MARK,
    END,
    END_MARK,
    LOCAL,
    LOCAL_MARK,
    LONGEST_NAME,
    MOST_ENTRIES,
    PIECE,
    central_entry,
    end_record,
    local_header,
    name_fault,
    names_fault,
)

LOCAL_HEADER: Final = "local header"
DIRECTORY: Final = "central directory entry"
CONTENT: Final = "content"
END_OF_FILE: Final = "end record"
WHOLE: Final = "archive"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One byte or field that is not as it must be: ``place`` of ``entry`` (empty for the archive itself)."""

    place: str
    entry: str
    text: str

    @property
    def where(self) -> str:
        return f"{self.place} of {self.entry}" if self.entry else self.place


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One entry. The two other fields hold what local header and directory say, where they disagree."""

    name: str
    size: int
    start: int
    crc32: int
    local_name: str
    local_crc32: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Scanned:
    """What stands in an archive; ``entries`` is empty where the faults leave no way to find them."""

    entries: tuple[Found, ...]
    faults: tuple[Fault, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """An entry's content, read once: its hash in hex and its check sum."""

    sha256: str
    crc32: int
    size: int


@dataclass(frozen=True, slots=True)
class _Header:
    name: str
    size: int
    crc32: int


@dataclass(slots=True)
class _Walk:
    """Where reading stands: ``at`` in the contents, ``row`` in the directory."""

    stream: BinaryIO
    directory: int
    end: int
    at: int
    row: int
    faults: list[Fault] = field(default_factory=list)
    entries: list[Found] = field(default_factory=list)

    def tell(self, place: str, entry: str, text: str) -> None:
        self.faults.append(Fault(place=place, entry=entry, text=text))


def scan(stream: BinaryIO, first: bytes = b"") -> Scanned:
    """Finds the entries and whatever is wrong around them; contents are not read (see ``measure``).

    Args:
        stream: can seek; nothing is believed of it.
        first: the bytes that must stand before the first entry.
    """
    size = stream.seek(0, 2)
    told = _end(stream, size)
    if isinstance(told, Fault):
        return Scanned(entries=(), faults=(told,))
    count, directory = told
    walk = _Walk(stream, directory, size - END.size, len(first), directory)
    if first and _bytes_at(stream, 0, len(first)) != first:
        walk.tell(WHOLE, "", "the bytes before the first entry are not those of this form")
    for place in range(count):
        if not _step(walk, place):
            return Scanned(entries=(), faults=tuple(walk.faults))
    if walk.at != directory or walk.row != walk.end:
        walk.tell(WHOLE, "", "bytes are left over between the entries and the end record")
        return Scanned(entries=(), faults=tuple(walk.faults))
    if not walk.faults and (fault := names_fault([entry.name for entry in walk.entries])):
        walk.tell(WHOLE, "", fault)
    return Scanned(entries=tuple(walk.entries), faults=tuple(walk.faults))


def _bytes_at(stream: BinaryIO, at: int, size: int) -> bytes:
    stream.seek(at)
    return stream.read(size)


def _end(stream: BinaryIO, size: int) -> tuple[int, int] | Fault:
    """Number of entries and start of the directory, or what is wrong with the end record."""
    if size < END.size:
        return Fault(place=WHOLE, entry="", text="the file is too short for an archive")
    raw = _bytes_at(stream, size - END.size, END.size)
    mark, _, _, _, count, directory_bytes, directory_at, _ = END.unpack(raw)
    text = ""
    if mark != END_MARK:
        text = "the file does not end with an end record: no archive, cut off, or added to"
    elif directory_at + directory_bytes + END.size != size:
        text = f"it speaks of {directory_at + directory_bytes + END.size} bytes, the file has {size}"
    elif raw != end_record(count, directory_bytes, directory_at):
        text = "a field of it is not as this form has it"
    elif not 0 < count <= MOST_ENTRIES or directory_bytes < count * CENTRAL.size:
        text = f"it speaks of {count} entries"
    return Fault(place=END_OF_FILE, entry="", text=text) if text else (count, directory_at)


# ------------------------------------------------------------------ one entry, told of twice


def _step(walk: _Walk, place: int) -> bool:
    """Reads entry ``place`` from both sides; False where nothing after it can be found any more."""
    local, local_says = _local(walk)
    central, central_says = _central(walk)
    if local is None or central is None:
        return _one_side(walk, place, local, local_says or central_says, central, central_says)
    chosen = _agreed(walk, local, central)
    if chosen is None:
        walk.tell(DIRECTORY, central.name, f"it does not fit the local header ({local.name}, {local.size})")
        return False
    _keep(walk, chosen, local if chosen is central else central)
    return True


def _one_side(
    walk: _Walk,
    place: int,
    local: _Header | None,
    local_says: str,
    central: _Header | None,
    central_says: str,
) -> bool:
    known = local or central
    name = known.name if known is not None else f"entry {place + 1}"
    if local is None:
        walk.tell(LOCAL_HEADER, name, local_says)
    if central is None:
        walk.tell(DIRECTORY, name, central_says)
    if known is None:
        return False
    _keep(walk, known, known)
    return True


def _keep(walk: _Walk, chosen: _Header, other: _Header) -> None:
    start = walk.at + LOCAL.size + len(chosen.name)
    same_length = len(other.name) == len(chosen.name)
    walk.entries.append(
        Found(
            name=chosen.name,
            size=chosen.size,
            start=start,
            crc32=chosen.crc32,
            local_name=other.name if same_length else chosen.name,
            local_crc32=other.crc32,
        )
    )
    walk.at = start + chosen.size
    walk.row += CENTRAL.size + len(chosen.name)


def _agreed(walk: _Walk, local: _Header, central: _Header) -> _Header | None:
    """Of two sound headers the one that the rest of the archive fits; None where that cannot be said."""
    if local.size != central.size:
        return None
    if len(local.name) == len(central.name):
        if local.name != central.name:
            text = f"it says {local.name}, the central directory says {central.name}"
            walk.tell(LOCAL_HEADER, central.name, text)
        return central
    fitting = [side for side in (local, central) if _fits(walk, side)]
    if len(fitting) != 1:
        return None
    right = fitting[0]
    text = "the length of the name in it does not fit what follows"
    walk.tell(DIRECTORY if right is local else LOCAL_HEADER, right.name, text)
    return right


def _fits(walk: _Walk, side: _Header) -> bool:
    """Whether the next local header and the next directory entry stand where this one puts them."""
    next_at = walk.at + LOCAL.size + len(side.name) + side.size
    next_row = walk.row + CENTRAL.size + len(side.name)
    content = next_at == walk.directory or _bytes_at(walk.stream, next_at, 4) == LOCAL_MARK
    return content and (next_row == walk.end or _bytes_at(walk.stream, next_row, 4) == CENTRAL_MARK)


def _local(walk: _Walk) -> tuple[_Header | None, str]:
    raw = _bytes_at(walk.stream, walk.at, LOCAL.size + LONGEST_NAME)
    if len(raw) < LOCAL.size:
        return None, "it lies beyond the end of the file"
    *_, crc32, _, size, length, _ = LOCAL.unpack_from(raw)
    header, text = _named(raw, LOCAL.size, length, size, crc32)
    if header is None:
        return None, text
    if not raw.startswith(local_header(header.name, size, crc32)):
        return None, "a field of it is not as this form has it"
    if walk.at + LOCAL.size + length + size > walk.directory:
        return None, "the content it speaks of would run into the central directory"
    return header, ""


def _central(walk: _Walk) -> tuple[_Header | None, str]:
    raw = _bytes_at(walk.stream, walk.row, CENTRAL.size + LONGEST_NAME)
    if walk.row + CENTRAL.size > walk.end:
        return None, "it lies beyond the central directory"
    fields = CENTRAL.unpack_from(raw)
    crc32, size, length = fields[7], fields[9], fields[10]
    header, text = _named(raw, CENTRAL.size, length, size, crc32)
    if header is None:
        return None, text
    if not raw.startswith(central_entry(header.name, size, crc32, walk.at)):
        return None, "a field of it is not as this form has it"
    return header, ""


def _named(raw: bytes, at: int, length: int, size: int, crc32: int) -> tuple[_Header | None, str]:
    try:
        name = raw[at : at + length].decode("ascii")
    except UnicodeDecodeError:
        return None, "its name has other characters than this form allows"
    if len(name) != length or name_fault(name):
        return None, name_fault(name) or "its name is longer than this form allows"
    return _Header(name, size, crc32), ""


# ------------------------------------------------------------------ contents


def pieces(stream: BinaryIO, entry: Found) -> Iterator[bytes]:
    """The content in pieces of at most 1 MiB."""
    stream.seek(entry.start)
    left = entry.size
    while left:
        piece = stream.read(min(PIECE, left))
        if not piece:
            return
        left -= len(piece)
        yield piece


def content(stream: BinaryIO, entry: Found) -> bytes:
    """The whole content; the caller has looked at ``entry.size``."""
    return b"".join(pieces(stream, entry))


def measure(stream: BinaryIO, entry: Found) -> Measured:
    """Hash and check sum of the content, in one reading."""
    digest, crc32, size = hashlib.sha256(), 0, 0
    for piece in pieces(stream, entry):
        digest.update(piece)
        crc32 = zlib.crc32(piece, crc32)
        size += len(piece)
    return Measured(sha256=digest.hexdigest(), crc32=crc32, size=size)


def content_faults(entry: Found, measured: Measured) -> tuple[Fault, ...]:
    """What the content says of the check sums: changed itself, or one of its two headers."""
    right = (entry.local_crc32 == measured.crc32, entry.crc32 == measured.crc32)
    if all(right):
        return ()
    told = "its check sum is not that of the content"
    if right == (True, False):
        return (Fault(place=DIRECTORY, entry=entry.name, text=told),)
    if right == (False, True):
        return (Fault(place=LOCAL_HEADER, entry=entry.name, text=told),)
    return (Fault(place=CONTENT, entry=entry.name, text="it does not have its check sum"),)
