"""A PDF as a row of revisions: body first, then updates, each with its own table (ISO 32000-1, 7.5.6)."""

import re
from dataclasses import dataclass
from typing import Any, Final

from rules.seal.pdf_objects import PdfFault, Reader, Ref, Stream

MOST_REVISIONS: Final = 64
MOST_OBJECTS: Final = 1_000_000
ENTRY_BYTES: Final = 20
_HEADER: Final = re.compile(rb"%PDF-(1\.7|2\.0)\n")
_ENTRY: Final = re.compile(rb"([0-9]{10}) ([0-9]{5}) ([nf])( \n|\r\n)")
_END: Final = re.compile(rb"startxref\n([0-9]{1,12})\n%%EOF\n?")


@dataclass(frozen=True, slots=True)
class Place:
    """Where one object lies; ``at`` None where it was freed."""

    at: int | None
    generation: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Revision:
    """One part of the file, ``start`` to ``end``: its table at ``table_at``, what it adds, its trailer."""

    start: int
    end: int
    table_at: int
    places: dict[int, Place]
    trailer: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Indirect:
    """One object: its value, where each value of a dictionary lies, where the object begins and ends."""

    value: Any
    spots: dict[str, tuple[int, int]]
    start: int
    end: int


class PdfFile:
    """The file as it stands after its last revision, or after an earlier one (``until``)."""

    def __init__(self, data: bytes, revisions: tuple[Revision, ...]) -> None:
        self.data = data
        self.revisions = revisions
        self._places: dict[int, Place] = {}
        for revision in revisions:
            self._places.update(revision.places)

    @property
    def trailer(self) -> dict[str, Any]:
        return self.revisions[-1].trailer

    def until(self, count: int) -> "PdfFile":
        """The same file after its first ``count`` revisions."""
        return PdfFile(self.data, self.revisions[:count])

    def has(self, number: int) -> bool:
        place = self._places.get(number)
        return place is not None and place.at is not None

    def read(self, ref: Any) -> Indirect:
        """The object a reference points at.

        Raises:
            PdfFault: it is no reference, there is no such object, or another one stands at its place.
        """
        if not isinstance(ref, Ref):
            raise PdfFault("an object stands directly where a reference is expected")
        place = self._places.get(ref.number)
        if place is None or place.at is None or place.generation != ref.generation:
            raise PdfFault(f"object {ref.number} is not there")
        return read_indirect(self.data, place.at, ref)

    def get(self, value: Any) -> Any:
        """A value, or what it points at."""
        return self.read(value).value if isinstance(value, Ref) else value

    def dictionary(self, value: Any) -> dict[str, Any]:
        """A dictionary, direct or pointed at. Raises ``PdfFault`` for anything else."""
        found = self.get(value)
        if not isinstance(found, dict):
            raise PdfFault("a dictionary is missing")
        return found

    def array(self, value: Any) -> list[Any]:
        """An array, direct or pointed at. Raises ``PdfFault`` for anything else."""
        found = self.get(value)
        if not isinstance(found, list):
            raise PdfFault("an array is missing")
        return found


def read_indirect(data: bytes, at: int, ref: Ref) -> Indirect:
    """The object with this number that begins at this byte, to the end of its ``endobj``."""
    reader = Reader(data, at)
    if reader.whole_number() != ref.number:
        raise PdfFault(f"another object than {ref.number} stands at byte {at}")
    reader.expect(b" ")
    if reader.whole_number() != ref.generation:
        raise PdfFault(f"another generation of object {ref.number} stands at byte {at}")
    reader.expect(b" obj")
    reader.skip()
    spots: dict[str, tuple[int, int]] = {}
    value: Any
    if reader.starts(b"<<"):
        value, spots = reader.dictionary()
    else:
        value = reader.value()
    reader.skip()
    if reader.starts(b"stream"):
        value = _stream(reader, value)
        reader.skip()
    reader.expect(b"endobj")
    return Indirect(value, spots, at, reader.at)


def _stream(reader: Reader, entries: Any) -> Stream:
    reader.expect(b"stream")
    reader.expect(b"\r\n" if reader.starts(b"\r\n") else b"\n")
    length = entries.get("Length") if isinstance(entries, dict) else None
    if not isinstance(length, int) or not 0 <= length <= len(reader.data) - reader.at:
        raise PdfFault("a stream does not say how long it is")
    if "F" in entries:
        raise PdfFault("a stream lies in another file")
    start = reader.at
    reader.at += length
    reader.skip()
    reader.expect(b"endstream")
    return Stream(entries, start, start + length)


def read_file(data: bytes) -> PdfFile:
    """Reads the chain of revisions; objects are read when they are asked for.

    Raises:
        PdfFault: the file has another form than this program's.
    """
    if _HEADER.match(data) is None:
        raise PdfFault("the file does not begin as a PDF of this form")
    found: list[tuple[int, int, dict[int, Place], dict[str, Any]]] = []
    end = len(data)
    table_at: int | None = _last_table(data)
    while table_at is not None:
        if len(found) >= MOST_REVISIONS:
            raise PdfFault("the file has too many revisions")
        if found and table_at >= found[-1][0]:
            raise PdfFault("the revisions do not follow one another")
        places, trailer, end = _table(data, table_at)
        found.append((table_at, end, places, trailer))
        table_at = trailer.get("Prev")
        if table_at is not None and not isinstance(table_at, int):
            raise PdfFault("a trailer points back at nothing")
    if found[0][1] != len(data):
        raise PdfFault("bytes follow the end of the file")
    return PdfFile(data, _in_order(found))


def _in_order(found: list[tuple[int, int, dict[int, Place], dict[str, Any]]]) -> tuple[Revision, ...]:
    revisions: list[Revision] = []
    start = 0
    for table_at, end, places, trailer in reversed(found):
        if not start <= table_at < end:
            raise PdfFault("the revisions do not follow one another")
        for number, place in places.items():
            if place.at is not None and not start <= place.at < table_at:
                raise PdfFault(f"object {number} lies outside its revision")
        revisions.append(Revision(start=start, end=end, table_at=table_at, places=places, trailer=trailer))
        start = end
    return tuple(revisions)


def _last_table(data: bytes) -> int:
    at = data.rfind(b"startxref", max(0, len(data) - 64))
    found = _END.fullmatch(data, at) if at >= 0 else None
    if found is None:
        raise PdfFault("the file does not end as a PDF of this form")
    return int(found[1])


def _table(data: bytes, at: int) -> tuple[dict[int, Place], dict[str, Any], int]:
    """Objects, trailer, and where the revision of the table at this byte ends."""
    reader = Reader(data, at)
    reader.expect(b"xref\n")
    places: dict[int, Place] = {}
    while not reader.starts(b"trailer"):
        first = reader.whole_number()
        reader.expect(b" ")
        count = reader.whole_number()
        reader.expect(b"\n")
        if first + count > MOST_OBJECTS:
            raise PdfFault("the file has too many objects")
        for number in range(first, first + count):
            if number in places:
                raise PdfFault(f"object {number} stands twice in one table")
            places[number] = _entry(data, reader.at)
            reader.at += ENTRY_BYTES
    trailer = _trailer(reader)
    ending = _END.match(data, reader.at)
    if ending is None or int(ending[1]) != at:
        raise PdfFault("a revision does not end with its own table")
    if places.get(0, Place(None, 65535)).at is not None:
        raise PdfFault("object 0 is in use")
    return places, trailer, ending.end()


def _trailer(reader: Reader) -> dict[str, Any]:
    reader.expect(b"trailer")
    reader.skip()
    trailer, _ = reader.dictionary()
    for key in ("XRefStm", "Encrypt"):
        if key in trailer:
            raise PdfFault("the file is encrypted" if key == "Encrypt" else "the file has two kinds of table")
    reader.skip()
    return trailer


def _entry(data: bytes, at: int) -> Place:
    found = _ENTRY.fullmatch(data, at, at + ENTRY_BYTES)
    if found is None:
        raise PdfFault(f"the table of objects has another form at byte {at}")
    return Place(int(found[1]) if found[3] == b"n" else None, int(found[2]))
