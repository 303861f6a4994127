"""PDF documents (ISO 32000): whether they open, their pages, their text layer, and what in them could act."""

import io
from collections.abc import Iterator
from typing import BinaryIO, Final

from pypdf import PdfReader
from pypdf.errors import DependencyError, FileNotDecryptedError, LimitReachedError, PyPdfError
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject, NullObject, PdfObject

from jobs.errors import Refused
from jobs.intake.decoded import DocumentFacts

MAX_PAGES: Final = 2000
TEXT_PAGES: Final = 10
MAX_WALKED: Final = 50_000
# Catalog, page and action keys that let a document do something by itself (ISO 32000-1, 12.6 and 7.11).
_ACTIVE_KEYS: Final = {
    "/OpenAction": "open_action",
    "/AA": "open_action",
    "/JavaScript": "script",
    "/JS": "script",
    "/EmbeddedFiles": "embedded_file",
    "/RichMedia": "rich_media",
    "/XFA": "form_script",
}
_ACTIVE_ACTIONS: Final = {
    "/JavaScript": "script",
    "/Launch": "launch",
    "/ImportData": "import_data",
    "/SubmitForm": "submit_form",
    "/GoToR": "other_file",
    "/GoToE": "embedded_file",
    "/Rendition": "rich_media",
}


def read_document(data: bytes, _: BinaryIO | None) -> tuple[DocumentFacts, list[str]]:
    """Opens a PDF, counts its pages and looks for text and for active content.

    Active content does not refuse a document: the original stays sealed and is marked.

    Raises:
        Refused: ``pdf_unreadable``, ``pdf_encrypted``, ``pdf_too_many_pages``, ``pdf_too_complex``.
    """
    try:
        reader = PdfReader(io.BytesIO(data), strict=False)
        if reader.is_encrypted:
            raise _encrypted()
        pages = _page_count(reader)
        text_pages = _text_pages(reader, min(pages, TEXT_PAGES))
        active = sorted(set(_active_content(reader)))
    except (FileNotDecryptedError, DependencyError):
        raise _encrypted() from None
    except (LimitReachedError, MemoryError):
        raise Refused("pdf_too_complex", "The PDF unpacks to more than can be read here.") from None
    except (PyPdfError, RecursionError, ValueError, KeyError, TypeError, AttributeError, OSError, IndexError):
        raise Refused("pdf_unreadable", "The PDF is damaged and cannot be read.") from None
    notes = [*(["pdf_active_content"] if active else []), *([] if text_pages else ["no_text_layer"])]
    return {
        "pages": pages,
        "pages_read": min(pages, TEXT_PAGES),
        "text_pages": text_pages,
        "pdf_version": reader.pdf_header[:16],
        "active_content": active,
    }, notes


def _encrypted() -> Refused:
    return Refused("pdf_encrypted", "The PDF is locked. Export it again without a password.")


def _page_count(reader: PdfReader) -> int:
    """Pages counted one by one: the stated count may lie, and the page tree may run in a circle."""
    stated = reader.root_object.get("/Pages")
    if stated is None or isinstance(stated, NullObject):
        raise ValueError("no page tree")
    counted = 0
    for _ in _leaves(reader):
        counted += 1
        if counted > MAX_PAGES:
            raise Refused(
                "pdf_too_many_pages", f"The PDF has more than {MAX_PAGES} pages.", max_pages=MAX_PAGES
            )
    if counted == 0:
        raise ValueError("no pages")
    return counted


def _leaves(reader: PdfReader) -> Iterator[DictionaryObject]:
    """Every page of the tree; each node is visited once."""
    waiting: list[PdfObject] = [reader.root_object.raw_get("/Pages")]
    seen: set[tuple[int, int]] = set()
    while waiting:
        node = waiting.pop()
        if isinstance(node, IndirectObject):
            key = (node.idnum, node.generation)
            if key in seen:
                raise ValueError("the page tree runs in a circle")
            seen.add(key)
        found = node.get_object()
        if not isinstance(found, DictionaryObject):
            raise ValueError("a page is no dictionary")
        kids = found.get("/Kids")
        if kids is None:
            yield found
        else:
            waiting.extend(reversed(list(kids.get_object())))


def _text_pages(reader: PdfReader, pages: int) -> int:
    return sum(1 for number in range(pages) if reader.pages[number].extract_text().strip())


def _active_content(reader: PdfReader) -> Iterator[str]:
    """Names of what could act, from a bounded walk over every object that hangs on the catalog."""
    waiting: list[PdfObject] = [reader.root_object]
    seen: set[tuple[int, int]] = set()
    walked = 0
    while waiting:
        walked += 1
        if walked > MAX_WALKED:
            yield "not_fully_searched"
            return
        node = waiting.pop()
        if isinstance(node, IndirectObject):
            key = (node.idnum, node.generation)
            if key in seen:
                continue
            seen.add(key)
        found = node.get_object()
        if isinstance(found, DictionaryObject):
            yield from _acts(found)
            waiting.extend(found.raw_get(key) for key in found)
        elif isinstance(found, ArrayObject):
            waiting.extend(list.__iter__(found))


def _acts(found: DictionaryObject) -> Iterator[str]:
    for key, name in _ACTIVE_KEYS.items():
        # A destination to jump to when the file opens is no action.
        if key in found and not (key == "/OpenAction" and isinstance(found[key].get_object(), ArrayObject)):
            yield name
    action = found.get("/S")
    if isinstance(action, str) and action in _ACTIVE_ACTIONS:
        yield _ACTIVE_ACTIONS[action]
