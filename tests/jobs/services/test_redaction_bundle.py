"""The bundle of a redacted packet: both checkers accept it, and no byte of it holds what was withheld."""

import io
import json
import subprocess
import sys
import uuid
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from PIL import Image

from jobs import copies, storage
from jobs.models import AssessmentRun, Job, LogEntry, Packet, scope
from jobs.packets.checker.archive import check_pyz
from jobs.packets.following import Sealed as Opened
from jobs.packets.following import following
from jobs.packets.freeze import freeze_source
from jobs.packets.manifest import build_manifest
from jobs.packets.outside import VERDICT_COMPUTED
from jobs.packets.source import PacketSource
from jobs.services import assessment, decision, redaction
from jobs.services import packet as packets
from jobs.services.bundle import take_bundle
from jobs.services.painting import PictureChoice, Region
from jobs.services.redaction import FieldChoice, RedactionEntry
from jobs.services.signing_keys import make_demo_key
from rules.canonical import sha256_hex
from rules.seal.bundle_check import check_bundle
from tests.jobs.packets.packet_case import KEY
from tests.jobs.packets.redacted_case import WHY
from tests.jobs.services.test_evidence_intake import climate
from tests.jobs.services.test_redaction import assert_flat, done
from tests.jobs.shop import Shop, eastmarch, new_id

pytestmark = pytest.mark.slow

NAME = "Rosalind Ashgrove-Tarn"
CONTACT = "ashgrove@mail.example, 0151 555 7788"
# Name, order and car of somebody else, of whom a reviewer wrote.
STRANGERS = ("Bartholomew Quist", "EM-2026-0999", "Z0ACR4H24T1004217")
REGION = Region(x=0.3, y=0.3, width=0.3, height=0.3)


def face() -> bytes:
    """A photo whose region is unlike the rest; owner and place stand in its metadata."""
    image = Image.effect_noise((800, 600), 60).convert("RGB")
    box = (240, 180, 480, 360)
    image.paste(Image.effect_noise((240, 180), 120).convert("RGB"), box)
    exif = Image.Exif()
    exif[0x013B] = NAME
    exif[0x9C9D] = NAME.encode("utf-16-le")
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif, quality=92)
    return out.getvalue()


@dataclass(frozen=True)
class Made:
    full: Packet
    insurers: Packet
    redacted: Packet
    bundle: Path
    original: bytes


@pytest.fixture
def shop(db: None, settings: Any, tmp_path: Path) -> Iterator[Shop]:
    settings.EVIDENCE_ROOT = tmp_path / "stored"
    settings.WM_SIGNING_DIR = str(tmp_path / "keys")
    made = eastmarch()
    with scope(made.organisation.pk):
        made.publish("common-practice.3.yaml", "orrinvale.7.yaml")
        make_demo_key(organisation=made.organisation, as_of=made.at("06:00"))
        yield made


def job_of(shop: Shop, original: bytes) -> Job:
    shop.observe_clock("07:29")
    job = shop.open_job(customer_name=NAME, customer_contact=CONTACT)
    shop.upload(job, original, hhmm="08:00", shows=("plate",))
    climate(shop, job)
    return job


@pytest.fixture
def made(shop: Shop, tmp_path: Path) -> Made:
    original = face()
    job = job_of(shop, original)
    shop.open_job(number=STRANGERS[1], customer_name=STRANGERS[0])
    decision.explain(
        job=job, actor=shop.actor("dpell"), as_of=shop.at("09:10"),
        entry=decision.ExplanationEntry(
            id=new_id(), module="Lamp", code="C1A45", ftb="54",
            text=f"Known from the car of {STRANGERS[0]}, {STRANGERS[2]}, order {STRANGERS[1]}.",
        ),
    )  # fmt: skip
    asked = packets.request_packet(job=job, actor=shop.actor("tachterly"), as_of=shop.at("10:00"))
    full = done(shop, asked, "10:01")
    asked = packets.request_packet(
        job=job, actor=shop.actor("tachterly"), as_of=shop.at("10:10"), kind="insurer"
    )
    insurers = done(shop, asked, "10:11")
    wanted = RedactionEntry(
        id=uuid.uuid4(),
        fields=(
            FieldChoice(path="order/customer_name", kind="customer_name", why=WHY),
            FieldChoice(path="order/customer_contact", kind="contact", why=WHY),
        ),
        pictures=(PictureChoice(file="evidence-0001.jpg", kind="face", why=WHY, regions=(REGION,)),),
    )
    asked = redaction.request_redaction(
        packet=full, actor=shop.actor("lveskel"), as_of=shop.at("11:00"), entry=wanted
    )
    redacted = done(shop, asked, "11:01")
    download = take_bundle(packet=redacted, actor=shop.actor("tachterly"), as_of=shop.at("12:00"))
    assert download.copy is not None
    bundle = tmp_path / "bundle.zip"
    bundle.write_bytes(copies.path(download.copy).read_bytes())
    return Made(full=full, insurers=insurers, redacted=redacted, bundle=bundle, original=original)


def test_both_checkers_accept_it_and_no_byte_of_it_tells_what_was_withheld(
    made: Made, tmp_path: Path
) -> None:
    accepted_by_the_library(made)
    accepted_by_the_archive(made, tmp_path)
    with zipfile.ZipFile(made.bundle) as archive:
        files = {name.partition("/")[2]: archive.read(name) for name in archive.namelist()}
    told_by_kind_and_reason(files)
    holds_no_original(made, files)
    holds_no_name(made, files, tmp_path)
    holds_no_hash_to_try(made, files)


def accepted_by_the_library(made: Made) -> None:
    with made.bundle.open("rb") as stream:
        found = check_bundle(stream)
    assert [line for line in found.lines if line.result == "differs"] == []
    assert found.root == made.full.merkle_root == made.redacted.merkle_root
    assert (found.serial, found.form) == (made.redacted.serial, "bundle")
    for what in (
        "tree",
        "files",
        "redaction",
        "entry",
        "log proof",
        "log extract",
        "origin",
        "pdf signature",
    ):
        assert found.line(what).result == "agrees", what
    # Neither name nor face nor a text's words are anything that a verdict rests on.
    assert found.line("verdicts").result == "agrees"
    assert made.full.serial in found.line("origin").text


def accepted_by_the_archive(made: Made, tmp_path: Path) -> None:
    (tmp_path / "check.pyz").write_bytes(check_pyz())
    command = [sys.executable, "-I", str(tmp_path / "check.pyz"), str(made.bundle), "--json"]
    said = subprocess.run(command, capture_output=True, text=True, check=False, env={}, cwd=tmp_path)
    assert said.returncode == 0, said.stdout + said.stderr
    told = json.loads(said.stdout)
    assert (told["agrees"], told["root"]) == (True, made.full.merkle_root)
    results = {line["what"]: line["result"] for line in told["lines"]}
    assert results["redaction"] == results["origin"] == results["verdicts"] == "agrees"
    assert results["originals"] == "not_checked"


def told_by_kind_and_reason(files: dict[str, bytes]) -> None:
    told = json.loads(files["data/redaction.json"])
    assert {(item["path"], item["kind"], item["why"]) for item in told["fields"] if not item["follows"]} == {
        ("order/customer_name", "customer_name", WHY),
        ("order/customer_contact", "contact", WHY),
    }
    # What a reviewer wrote of somebody else goes without being asked for, and is told as that.
    others = [item for item in told["fields"] if item["kind"] == "anothers_data"]
    assert any(item["path"].endswith("/text") for item in others)
    assert all(item["why"] for item in told["fields"])
    assert [(item["file"], item["kind"], item["why"]) for item in told["pictures"]] == [
        ("evidence-0001.jpg", "face", WHY)
    ]
    entries = {entry["path"]: entry for entry in json.loads(files["data/manifest.json"])["entries"]}
    for path in ("order/customer_name", "order/customer_contact", "files/evidence-0001.jpg"):
        assert set(entries[path]) == {"path", "leaf"}


def holds_no_original(made: Made, files: dict[str, bytes]) -> None:
    """Not the file, not a run of its coded picture; the region is one colour wherever the picture stands."""
    assert "data/evidence-0001.jpg" not in files
    assert sha256_hex(made.original) not in {sha256_hex(data) for data in files.values()}
    coded = made.original[len(made.original) // 2 :][:64]
    assert [name for name, data in files.items() if coded in data] == []
    with Image.open(io.BytesIO(files["data/redacted-0001.jpg"])) as painted:
        assert_flat(painted, REGION)
        assert dict(painted.getexif()) == {}
    shown = [picture for picture in pictures_of(files["data/packet.pdf"]) if min(picture.size) > 100]
    assert len(shown) >= 1
    for picture in shown:
        assert_flat(picture, REGION)


def pictures_of(pdf: bytes) -> list[Image.Image]:
    """Every JPEG of the PDF, decoded by another library than the one that made it."""
    found = []
    with pikepdf.Pdf.open(io.BytesIO(pdf)) as opened:
        for item in opened.objects:
            if isinstance(item, pikepdf.Stream) and item.get("/Subtype") == pikepdf.Name.Image:
                found.append(pikepdf.PdfImage(item).as_pil_image().convert("RGB"))
    return found


def holds_no_name(made: Made, files: dict[str, bytes], folder: Path) -> None:
    """In names and bytes of the archive, pages as text, plain streams, attachments, XMP and metadata."""
    dug = dug_out(files, folder)
    secrets = ("rosalind", "ashgrove", "555 7788", "5557788", *(text.lower() for text in STRANGERS))
    assert told(dug, secrets) == []
    insurers = dug_out({"data/packet.pdf": packets.sealed_bytes(made.insurers)}, folder)
    assert told(insurers, secrets) == []
    # The same digging finds all of it in the packet that was not redacted.
    full = dug_out({"data/packet.pdf": packets.sealed_bytes(made.full)}, folder)
    assert {secret for _, secret in told(full, secrets)} == {*secrets} - {"5557788"}


def told(dug: dict[str, bytes], secrets: tuple[str, ...]) -> list[tuple[str, str]]:
    """Where a secret stands, in the letters of UTF-8 or UTF-16, large or small."""
    return [
        (where, secret)
        for where, data in dug.items()
        for secret in secrets
        if any(secret.encode(form) in data.lower() for form in ("utf-8", "utf-16-le", "utf-16-be"))
    ]


def dug_out(files: dict[str, bytes], folder: Path) -> dict[str, bytes]:
    pdf = files["data/packet.pdf"]
    (folder / "dug.pdf").write_bytes(pdf)
    pages = subprocess.run(
        ["pdftotext", "-layout", "dug.pdf", "-"], cwd=folder, capture_output=True, check=True
    )
    meta = subprocess.run(["pdfinfo", "-meta", "dug.pdf"], cwd=folder, capture_output=True, check=True)
    dug = {**files, "pages": pages.stdout, "xmp": meta.stdout, "names": "\n".join(files).encode()}
    with pikepdf.Pdf.open(io.BytesIO(pdf)) as opened:
        dug["properties"] = "\n".join(f"{key}{value}" for key, value in opened.docinfo.items()).encode()
        for number, item in enumerate(opened.objects):
            if isinstance(item, pikepdf.Stream):
                try:
                    dug[f"stream {number}"] = item.read_bytes()
                except pikepdf.PdfError:
                    # A coded picture: its bytes as they stand.
                    dug[f"stream {number}"] = item.read_raw_bytes()
            else:
                dug[f"object {number}"] = item.unparse()
        for name, spec in opened.attachments.items():
            dug[f"attached {name}"] = spec.get_file().read_bytes()
    return dug


def holds_no_hash_to_try(made: Made, files: dict[str, bytes]) -> None:
    """No hash without a salt is taken of what the name is part of: it could be tried until it fits."""
    frozen = made.full.source_sha256
    assert b"ashgrove" in storage.read(frozen).lower()
    everything = b"\n".join(files.values())
    assert frozen.encode() not in everything
    sealing = LogEntry.objects.get(n=made.full.sealing_n)
    assert "source_leaf" in sealing.detail
    assert frozen not in sealing.detail


# ------------------------------------------------------------------ hashes over all that was judged


def judged(shop: Shop, job: Job, hhmm: str) -> None:
    run = AssessmentRun.objects.get(job=job, state="waiting")
    assert assessment.perform_assessment(run_id=run.pk, as_of=shop.at(hhmm)).state == "done"


def frozen(shop: Shop, job: Job, kind: str) -> PacketSource:
    """The input of a packet of that kind; no pages are made."""
    packet = Packet(
        organisation=shop.organisation, job=job, number=1, serial=f"{job.number}/P1", kind=kind,
        as_of=shop.at("10:00"), salt_key=KEY,
    )  # fmt: skip
    return freeze_source(packet)[0]


def entries_of(source: PacketSource) -> Opened:
    manifest = build_manifest(source, KEY)
    return Opened(source=source, root=manifest.root, entries=tuple(json.loads(manifest.data)["entries"]))


def test_hashes_over_all_facts_go_with_any_of_them(shop: Shop) -> None:
    """With all else known, a car's number or a replaced name could be tried against them until one fits."""
    job = job_of(shop, face())
    shop.open_job(number=STRANGERS[1], customer_name=STRANGERS[0])
    decision.explain(
        job=job, actor=shop.actor("dpell"), as_of=shop.at("09:10"),
        entry=decision.ExplanationEntry(
            id=new_id(), module="Lamp", code="C1A45", ftb="54",
            text=f"The code was there before, as it was on the car of {STRANGERS[0]} last week.",
        ),
    )  # fmt: skip
    judged(shop, job, "09:30")

    opened = entries_of(frozen(shop, job, "full"))
    lines = {path: value for path, value in opened.shown.items() if path.startswith("log/")}
    whole = {path for path, line in lines.items() if json.loads(line["entry"])["what"] == VERDICT_COMPUTED}
    assert whole
    gone = following(opened, ["facts/vehicle/vin"])
    after = {f"log/{int(path.removeprefix('log/')) + 1:09d}" for path in whole}
    assert whole | (after & lines.keys()) <= gone.keys()
    # The newest entry of the log at that time is one of them, so that its hash goes too.
    assert opened.shown["packet/log_head"] in {lines[path]["hash"] for path in whole}
    assert "packet/log_head" in gone
    # A name that no fact holds gives nothing to try.
    assert following(opened, ["order/customer_name"]) == {}

    insurers = frozen(shop, job, "insurer")
    assert insurers.strangers == 1
    assert whole | {"packet/log_head"} <= set(insurers.withheld)
    told = json.dumps([line.entry for line in insurers.shown_log()])
    assert opened.source.assessment.facts_sha256 not in told
