"""A strict reader of DER (ITU-T X.690): one way to write each value, everything else is refused."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

BOOLEAN: Final = 0x01
INTEGER: Final = 0x02
BIT_STRING: Final = 0x03
OCTET_STRING: Final = 0x04
NULL: Final = 0x05
OID: Final = 0x06
SEQUENCE: Final = 0x30
SET: Final = 0x31

_CONSTRUCTED: Final = 0x20
_HIGH_TAG: Final = 0x1F
# Nothing a seal carries is larger (project limit).
MAX_BYTES: Final = 1 << 20
MAX_INTEGER_BYTES: Final = 4096


class DerError(ValueError):
    """Bytes that are not DER, or not what stands at this place."""


@dataclass(frozen=True, slots=True)
class Element:
    """One value: its tag octet, its contents, and its whole encoding."""

    tag: int
    content: bytes
    whole: bytes


def read_one(data: bytes, tag: int | None = None) -> Element:
    """The one element that ``data`` is, with nothing after it.

    Args:
        data: the encoding.
        tag: the tag octet it must have; any where left out.

    Raises:
        DerError: not DER, other tag, bytes left over.
    """
    element, after = _element(data, 0)
    if after != len(data):
        raise DerError("bytes follow the value")
    return _of_tag(element, tag)


def parts(element: Element) -> tuple[Element, ...]:
    """The elements inside a constructed one (sequence, set, explicit tag)."""
    if not element.tag & _CONSTRUCTED:
        raise DerError("this value has no parts")
    return tuple(_walk(element.content))


class Parts:
    """Takes the elements of a sequence one after the other."""

    def __init__(self, sequence: Element) -> None:
        self._left = list(reversed(parts(_of_tag(sequence, SEQUENCE))))

    def take(self, tag: int | None = None) -> Element:
        """The next element, which must be there and have this tag."""
        if not self._left:
            raise DerError("a part is missing")
        return _of_tag(self._left.pop(), tag)

    def take_if(self, tag: int) -> Element | None:
        """The next element where it has this tag."""
        return self._left.pop() if self._left and self._left[-1].tag == tag else None

    def end(self) -> None:
        """Raises ``DerError`` where elements are left."""
        if self._left:
            raise DerError("more parts than this value has")


def whole_number(element: Element) -> int:
    """An INTEGER; padded ones are refused."""
    content = _of_tag(element, INTEGER).content
    if not content or len(content) > MAX_INTEGER_BYTES:
        raise DerError("a whole number of no length, or of too many bytes")
    if len(content) > 1 and (content[0], content[1] >> 7) in ((0x00, 0), (0xFF, 1)):
        raise DerError("a whole number is written longer than needed")
    return int.from_bytes(content, "big", signed=True)


def truth(element: Element) -> bool:
    """A BOOLEAN: 00 or FF and nothing else."""
    content = _of_tag(element, BOOLEAN).content
    if content not in (b"\x00", b"\xff"):
        raise DerError("neither true nor false")
    return content == b"\xff"


def whole_octets(element: Element) -> bytes:
    """A BIT STRING that is a string of octets: no unused bits."""
    content = _of_tag(element, BIT_STRING).content
    if not content or content[0] != 0:
        raise DerError("a bit string with unused bits")
    return content[1:]


def bits(element: Element) -> tuple[bool, ...]:
    """A BIT STRING of named bits, first bit first; trailing zero bits are refused (X.690 section 11.2)."""
    content = _of_tag(element, BIT_STRING).content
    if not content or content[0] > 7 or (len(content) == 1 and content[0]):
        raise DerError("not a bit string")
    unused, octets = content[0], content[1:]
    if octets and (octets[-1] & ((1 << unused) - 1) or not octets[-1] >> unused & 1):
        raise DerError("a list of bits is written longer than needed")
    value = [bool(octet >> (7 - place) & 1) for octet in octets for place in range(8)]
    return tuple(value[: len(value) - unused])


def oid_text(element: Element) -> str:
    """An OBJECT IDENTIFIER in dotted form."""
    content = _of_tag(element, OID).content
    if not content or content[-1] & 0x80:
        raise DerError("an object identifier breaks off")
    arcs: list[int] = []
    value, fresh = 0, True
    for octet in content:
        if fresh and octet == 0x80:
            raise DerError("an object identifier is written longer than needed")
        value, fresh = value << 7 | octet & 0x7F, not octet & 0x80
        if fresh:
            arcs.append(value)
            value = 0
    first = min(arcs[0] // 40, 2)
    return ".".join(str(arc) for arc in (first, arcs[0] - 40 * first, *arcs[1:]))


def _walk(data: bytes) -> Iterator[Element]:
    at = 0
    while at < len(data):
        element, at = _element(data, at)
        yield element


def _element(data: bytes, at: int) -> tuple[Element, int]:
    """The element at this place, and where the next one begins."""
    if len(data) > MAX_BYTES:
        raise DerError("longer than any seal")
    if at + 2 > len(data):
        raise DerError("a value breaks off")
    tag = data[at]
    if tag & _HIGH_TAG == _HIGH_TAG:
        raise DerError("a tag of several octets")
    length, begin = _length(data, at + 1)
    end = begin + length
    if end > len(data):
        raise DerError("a value breaks off")
    return Element(tag, data[begin:end], data[at:end]), end


def _length(data: bytes, at: int) -> tuple[int, int]:
    """The length that stands here, in the one form DER allows, and where the contents begin."""
    first = data[at]
    if first < 0x80:
        return first, at + 1
    count = first & 0x7F
    octets = data[at + 1 : at + 1 + count]
    if not 1 <= count <= 4 or len(octets) != count:
        raise DerError("a length that is open, too long or breaks off")
    length = int.from_bytes(octets, "big")
    if octets[0] == 0 or length < 0x80:
        raise DerError("a length is written longer than needed")
    return length, at + 1 + count


def _of_tag(element: Element, tag: int | None) -> Element:
    if tag is not None and element.tag != tag:
        raise DerError(f"tag {tag:02x} is needed, {element.tag:02x} stands there")
    return element
