"""The packet of a job with a waiver, a failed attempt and an undecided reading, as an opponent holds it."""

import html
import json
import re
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any, Final

from django.test.utils import override_settings

from jobs import copies, storage
from jobs.access import actor_for_person
from jobs.models import Job, OutboxEntry, Packet, Person, scope, unscoped
from jobs.moment import standing_at
from jobs.packets.build import read_packs
from jobs.packets.freeze import freeze_source
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.page import packet_page
from jobs.packets.source import PacketSource
from jobs.rehearsal.play import rehearse
from jobs.rehearsal.scenario import read_scenario
from jobs.rehearsal.scratch import connected, fixtures
from jobs.services.bundle import take_bundle
from jobs.services.packet import request_packet
from jobs.services.signing_keys import make_demo_key
from jobs.tasks import build_packet

SCENARIO: Final = "held_after_a_failed_aiming_and_a_waiver"
KEY: Final = b"packet key of the attacked job 32"
# UTC: the car is held and still here; the car has left.
HELD: Final = datetime(2026, 5, 5, 17, 46, tzinfo=UTC)
GONE: Final = datetime(2026, 5, 5, 18, 11, tzinfo=UTC)


@dataclass(frozen=True)
class Copy:
    """A packet's frozen input and its pages before they are rendered."""

    source: PacketSource

    @cached_property
    def context(self) -> PageContext:
        return PageContext(source=self.source, editions=read_packs(self.source.packs), root="5a" * 32)

    @cached_property
    def text(self) -> str:
        """All pages as words."""
        page = packet_page(self.context).html
        return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", page)).split())

    @property
    def page_1(self) -> str:
        return self.text[: self.text.index("Contents 1 Statement of record")]

    def chapter(self, head: str, following: str) -> str:
        start = self.text.rindex(head)
        return self.text[start : self.text.index(following, start)]


@dataclass(frozen=True)
class Attacked:
    """What lies on the opponent's table.

    Attributes:
        held: the shop's packet while the car is there; insurers: the insurer's once it has left.
        counsel: counsel's packet once it has left: the one sealed, printed and bundled below.
        printed: the text of its printed pages (pdftotext, laid out), one by one.
        bundle: its archive; checked: what check.pyz of that archive says of it, as JSON.
    """

    held: Copy
    insurers: Copy
    counsel: Copy
    printed: tuple[str, ...]
    bundle: Path
    checked: dict[str, Any]

    @cached_property
    def words(self) -> str:
        """The printed pages as one run of words."""
        return " ".join(" ".join(page.split()) for page in self.printed)

    @property
    def page_1(self) -> str:
        return " ".join(self.printed[0].split())

    def line(self, what: str) -> tuple[str, str]:
        """Result and words of one line of the check."""
        found = next(line for line in self.checked["lines"] if line["what"] == what)
        return found["result"], found["text"]

    def enclosed(self, name: str) -> bytes:
        with zipfile.ZipFile(self.bundle) as archive:
            path = next(path for path in archive.namelist() if path.endswith(f"/{name}"))
            return archive.read(path)


def attacked(folder: Path) -> Attacked:
    """Plays the job, seals counsel's packet with a demonstration key, lets the bundle's checker read it."""
    scenario = read_scenario(fixtures() / "scenarios" / f"{SCENARIO}.yaml")
    rehearsed = rehearse(scenario, keep=True)
    assert rehearsed.differences == []
    database = Path(rehearsed.kept_in)
    try:
        with _reopened(database) as job:
            held, insurers = _frozen(job, "full", HELD), _frozen(job, "insurer", GONE)
            counsel, bundle = _sealed(job, folder)
    finally:
        shutil.rmtree(database.parent, ignore_errors=True)
    return Attacked(
        held=Copy(held),
        insurers=Copy(insurers),
        counsel=Copy(counsel),
        printed=_printed(bundle, folder),
        bundle=bundle,
        checked=checked_by_its_own(bundle, folder),
    )


@contextmanager
def _reopened(database: Path) -> Iterator[Job]:
    stored = {"EVIDENCE_ROOT": database.parent / "stored", "WM_DEMO_CLOCK_FILE": ""}
    with override_settings(**stored), connected({"ENGINE": "django.db.backends.sqlite3", "NAME": database}):
        with unscoped():
            job = Job.objects.select_related("organisation", "order__vehicle").get()
        with scope(job.organisation_id):
            yield job


def _frozen(job: Job, kind: str, as_of: datetime) -> PacketSource:
    packet = Packet(
        organisation=job.organisation, job=job, number=1, serial=f"{job.number}/P1", kind=kind, as_of=as_of,
        salt_key=KEY,
    )  # fmt: skip
    return PacketSource.from_bytes(freeze_source(packet)[0].to_bytes())


def _sealed(job: Job, folder: Path) -> tuple[PacketSource, Path]:
    with standing_at(GONE):
        make_demo_key(organisation=job.organisation, as_of=GONE)
        actor = actor_for_person(Person.objects.get(login="tachterly"), as_of=GONE)
        packet = request_packet(job=job, actor=actor, as_of=GONE, kind="counsel")
        entry = OutboxEntry.objects.get(key=f"packet/{packet.pk}")
        assert build_packet.apply(args=(entry.pk,), throw=True).get() == "done"
        packet.refresh_from_db()
        taken = take_bundle(packet=packet, actor=actor, as_of=GONE)
        bundle = folder / "bundle.zip"
        assert taken.copy is not None
        shutil.copyfile(copies.place(taken.copy), bundle)
        return PacketSource.from_bytes(storage.read(packet.source_sha256)), bundle


def _printed(bundle: Path, folder: Path) -> tuple[str, ...]:
    """Every page's text by poppler's pdftotext."""
    pdf = folder / "packet.pdf"
    with zipfile.ZipFile(bundle) as archive:
        pdf.write_bytes(archive.read(next(n for n in archive.namelist() if n.endswith("/data/packet.pdf"))))
    made = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True, check=True)
    return tuple(made.stdout.decode("utf-8").split("\f")[:-1])


def checked_by_its_own(bundle: Path, folder: Path, of: Path | None = None) -> dict[str, Any]:
    """What the check.pyz that travels in ``bundle`` says of ``of``, or of its own bundle."""
    checker = folder / "check.pyz"
    with zipfile.ZipFile(bundle) as archive:
        checker.write_bytes(archive.read(next(n for n in archive.namelist() if n.endswith("/check.pyz"))))
    made = subprocess.run(
        [sys.executable, "-I", str(checker), str(of or bundle), "--json"], capture_output=True, check=False
    )
    told: dict[str, Any] = json.loads(made.stdout)
    return told
