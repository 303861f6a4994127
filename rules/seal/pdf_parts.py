"""The attachments of a packet file, read without a PDF library: strictly, in the one form our files have."""

from typing import Any, Final

from rules.seal.enclosed import NotAPacketError
from rules.seal.pdf_file import PdfFile, read_file
from rules.seal.pdf_objects import PdfFault, Stream

MOST_ATTACHMENTS: Final = 5000
MOST_LEVELS: Final = 8


def attachments_of(pdf: bytes) -> dict[str, bytes]:
    """Name and bytes of each attachment of the file as it stands after its last update.

    Raises:
        NotAPacketError: the file has another form, or an attachment is packed or named twice.
    """
    try:
        return parts_of(read_file(pdf))
    except PdfFault as error:
        raise NotAPacketError(f"the file cannot be read as a packet: {error}") from error


def parts_of(file: PdfFile) -> dict[str, bytes]:
    """The same for a file that was read already. Raises ``PdfFault``."""
    catalogue = file.dictionary(file.trailer.get("Root"))
    if "Names" not in catalogue:
        return {}
    tree = file.dictionary(catalogue["Names"]).get("EmbeddedFiles")
    found: dict[str, bytes] = {}
    if tree is not None:
        _walk(file, tree, found, 0)
    return found


def _walk(file: PdfFile, node: Any, found: dict[str, bytes], level: int) -> None:
    """A name tree (ISO 32000-1, 7.9.6): names and values by turns, or nodes below."""
    if level > MOST_LEVELS:
        raise PdfFault("the list of attachments is too deep")
    entries = file.dictionary(node)
    for below in file.array(entries.get("Kids", [])):
        _walk(file, below, found, level + 1)
    row = file.array(entries.get("Names", []))
    if len(row) % 2 or len(found) + len(row) // 2 > MOST_ATTACHMENTS:
        raise PdfFault("the list of attachments has another form")
    for place in range(0, len(row), 2):
        name = _text(file.get(row[place]))
        spec = file.dictionary(row[place + 1])
        shown = _text(file.get(spec.get("UF", spec.get("F"))))
        if name in found or shown != name:
            raise PdfFault(f"attachment {name} is named in two ways, or stands twice")
        found[name] = _bytes(file, spec, name)


def _bytes(file: PdfFile, spec: dict[str, Any], name: str) -> bytes:
    embedded = file.dictionary(spec.get("EF"))
    stream = file.get(embedded.get("F"))
    if "UF" in embedded and file.get(embedded["UF"]) != stream:
        raise PdfFault(f"attachment {name} has two contents")
    if not isinstance(stream, Stream) or "Filter" in stream.entries:
        raise PdfFault(f"attachment {name} is not stored as it is")
    return file.data[stream.start : stream.end]


def _text(value: Any) -> str:
    """A text string (ISO 32000-1, 7.9.2.2): UTF-16 with its mark, UTF-8 with its mark, or ASCII."""
    if not isinstance(value, bytes):
        raise PdfFault("a name of an attachment is not text")
    try:
        if value.startswith(b"\xfe\xff"):
            return value[2:].decode("utf-16-be")
        return value.removeprefix(b"\xef\xbb\xbf").decode("utf-8" if value[:1] == b"\xef" else "ascii")
    except UnicodeDecodeError as error:
        raise PdfFault("a name of an attachment is not text") from error
