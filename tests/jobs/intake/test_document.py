"""PDF documents: good ones counted, active content named, everything else refused."""

import io
import zlib
from collections.abc import Callable

import pikepdf
import pytest

from jobs.errors import Refused
from jobs.intake.document import MAX_PAGES, read_document

Prepare = Callable[[pikepdf.Pdf], None]


def pdf(
    pages: int = 1,
    *,
    text: str = "",
    encryption: pikepdf.Encryption | bool = False,
    prepare: Prepare | None = None,
) -> bytes:
    """A PDF written by pikepdf; ``prepare(document)`` may change it before it is saved."""
    document = pikepdf.new()
    font = document.make_indirect(
        pikepdf.Dictionary(
            Type=pikepdf.Name.Font, Subtype=pikepdf.Name.Type1, BaseFont=pikepdf.Name.Helvetica
        )
    )
    for _ in range(pages):
        page = document.add_blank_page(page_size=(200, 200))
        page.Resources = pikepdf.Dictionary(Font=pikepdf.Dictionary(F1=font))
        if text:
            page.Contents = document.make_stream(f"BT /F1 12 Tf 20 100 Td ({text}) Tj ET".encode())
    if prepare:
        prepare(document)
    target = io.BytesIO()
    document.save(target, encryption=encryption)
    return target.getvalue()


def code_of(data: bytes) -> str:
    with pytest.raises(Refused) as refusal:
        read_document(data, None)
    return refusal.value.code


def test_text_and_pages() -> None:
    facts, notes = read_document(pdf(12, text="Scan report"), None)
    assert (facts["pages"], facts["pages_read"], facts["text_pages"]) == (12, 10, 10)
    assert facts["pdf_version"].startswith("%PDF-1.")
    assert facts["active_content"] == []
    assert notes == []


def test_picture_only() -> None:
    facts, notes = read_document(pdf(2), None)
    assert (facts["pages"], facts["text_pages"]) == (2, 0)
    assert notes == ["no_text_layer"]


def script(document: pikepdf.Pdf) -> None:
    document.Root.OpenAction = pikepdf.Dictionary(
        S=pikepdf.Name.JavaScript, JS=pikepdf.String("app.alert(1)")
    )


def launch(document: pikepdf.Pdf) -> None:
    action = pikepdf.Dictionary(S=pikepdf.Name.Launch, F=pikepdf.String("calc.exe"))
    document.pages[0].Annots = pikepdf.Array(
        [pikepdf.Dictionary(Type=pikepdf.Name.Annot, Subtype=pikepdf.Name.Link, Rect=[0, 0, 9, 9], A=action)]
    )


def attachment(document: pikepdf.Pdf) -> None:
    document.attachments["tool.exe"] = b"MZ" + b"\0" * 200


def page_script(document: pikepdf.Pdf) -> None:
    document.pages[0].AA = pikepdf.Dictionary(
        O=pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS=pikepdf.String("1"))
    )


def start_page(document: pikepdf.Pdf) -> None:
    document.Root.OpenAction = pikepdf.Array([document.pages[0].obj, pikepdf.Name.Fit])


@pytest.mark.parametrize(
    ("prepare", "found"),
    [
        (script, ["open_action", "script"]),
        (launch, ["launch"]),
        (attachment, ["embedded_file"]),
        (page_script, ["open_action", "script"]),
        (start_page, []),
    ],
)
def test_active_content_is_named(prepare: Prepare, found: list[str]) -> None:
    facts, notes = read_document(pdf(text="x", prepare=prepare), None)
    assert facts["active_content"] == found
    assert notes == (["pdf_active_content"] if found else [])


@pytest.mark.parametrize("user", ["", "secret"])
def test_encrypted(user: str) -> None:
    data = pdf(encryption=pikepdf.Encryption(owner="owner", user=user, R=6))
    assert code_of(data) == "pdf_encrypted"


@pytest.mark.parametrize("share", [0.1, 0.4, 0.9, 0.99])
def test_cut_off(share: float) -> None:
    data = pdf(3, text="Scan report")
    assert code_of(data[: int(len(data) * share)]) == "pdf_unreadable"


def test_not_a_pdf_inside() -> None:
    assert code_of(b"%PDF-1.7\n" + b"nothing follows\n" * 100) == "pdf_unreadable"


@pytest.mark.parametrize(("pages", "accepted"), [(MAX_PAGES, True), (MAX_PAGES + 1, False)])
def test_page_cap(pages: int, accepted: bool) -> None:
    data = pdf(pages)
    if accepted:
        assert read_document(data, None)[0]["pages"] == pages
    else:
        assert code_of(data) == "pdf_too_many_pages"


def test_page_tree_in_a_circle() -> None:
    def circle(document: pikepdf.Pdf) -> None:
        document.Root.Pages.Kids = pikepdf.Array([document.Root.Pages])

    assert code_of(pdf(prepare=circle)) == "pdf_unreadable"


def test_no_page_tree() -> None:
    assert code_of(pdf(text="x").replace(b"/Pages", b"/Qages")) == "pdf_unreadable"


def bomb(layers: int) -> bytes:
    """A page whose content unpacks to 120 MB of blanks, packed once or twice."""
    packer = zlib.compressobj(9)
    packed = b"".join(packer.compress(b" " * 1_000_000) for _ in range(120)) + packer.flush()
    for _ in range(layers - 1):
        packed = zlib.compress(packed, 9)
    filters = pikepdf.Array([pikepdf.Name.FlateDecode] * layers)

    def fill(document: pikepdf.Pdf) -> None:
        stream = document.make_stream(b"")
        stream.write(packed, filter=filters)
        document.pages[0].Contents = stream

    return pdf(prepare=fill)


@pytest.mark.parametrize("layers", [1, 2])
def test_flate_bombs(layers: int) -> None:
    assert code_of(bomb(layers)) == "pdf_too_complex"
