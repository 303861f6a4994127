"""The finished file: text, structure, attachments, and the same bytes again from the same input."""

import io
import subprocess
from pathlib import Path

import pikepdf
import pypdf
import pytest
from PIL import Image

from jobs.packets.build import BuiltPacket
from jobs.packets.manifest import grouped
from jobs.packets.pages.front import LIMITS_TEXT
from jobs.packets.pages.open_points import open_points
from jobs.packets.source import PacketSource
from rules.explain import VERDICT_WORDS
from rules.why import reason_words
from tests.jobs.packets.packet_case import GPX, Store, built, context_of, finished, picture
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


def test_the_checker_itself_finds_what_is_broken(released: Case) -> None:
    """Each repair undone is noticed, so an empty list of faults means something."""
    with pikepdf.Pdf.open(io.BytesIO(released[1].pdf)) as pdf:
        del pdf.Root.OutputIntents
        del pdf.Root.Lang
        pdf.Root.AF.append(pdf.Root.AF[0])
        del pdf.attachments["facts.json"].obj.AFRelationship
        buffer = io.BytesIO()
        pdf.save(buffer)
    found = faults(buffer.getvalue())
    assert "no output intent" in found
    assert "no language" in found
    assert "an associated file is listed twice" in found
    assert "facts.json has no relationship" in found


def test_attachments_open_and_are_the_originals(released: Case, tmp_path: Path) -> None:
    source, packet = released
    path = tmp_path / "packet.pdf"
    path.write_bytes(packet.pdf)
    out = tmp_path / "out"
    out.mkdir()
    subprocess.run(["pdfdetach", "-saveall", "-o", str(out), str(path)], check=True, capture_output=True)
    names = {item.name for item in out.iterdir()}
    assert {"manifest.json", "facts.json", "assessment.json", "pack-orrinvale-7.yaml"} <= names
    assert (out / "evidence-0001.jpg").read_bytes() == picture(source.facts.photos[0].id)
    assert (out / source.files[-1].name).read_bytes() == GPX
    assert (out / "manifest.json").read_bytes() == packet.manifest.data


def test_originals_lie_uncompressed_in_the_file(released: Case) -> None:
    source, packet = released
    assert picture(source.facts.photos[0].id) in packet.pdf


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
