"""One packet of the invented world for tests: the finished windshield job with real small pictures."""

import hashlib
import io
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw

from jobs.packets.build import BuiltPacket, build_packet
from jobs.packets.pages.context import PageContext
from jobs.packets.source import (
    WITHHELD_BY_KIND,
    EnclosedFile,
    LogLine,
    OrderCard,
    PacketSource,
    PackText,
    attachment_name,
)
from rules.assess import assess
from rules.canonical import canonical_bytes
from rules.facts import EvidenceItem, JobFacts
from tests.rules.builders import at
from tests.rules.packs_on_file import FOLDER, packs_on_file
from tests.rules.windshield_job import sign_off, unsigned_job

KEY = b"packet key of the tests, 32 byte"
GPX = b'<?xml version="1.0"?><gpx version="1.1" creator="test"/>'


@dataclass(frozen=True)
class Store:
    """Bytes by hash in a folder, as the packet's builder asks for them."""

    folder: Path

    def put(self, data: bytes) -> str:
        sha256 = hashlib.sha256(data).hexdigest()
        self.path(sha256).write_bytes(data)
        return sha256

    def path(self, sha256: str) -> Path:
        return self.folder / sha256

    def is_intact(self, sha256: str) -> bool:
        path = self.path(sha256)
        return path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == sha256


@cache
def picture(text: str) -> bytes:
    """A small JPEG with Exif that must not reach the page."""
    image = Image.new("RGB", (640, 480), (200, 205, 198))
    ImageDraw.Draw(image).text((30, 200), text, fill="black", font_size=48)
    exif = Image.Exif()
    exif[0x010F] = "camera maker that must not be printed"
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", exif=exif, quality=80)
    return buffer.getvalue()


def with_files(facts: JobFacts, store: Store) -> tuple[JobFacts, tuple[EnclosedFile, ...]]:
    """The facts with real pictures behind the photos and one file, numbered in order."""
    photos = []
    for number, photo in enumerate(facts.photos, start=1):
        data = picture(photo.id)
        photos.append(replace(photo, number=number, sha256=store.put(data), size_bytes=len(data)))
    log = EvidenceItem(
        id="file-drive",
        sha256=store.put(GPX),
        received_at=at("10:52"),
        number=len(photos) + 1,
        kind="drive_log",
        stage="calibration",
        media_type="application/gpx+xml",
        size_bytes=len(GPX),
        by="itolvaar",
        captured=facts.photos[0].captured,
        captured_how="satellite time",
    )
    changed = replace(facts, photos=tuple(photos), files=(log,))
    return changed, tuple(enclosed(item) for item in (*photos, log))


def enclosed(item: EvidenceItem) -> EnclosedFile:
    return EnclosedFile(
        evidence_id=item.id,
        number=item.number,
        name=attachment_name(item.number, item.media_type),
        media_type=item.media_type,
        sha256=item.sha256,
        size_bytes=item.size_bytes,
        set_aside_at=item.ended_at,
        set_aside_how=item.ended_how or "",
        set_aside_by="dpell" if item.ended_at else "",
        set_aside_reason="Shows another car." if item.ended_at else "",
    )


def signed(facts: JobFacts) -> JobFacts:
    """Signed by all three, over what the facts hold."""
    return replace(
        facts,
        sign_offs=(
            sign_off("sign-technician", "technician", "itolvaar", "11:20", facts),
            sign_off("sign-review", "quality_reviewer", "dpell", "11:40", facts),
            sign_off("sign-release", "release", "tachterly", "11:50", facts),
        ),
    )


def log_lines(steps: Iterable[tuple[str, str]]) -> tuple[LogLine, ...]:
    lines: list[LogLine] = []
    prev = "00" * 32
    for n, (who, what) in enumerate(steps, start=1):
        entry = canonical_bytes({"n": n, "what": what, "who": who})
        digest = hashlib.sha256(bytes.fromhex(prev) + entry).hexdigest()
        lines.append(
            LogLine(
                n=n, at=at("08:00"), who=who, what=what, target="job/417", entry=entry.decode(), prev=prev,
                hash=digest,
            )
        )  # fmt: skip
        prev = digest
    return tuple(lines)


def pack_texts() -> tuple[PackText, ...]:
    return tuple(
        PackText(
            pack=edition.pack,
            edition=edition.edition,
            title=edition.title,
            sha256=edition.sha256,
            text=(FOLDER / f"{edition.pack}.{edition.edition}.yaml").read_text(encoding="utf-8"),
        )
        for edition in packs_on_file().editions
    )


def source_of(
    facts: JobFacts, files: tuple[EnclosedFile, ...], gate: datetime, **fields: Any
) -> PacketSource:
    """A frozen source with the judgement at ``gate``."""
    kind = fields.get("kind", "full")
    base: dict[str, Any] = {
        "serial": "EM-2026-0417/P1",
        "kind": kind,
        "paper": "A4",
        "organisation_name": "Brackwater Repair Group",
        "sealed_at": at("11:52"),
        "software_version": "engine of the tests",
        "facts": facts,
        "assessment": assess(packs_on_file(), facts, as_of=gate),
        "order": OrderCard(customer_name="R. Ashgrove", payer="Harrowmere Mutual", plate="BRK 417"),
        "packs": pack_texts(),
        "files": files,
        "log": log_lines([("itolvaar", "order.opened"), ("dpell", "signature.given")]),
        "log_head": "ab" * 32,
        "withheld": WITHHELD_BY_KIND[kind],
        "form": 2,
    }
    return PacketSource(**{**base, **fields})


def finished(store: Store, **fields: Any) -> PacketSource:
    """The finished job: all met, released."""
    facts, files = with_files(unsigned_job(), store)
    return source_of(signed(facts), files, at("11:50"), **fields)


def open_record(store: Store, **fields: Any) -> PacketSource:
    """The same job with its list not closed, two photos missing and one signature: five rows, many points."""
    facts, files = with_files(unsigned_job(), store)
    facts = replace(facts, photos=facts.photos[:-2], closings=())
    kept = {item.id for item in (*facts.photos, *facts.files)}
    facts = replace(facts, sign_offs=(sign_off("sign-1", "technician", "itolvaar", "11:20", facts),))
    files = tuple(file for file in files if file.evidence_id in kept)
    return source_of(facts, files, at("11:30"), **fields)


def context_of(source: PacketSource, root: str = "5a" * 32) -> PageContext:
    return PageContext(source=source, editions=packs_on_file().editions, root=root)


def built(source: PacketSource, store: Store) -> BuiltPacket:
    return build_packet(source, KEY, store.path)
