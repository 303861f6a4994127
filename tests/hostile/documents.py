"""Hostile documents: programs in disguise, cut off, locked, acting, unpacking without end."""

from collections.abc import Iterator

import pikepdf

from tests.hostile.case import Case, fixed
from tests.jobs.intake.test_document import attachment, bomb, launch, pdf, script

_HTML = b"<!DOCTYPE html><html><script>alert(1)</script></html>"


def circle() -> bytes:
    def bend(document: pikepdf.Pdf) -> None:
        document.Root.Pages.Kids = pikepdf.Array([document.Root.Pages])

    return pdf(prepare=bend)


def cases() -> Iterator[Case]:
    """Every document case."""
    whole = pdf(3, text="Scan report")
    refused = {
        "program": (b"\x7fELF\x02\x01\x01" + b"\0" * 100, "type_not_allowed"),
        "HTML": (_HTML, "type_not_allowed"),
        "HTML that holds a PDF mark": (_HTML + b"%PDF-1.7\n", "type_not_allowed"),
        "PDF mark at byte 900": (b"\x00" * 900 + whole, "type_mismatch"),
        "cut off": (whole[: len(whole) // 2], "pdf_unreadable"),
        "head only": (b"%PDF-1.7\n%%EOF\n", "pdf_unreadable"),
        "workbook with macros": (b"PK\x03\x04xl/vbaProject.bin", "type_not_allowed"),
        "old office file": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 500, "type_not_allowed"),
    }
    for name, (data, code) in refused.items():
        yield Case(name=name, kind="document", data=fixed(data), code=code)
    yield Case(name="page tree in a circle", kind="document", data=circle, code="pdf_unreadable")
    yield Case(
        name="20,000 pages", kind="document", data=lambda: pdf(20_000), code="pdf_too_many_pages", within_s=20
    )
    locked = pikepdf.Encryption(owner="o", user="u", R=6)
    yield Case(name="locked", kind="document", data=lambda: pdf(encryption=locked), code="pdf_encrypted")
    yield Case(name="flate bomb", kind="document", data=lambda: bomb(1), code="pdf_too_complex")
    yield Case(name="double flate bomb", kind="document", data=lambda: bomb(2), code="pdf_too_complex")
    for name, prepare in (("script", script), ("launch", launch), ("program inside", attachment)):
        yield Case(
            name=name,
            kind="document",
            data=lambda prepare=prepare: pdf(text="x", prepare=prepare),
            code=None,
            notes=("pdf_active_content",),
        )
