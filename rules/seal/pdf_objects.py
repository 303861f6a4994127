"""Reads the objects of a PDF in the one form this program writes (ISO 32000-1, 7.2, 7.3 and 7.5).

Strict where a usual reader is helpful: classic cross-reference tables only, every offset exact, nothing
rebuilt, no encryption, no object streams, no comments inside objects, no key twice. What two readers could
take for two different things is refused here, so that what was checked is what is shown.
"""

import re
from dataclasses import dataclass
from typing import Any, Final

MOST_DEPTH: Final = 60
MOST_TOKENS: Final = 2_000_000
SPACE: Final = b"\x00\t\n\x0c\r "
DELIMITERS: Final = b"()<>[]{}/%"
_ESCAPES: Final = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}
_REGULAR: Final = re.compile(rb"[^\x00\t\n\x0c\r ()<>\[\]{}/%]+")
_BLANK: Final = re.compile(rb"[\x00\t\n\x0c\r ]*")
_INTEGER: Final = re.compile(rb"[+-]?[0-9]{1,15}")
_REAL: Final = re.compile(rb"[+-]?(?:[0-9]{1,15}\.[0-9]{0,15}|\.[0-9]{1,15})")
_REFERENCE: Final = re.compile(
    rb"([0-9]{1,10})[\x00\t\n\x0c\r ]+([0-9]{1,5})[\x00\t\n\x0c\r ]+R(?![^\x00\t\n\x0c\r ()<>\[\]{}/%])"
)
_HEX: Final = re.compile(rb"[0-9A-Fa-f]*")
_STRING_PLAIN: Final = re.compile(rb"[^()\\\r]+")


class PdfFault(ValueError):  # noqa: N818 - says what is wrong with the file
    """Why a file is not read: in plain words."""


class Name(str):
    """A PDF name, without its slash."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Ref:
    """A reference to an indirect object."""

    number: int
    generation: int


@dataclass(frozen=True, slots=True)
class Stream:
    """A stream's dictionary and where its raw bytes lie in the file."""

    entries: dict[str, Any]
    start: int
    end: int


class Reader:
    """Reads values one after the other from ``data``, beginning at ``at``."""

    def __init__(self, data: bytes, at: int) -> None:
        self.data = data
        self.at = at
        self.left = MOST_TOKENS

    def skip(self) -> None:
        """Goes over white space."""
        found = _BLANK.match(self.data, self.at)
        self.at = found.end() if found is not None else self.at

    def starts(self, text: bytes) -> bool:
        return self.data.startswith(text, self.at)

    def expect(self, text: bytes) -> None:
        """Goes over ``text``, which must stand here."""
        if not self.starts(text):
            raise PdfFault(f"{text.decode('latin-1').strip()} is missing at byte {self.at}")
        self.at += len(text)

    def whole_number(self) -> int:
        """A number without sign or point."""
        found = _REGULAR.match(self.data, self.at)
        if found is None or not found.group().isdigit() or len(found.group()) > 15:
            raise PdfFault(f"a whole number is missing at byte {self.at}")
        self.at = found.end()
        return int(found.group())

    def value(self, depth: int = 0) -> Any:
        """The value that stands here.

        Numbers are int or float, strings bytes, names ``Name``, arrays list, dictionaries dict, null None.
        """
        self.left -= 1
        if depth > MOST_DEPTH or self.left < 0:
            raise PdfFault("objects are nested too deep, or are too many")
        first = self.data[self.at : self.at + 1]
        if first == b"/":
            return self._name()
        if first == b"<":
            return self.dictionary(depth)[0] if self.starts(b"<<") else self._hex_string()
        if first == b"[":
            return self._array(depth)
        if first == b"(":
            return self._literal_string()
        return self._word()

    def dictionary(self, depth: int = 0) -> tuple[dict[str, Any], dict[str, tuple[int, int]]]:
        """The dictionary that stands here, and where the value of each key begins and ends."""
        self.expect(b"<<")
        entries: dict[str, Any] = {}
        places: dict[str, tuple[int, int]] = {}
        while True:
            self.skip()
            if self.starts(b">>"):
                self.at += 2
                return entries, places
            if not self.starts(b"/"):
                raise PdfFault(f"a key is missing at byte {self.at}")
            key = self._name()
            if key in entries:
                raise PdfFault(f"the key {key} stands twice in one dictionary")
            self.skip()
            start = self.at
            entries[key] = self.value(depth + 1)
            places[key] = (start, self.at)

    def _array(self, depth: int) -> list[Any]:
        self.at += 1
        items: list[Any] = []
        while True:
            self.skip()
            if self.starts(b"]"):
                self.at += 1
                return items
            items.append(self.value(depth + 1))

    def _name(self) -> Name:
        self.at += 1
        found = _REGULAR.match(self.data, self.at)
        raw = found.group() if found is not None else b""
        self.at += len(raw)
        if b"#" in raw:
            raw = _unhashed(raw)
        return Name(raw.decode("latin-1"))

    def _hex_string(self) -> bytes:
        found = _HEX.match(self.data, self.at + 1)
        end = found.end() if found is not None else self.at
        if self.data[end : end + 1] != b">" or (end - self.at) % 2 != 1:
            raise PdfFault(f"a hexadecimal string breaks off at byte {end}")
        text = self.data[self.at + 1 : end]
        self.at = end + 1
        return bytes.fromhex(text.decode("ascii"))

    def _literal_string(self) -> bytes:
        self.at += 1
        out, depth = bytearray(), 1
        while True:
            found = _STRING_PLAIN.match(self.data, self.at)
            if found is not None:
                out += found.group()
                self.at = found.end()
            mark = self.data[self.at : self.at + 1]
            self.at += 1
            if mark == b"\\":
                out += self._escape()
                continue
            if mark not in (b"(", b")"):
                raise PdfFault(f"a string breaks off at byte {self.at}")
            depth += 1 if mark == b"(" else -1
            if depth == 0:
                return bytes(out)
            out += mark

    def _escape(self) -> bytes:
        mark = self.data[self.at : self.at + 1]
        if mark in (b"(", b")", b"\\"):
            self.at += 1
            return mark
        if mark in _ESCAPES:
            self.at += 1
            return _ESCAPES[mark]
        digits = self.data[self.at : self.at + 3]
        if len(digits) != 3 or not all(48 <= digit < 56 for digit in digits) or digits[0] > 51:
            raise PdfFault(f"a string has an escape of another form at byte {self.at}")
        self.at += 3
        return bytes([int(digits, 8)])

    def _word(self) -> Any:
        reference = _REFERENCE.match(self.data, self.at)
        if reference is not None:
            self.at = reference.end()
            return Ref(int(reference[1]), int(reference[2]))
        found = _REGULAR.match(self.data, self.at)
        if found is None:
            raise PdfFault(f"no value stands at byte {self.at}")
        self.at = found.end()
        word = found.group()
        if _INTEGER.fullmatch(word):
            return int(word)
        if _REAL.fullmatch(word):
            return float(word)
        if word not in (b"true", b"false", b"null"):
            raise PdfFault(f"an unknown word stands at byte {found.start()}")
        return {b"true": True, b"false": False}.get(word)


def _unhashed(raw: bytes) -> bytes:
    pieces = raw.split(b"#")
    out = pieces[0]
    for piece in pieces[1:]:
        if _HEX.fullmatch(piece[:2]) is None or len(piece) < 2:
            raise PdfFault("a name has an escape of another form")
        out += bytes.fromhex(piece[:2].decode("ascii")) + piece[2:]
    return out
