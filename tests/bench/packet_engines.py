"""``python -m tests.bench.packet_engines ENGINE PHOTOS FOLDER ROUND``: one rendering in a process of its own.

Every engine sets the same content: a table of 34 x 4, 60 findings, a table of 44 x 5, text, and the photos
two to a row with captions. It is warmed up with a small document first; then one rendering is timed, imports
not counted. Prints seconds, processor seconds, bytes and the largest resident memory (MiB) as JSON.
"""

import hashlib
import importlib
import io
import json
import os
import re
import resource
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from html import escape
from pathlib import Path
from typing import Any, Final

DATED: Final = datetime(2026, 5, 5, 17, tzinfo=UTC)
ROOT: Final = Path(__file__).resolve().parents[2]
# The typeface of every page but typst's, which has its own built in and puts it into the file as well.
FACE: Final = "Next"
# What installs it, where it is not this program's own renderer.
NEEDS: Final = {"typst": "typst", "reportlab": "reportlab", "fpdf2": "fpdf"}


@dataclass(frozen=True)
class Content:
    """One document; ``salt`` makes each rendering's content fresh."""

    salt: int
    photos: tuple[Path, ...]

    @property
    def first(self) -> list[tuple[str, ...]]:
        return [
            (f"Reading {row}", f"{230 + (row + self.salt) % 20}.{row % 10} kPa", "1.443", "met")
            for row in range(34)
        ]

    @property
    def findings(self) -> list[str]:
        return [
            f"Proof {row}.{self.salt}: the supply stayed between 12.0 and 15.0 V through the whole "
            "session; lowest "
            f"{12 + (row % 20) / 10:.2f} V, highest {14 + (row % 9) / 10:.2f} V. That is what was "
            "required, so it is met."
            for row in range(60)
        ]

    @property
    def second(self) -> list[tuple[str, ...]]:
        return [
            (str(row), "2026-05-05 14:02:11", "itolvaar", "evidence.added", f"{row * 7919 + self.salt:08x}")
            for row in range(44)
        ]

    @property
    def text(self) -> str:
        return " ".join(
            f"Sentence {row} of the record says what was shown and when it was shown." for row in range(60)
        )


# ------------------------------------------------------------------ our own


def _html(content: Content, picture: Callable[[int], str]) -> str:
    def table(rows: list[tuple[str, ...]]) -> str:
        body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
        return f'<table class="t dense"><tbody>{body}</tbody></table>'

    findings = "".join(f"<p>{escape(text)}</p>" for text in content.findings)
    cells = [
        f'<td><img src="{picture(place)}" alt="Photo {place}" style="width:80mm"><br>'
        f"Photo {place}, 5 May 2026</td>"
        for place in range(len(content.photos))
    ]
    pairs = "".join(f"<tr>{''.join(cells[at : at + 2])}</tr>" for at in range(0, len(cells), 2))
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>Bench</title>{head}</head><body>'
        f"<h1>Bench {content.salt}</h1>{table(content.first)}{findings}{table(content.second)}"
        f"<p>{content.text}</p><table><tbody>{pairs}</tbody></table></body></html>"
    )


def ours(content: Content, target: Path) -> int:
    """The packet's own way: style, fonts, PDF/A-3a, three attachments, the seal. No limits here."""
    return _ours(content, target, ())


def ours_with_originals(content: Content, target: Path) -> int:
    """The same with the originals (3 MB each) attached."""
    originals = sorted((target.parent / "originals").glob("*.jpg"))[: len(content.photos)]
    return _ours(content, target, tuple(originals))


def ours_in_a_bundle(content: Content, target: Path) -> int:
    """As packets are shipped: the sealed file, and the originals beside it in the bundle's archive."""
    bundle = importlib.import_module("jobs.packets.bundle")
    zip_ = importlib.import_module("rules.seal.plain_zip")
    ours(content, target)
    originals = sorted((target.parent / "originals").glob("*.jpg"))[: len(content.photos)]
    kept = {hashlib.sha256(path.read_bytes()).hexdigest(): path for path in originals}
    rows = [bundle._original(kept.__getitem__, path.name, key, -1) for key, path in kept.items()]
    rows.append(zip_.of_bytes("packet.pdf", target.read_bytes()))
    return int(bundle._write(rows, "bench", target.with_suffix(".zip")).size)


def _ours(content: Content, target: Path, originals: tuple[Path, ...]) -> int:
    child = importlib.import_module("jobs.packets.child")
    render = importlib.import_module("jobs.packets.render")
    manifest = importlib.import_module("jobs.packets.manifest")
    folder = target.parent / f"work-{content.salt}"
    folder.mkdir(exist_ok=True)
    head = "".join(f'<link rel="stylesheet" href="packet:style/{name}.css">' for name in ("packet", "a4"))
    page = _html(content, lambda place: f"packet:picture/{place}").replace("{head}", head)
    small = [
        manifest.PlannedFile(
            name=f"data-{number}.json", media_type="application/json", sha256="", size_bytes=3,
            description="data",
            data=b"{ }",
        )
        for number in range(3)
    ]  # fmt: skip
    large = [
        manifest.PlannedFile(
            name=path.name,
            media_type="image/jpeg",
            sha256="",
            size_bytes=path.stat().st_size,
            description="original",
        )
        for path in originals
    ]
    order = render.Order(
        page=page,
        dated=DATED,
        identifier="ab" * 16,
        pictures={str(place): path for place, path in enumerate(content.photos)},
        files=(*small, *large),
        stored={path.name: path for path in originals},
    )
    render.prepare(folder, order)
    if child.render(folder) != 0:
        raise RuntimeError("not rendered")
    sealed = _seal((folder / "packet.pdf").read_bytes())
    target.write_bytes(sealed)
    return len(sealed)


_KEY: list[Any] = []


def _seal(body: bytes) -> bytes:
    seal = importlib.import_module("jobs.packets.seal")
    if not _KEY:
        keys = importlib.import_module("jobs.signing.key_file")
        demo = importlib.import_module("jobs.signing.demo_key")
        signer = importlib.import_module("jobs.signing.signer")
        pkcs12 = importlib.import_module("cryptography.hazmat.primitives.serialization.pkcs12")
        coding = importlib.import_module("cryptography.hazmat.primitives.serialization").Encoding
        key, certificate, _ = pkcs12.load_key_and_certificates(demo.demo_key_file("Bench", DATED), None)
        der = certificate.public_bytes(coding.DER)
        own = keys.KeyFileSigner(
            key=key, certificate_der=der, chain_der=(), key_sha256=signer.key_sha256_of(der), is_demo=True
        )
        _KEY.append(own)
    how = seal.Seal(signer=_KEY[0], at=DATED, organisation="Bench")
    return bytes(seal.seal_pdf(body, b'{"format":"sealing 1"}', dated=DATED, seal=how))


def weasyprint_plain(content: Content, target: Path) -> int:
    """The rendering library as it comes, with the originals in the page: the naive way to the same."""
    library = importlib.import_module("weasyprint")
    originals = sorted((target.parent / "originals").glob("*.jpg"))
    page = _html(content, lambda place: originals[place % len(originals)].as_uri()).replace("{head}", "")
    library.HTML(string=page).write_pdf(target)
    return target.stat().st_size


# ------------------------------------------------------------------ other libraries


def with_typst(content: Content, target: Path) -> int:
    typst = importlib.import_module("typst")

    def table(rows: list[tuple[str, ...]]) -> str:
        cells = ", ".join(f"[{cell}]" for row in rows for cell in row)
        return f"#table(columns: {len(rows[0])}, {cells})\n"

    source = f"= Bench {content.salt}\n" + table(content.first) + "\n\n".join(content.findings) + "\n"
    source += table(content.second) + content.text + "\n"
    cells = ", ".join(
        f'[#image("{path.name}", width: 80mm) Photo {place}, 5 May 2026]'
        for place, path in enumerate(content.photos)
    )
    source += f"#grid(columns: 2, {cells})\n" if cells else ""
    file = (
        content.photos[0].parent / f"bench-{os.getpid()}-{content.salt}.typ"
        if content.photos
        else target.with_suffix(".typ")
    )
    file.write_text(source, encoding="utf-8")
    typst.compile(str(file), output=str(target), pdf_standards=["a-3u"])
    file.unlink()
    return target.stat().st_size


def with_reportlab(content: Content, target: Path) -> int:
    rl: Any = importlib.import_module("reportlab.rl_config")
    rl.useA85 = 0
    platypus = importlib.import_module("reportlab.platypus")
    styles = importlib.import_module("reportlab.lib.styles").getSampleStyleSheet()
    sheet = importlib.import_module("reportlab.lib.pagesizes").A4
    normal = styles["Normal"]
    _packet_face()
    for style in (normal, styles["Title"]):
        style.fontName = FACE
    ruled = platypus.TableStyle(
        [("FONTNAME", (0, 0), (-1, -1), FACE), ("LINEBELOW", (0, 0), (-1, -1), 0.5, "#B5B5B5")]
    )
    story: list[Any] = [
        platypus.Paragraph(f"Bench {content.salt}", styles["Title"]),
        platypus.Table(content.first, style=ruled),
    ]
    story += [platypus.Paragraph(text, normal) for text in content.findings]
    story += [platypus.Table(content.second, style=ruled), platypus.Paragraph(content.text, normal)]
    cells = [
        [
            platypus.Image(str(path), width=226, height=170),
            platypus.Paragraph(f"Photo {place}, 5 May 2026", normal),
        ]
        for place, path in enumerate(content.photos)
    ]
    rows = [cells[at : at + 2] for at in range(0, len(cells), 2)]
    story += [platypus.Table(rows)] if rows else []
    platypus.SimpleDocTemplate(str(target), pagesize=sheet).build(story)
    return target.stat().st_size


def _packet_face() -> None:
    """Makes the packet's own typeface known: a library's built-in one would not be in the file at all."""
    metrics = importlib.import_module("reportlab.pdfbase.pdfmetrics")
    if FACE not in metrics.getRegisteredFontNames():
        opened = importlib.import_module("jobs.packets.fonts").opened_font("next-400.woff2")
        face = importlib.import_module("reportlab.pdfbase.ttfonts").TTFont(FACE, io.BytesIO(opened))
        metrics.registerFont(face)


def with_fpdf2(content: Content, target: Path) -> int:
    fpdf = importlib.import_module("fpdf")
    pdf = fpdf.FPDF(format="A4")
    pdf.add_page()
    opened = importlib.import_module("jobs.packets.fonts").opened_font("next-400.woff2")
    face = target.with_suffix(".ttf")
    face.write_bytes(opened)
    pdf.add_font(FACE, fname=face)
    pdf.set_font(FACE, size=10)
    pdf.cell(text=f"Bench {content.salt}", new_x="LMARGIN", new_y="NEXT")
    for rows in (content.first, content.second):
        with pdf.table(first_row_as_headings=False) as table:
            for row in rows:
                table.row(row)
    for text in (*content.findings, content.text):
        pdf.multi_cell(0, text=text, new_x="LMARGIN", new_y="NEXT")
    for place in range(0, len(content.photos), 2):
        if pdf.get_y() > 200:
            pdf.add_page()
        top = pdf.get_y()
        for side, path in enumerate(content.photos[place : place + 2]):
            pdf.image(path, x=10 + side * 95, y=top, w=80)
            pdf.set_xy(10 + side * 95, top + 61)
            pdf.cell(text=f"Photo {place + side}, 5 May 2026")
        pdf.set_xy(10, top + 68)
    pdf.output(str(target))
    return target.stat().st_size


ENGINES: Final[dict[str, Callable[[Content, Path], int]]] = {
    "ours, sealed": ours,
    "ours, originals attached": ours_with_originals,
    "ours, originals in the bundle": ours_in_a_bundle,
    "weasyprint, originals in the page": weasyprint_plain,
    "typst": with_typst,
    "reportlab": with_reportlab,
    "fpdf2": with_fpdf2,
}


def most_memory_mib() -> float:
    """Largest resident memory of this program; what the process was before it began does not count."""
    status = Path("/proc/self/status")
    if status.is_file():
        found = re.search(r"VmHWM:\s+(\d+) kB", status.read_text())
        if found:
            return int(found[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    name, photos, folder, salt = sys.argv[1], int(sys.argv[2]), Path(sys.argv[3]), int(sys.argv[4])
    small = tuple(sorted((folder / "small").glob("*.jpg"))[:photos])
    engine = ENGINES[name]
    engine(Content(salt=1000 + salt, photos=small[:1]), folder / f"warm-{os.getpid()}.pdf")
    began, used = time.perf_counter(), time.process_time()
    size = engine(Content(salt=salt, photos=small), folder / f"out-{os.getpid()}.pdf")
    found = Timed(
        seconds=time.perf_counter() - began,
        cpu_s=time.process_time() - used,
        size_bytes=size,
        memory_mib=most_memory_mib(),
    )
    print(json.dumps(asdict(found)))  # noqa: T201 - the answer of this program


@dataclass(frozen=True)
class Timed:
    seconds: float
    cpu_s: float
    size_bytes: int
    memory_mib: float


if __name__ == "__main__":
    main()
