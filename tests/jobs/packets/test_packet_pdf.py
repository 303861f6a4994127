"""The finished file: text, structure, attachments, and the same bytes again from the same input."""

import io
import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import pikepdf
import pypdf
import pytest
from PIL import Image

from jobs.packets.build import BuiltPacket, build_packet
from jobs.packets.manifest import grouped
from jobs.packets.pages.front import LIMITS_TEXT
from jobs.packets.pages.open_points import open_points
from jobs.packets.source import PacketSource
from rules.explain import VERDICT_WORDS
from rules.why import reason_words
from tests.jobs.packets.packet_case import GPX, KEY, Store, built, context_of, finished, picture
from tests.jobs.packets.pdfa import faults

pytestmark = pytest.mark.slow
Case = tuple[PacketSource, BuiltPacket]


def text_of(pdf: bytes, folder: Path, *options: str) -> str:
    """The text layer by poppler's pdftotext, white space joined."""
    path = folder / "packet.pdf"
    path.write_bytes(pdf)
    made = subprocess.run(["pdftotext", *options, str(path), "-"], capture_output=True, check=True)
    return " ".join(made.stdout.decode("utf-8").split())


def test_the_text_holds_every_verdict_and_reason(held: Case, tmp_path: Path) -> None:
    source, packet = held
    text = text_of(packet.pdf, tmp_path)
    for finding in source.assessment.findings:
        assert VERDICT_WORDS[finding.verdict] in text
        for code in finding.outcome.reasons:
            assert f"({code})" in text
            assert reason_words(code) in text
    for requirement in source.assessment.requirements:
        assert requirement.procedure_id in text


def test_the_text_of_the_finished_job(released: Case, tmp_path: Path) -> None:
    source, packet = released
    text = text_of(packet.pdf, tmp_path)
    assert "719 s counted (341, 233, 145)" in text
    assert "Ready 10:10" in text
    assert "Gate: release" in text
    assert source.facts.vehicle.vin in text
    for file in source.files:
        assert file.name in text
        assert grouped(file.sha256[:16]) in text


@pytest.mark.parametrize("case", ["released", "held"])
def test_page_1_is_whole(case: str, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    """Five procedures and six open points on the shorter sheet still leave everything on page 1."""
    source, packet = request.getfixturevalue(case)
    page = text_of(packet.pdf, tmp_path, "-l", "1")
    groups = grouped(packet.root).split()
    assert len(groups) == 16
    assert all(group in page for group in groups)
    assert LIMITS_TEXT.split()[-3:] == page[: page.index("no overall probability.") + 23].split()[-3:]
    order = [
        "Statement of record", "What the repair touched", "What was required", "Not required:",
        "Not met, not shown, waived, refused", "Who signed", "Packet hash", "This packet records",
    ]  # fmt: skip
    places = [page.index(words) for words in order]
    assert places == sorted(places)
    for word in ("not shown", "waived", "not met", "refused"):
        assert word in page[page.index(order[4]) + len(order[4]) : page.index("Who signed")]
    left = len(open_points(context_of(source))) - 6
    assert (f"And {left} more on page 2." in page) == (left > 0)


@pytest.mark.parametrize(("case", "size"), [("released", (595, 842)), ("held", (612, 792))])
def test_sheets_are_a4_or_letter(case: str, size: tuple[int, int], request: pytest.FixtureRequest) -> None:
    pages = pypdf.PdfReader(io.BytesIO(request.getfixturevalue(case)[1].pdf)).pages
    assert {(round(page.mediabox.width), round(page.mediabox.height)) for page in pages} == {size}


@pytest.mark.parametrize("case", ["released", "held"])
def test_qpdf_finds_nothing(case: str, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    path = tmp_path / "packet.pdf"
    path.write_bytes(request.getfixturevalue(case)[1].pdf)
    checked = subprocess.run(["qpdf", "--check", str(path)], capture_output=True, check=False)
    assert checked.returncode == 0, checked.stdout.decode() + checked.stderr.decode()


@pytest.mark.parametrize("case", ["released", "held"])
def test_it_is_built_as_pdf_a_3(case: str, request: pytest.FixtureRequest) -> None:
    assert faults(request.getfixturevalue(case)[1].pdf) == []


def broken(pdf: bytes, *breaks: Callable[[pikepdf.Pdf], None]) -> list[str]:
    with pikepdf.Pdf.open(io.BytesIO(pdf)) as opened:
        for one in breaks:
            one(opened)
        buffer = io.BytesIO()
        opened.save(buffer)
    return faults(buffer.getvalue())


def _interpolated(pdf: pikepdf.Pdf) -> None:
    image = next(o for o in pdf.objects if isinstance(o, pikepdf.Stream) and o.get("/Subtype") == "/Image")
    image.Interpolate = True


def _without_font(pdf: pikepdf.Pdf) -> None:
    font = next(o for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and "/FontFile2" in o)
    del font.FontFile2


def _without_alternative(pdf: pikepdf.Pdf) -> None:
    figure = next(o for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and o.get("/S") == "/Figure")
    del figure.Alt


def _with_script(pdf: pikepdf.Pdf) -> None:
    script = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="app.alert(1)")
    pdf.Root.OpenAction = pdf.make_indirect(script)


def _other_part(pdf: pikepdf.Pdf) -> None:
    xmp = pdf.Root.Metadata.read_bytes().replace(b'pdfaid:part="3"', b'pdfaid:part="2"')
    xmp = xmp.replace(b"<pdfaid:part>3", b"<pdfaid:part>2")
    pdf.Root.Metadata = pdf.make_stream(xmp, Type=pikepdf.Name.Metadata, Subtype=pikepdf.Name.XML)


BREAKS: list[tuple[Callable[[pikepdf.Pdf], None], str]] = [
    (lambda pdf: pdf.Root.__delitem__("/OutputIntents"), "no output intent"),
    (lambda pdf: pdf.Root.__delitem__("/Lang"), "no language"),
    (lambda pdf: pdf.Root.__delitem__("/MarkInfo"), "not marked as tagged"),
    (lambda pdf: pdf.Root.__delitem__("/Outlines"), "no bookmarks"),
    (lambda pdf: pdf.Root.__delitem__("/ViewerPreferences"), "the title is not shown"),
    (lambda pdf: pdf.Root.AF.append(pdf.Root.AF[0]), "an associated file is listed twice"),
    (
        lambda pdf: pdf.attachments["facts.json"].obj.__delitem__("/AFRelationship"),
        "facts.json has no relationship",
    ),
    (lambda pdf: pdf.pages[0].obj.__delitem__("/StructParents"), "page 1 is not tied to the structure"),
    (lambda pdf: pdf.pages[0].contents_add(b"BT (x) Tj ET"), "page 1 draws something that is neither"),
    (_interpolated, "an image is interpolated"),
    (_without_font, "is not embedded"),
    (_without_alternative, "a figure without text in its place"),
    (_with_script, "a script runs when the file is opened"),
    (_other_part, "XMP does not say part 3"),
]


@pytest.mark.parametrize(("one", "fault"), BREAKS, ids=[words for _, words in BREAKS])
def test_the_checker_itself_finds_what_is_broken(
    one: Callable[[pikepdf.Pdf], None], fault: str, released: Case
) -> None:
    """Each thing taken away is noticed, so an empty list of faults means something."""
    found = broken(released[1].pdf, one)
    assert any(fault in words for words in found), found


def test_all_eighteen_parts_are_there_and_in_order(released: Case, tmp_path: Path) -> None:
    """The bookmarks name page 1 and every chapter; the contents give each its page."""
    reader = pypdf.PdfReader(io.BytesIO(released[1].pdf))
    titles = [str(item["/Title"]) for item in reader.outline if not isinstance(item, list)]
    numbers = [int(m[1]) for title in titles if (m := re.match(r"Chapter (\d+)", title))]
    assert titles[0] == "Statement of record"
    assert sorted(set(numbers)) == list(range(2, 19))
    assert numbers == sorted(numbers)
    text = text_of(released[1].pdf, tmp_path)
    for words in (
        "902(11)",
        "902(13)",
        "902(14)",
        "As of sealing",
        "sealing.json",
        "The decision rule in plain",
    ):
        assert words in text


def test_the_packs_are_printed_word_for_word(released: Case, tmp_path: Path) -> None:
    """Line by line, as far as a line fits the page; where a page ends, its furniture stands between."""
    path = tmp_path / "laid-out.pdf"
    path.write_bytes(released[1].pdf)
    made = subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, check=True)
    printed = {"".join(line.split()) for line in made.stdout.decode().splitlines()}
    used = {(name, edition) for name, edition, _ in released[0].assessment.packs}
    for pack in released[0].packs:
        if (pack.pack, pack.edition) in used:
            short = [line for line in pack.text.splitlines() if line.strip() and len(line) < 90]
            there = [line for line in short if "".join(line.split()) in printed]
            assert len(there) / len(short) > 0.97


def detached(pdf: bytes, folder: Path) -> dict[str, bytes]:
    """The attachments by poppler's pdfdetach."""
    path, out = folder / "packet.pdf", folder / "out"
    path.write_bytes(pdf)
    out.mkdir()
    subprocess.run(["pdfdetach", "-saveall", "-o", str(out), str(path)], check=True, capture_output=True)
    return {item.name: item.read_bytes() for item in out.iterdir()}


def test_the_data_are_attached_and_the_originals_are_not(released: Case, tmp_path: Path) -> None:
    source, packet = released
    found = detached(packet.pdf, tmp_path)
    assert {"manifest.json", "facts.json", "assessment.json", "pack-orrinvale-7.yaml"} <= set(found)
    assert found["manifest.json"] == packet.manifest.data
    assert not [name for name in found if name.startswith("evidence-")]
    assert picture(source.facts.photos[0].id) not in packet.pdf


def test_with_originals_they_are_attached_byte_for_byte(kept: Store, tmp_path: Path) -> None:
    source = finished(kept)
    packet = build_packet(source, KEY, kept.path, attach_originals=True)
    found = detached(packet.pdf, tmp_path)
    assert found["evidence-0001.jpg"] == picture(source.facts.photos[0].id)
    assert found[source.files[-1].name] == GPX
    # Uncompressed: whoever opens the file with any tool finds the same bytes.
    assert picture(source.facts.photos[0].id) in packet.pdf
    assert faults(packet.pdf) == []


def test_pictures_on_the_page_carry_no_metadata(released: Case) -> None:
    reader = pypdf.PdfReader(io.BytesIO(released[1].pdf))
    shown = {image.data for page in reader.pages for image in page.images}
    assert len(shown) == len(released[0].facts.photos)
    for data in shown:
        with Image.open(io.BytesIO(data)) as opened:
            assert not opened.getexif()
            assert max(opened.size) < 4032


def test_charts_have_their_facts_in_words(released: Case, tmp_path: Path) -> None:
    text = text_of(released[1].pdf, tmp_path)
    assert "does not count: turning" in text
    assert "highest sample" in text
    reader = pypdf.PdfReader(io.BytesIO(released[1].pdf))
    alternates = [str(item.get_object().get("/Alt", "")) for item in _structure(reader)]
    assert sum(text.startswith("Chart.") for text in alternates) == 3


def _structure(reader: pypdf.PdfReader) -> list[pypdf.generic.IndirectObject]:
    found = []
    for number in range(1, len(reader.xref[0]) + 1):
        item = pypdf.generic.IndirectObject(number, 0, reader)
        value = item.get_object()
        if isinstance(value, pypdf.generic.DictionaryObject) and value.get("/Type") == "/StructElem":
            found.append(item)
    return found


def test_two_builds_give_the_same_bytes(released: Case, kept: Store) -> None:
    source, packet = released
    again = built(PacketSource.from_bytes(source.to_bytes()), kept)
    assert again.pdf == packet.pdf
    assert again.pdf_sha256 == packet.pdf_sha256


def test_another_word_gives_other_bytes(released: Case, kept: Store) -> None:
    assert built(finished(kept, organisation_name="Another group"), kept).pdf != released[1].pdf
