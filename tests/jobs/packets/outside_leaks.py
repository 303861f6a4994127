"""What packets for outside hands say of a played scenario, looked through for other cars and other people.

A sentence with somebody else's name, plate, number and order is put into every free text first, so that
there is something to find in every job. The search shares nothing with the code that replaces and withholds.
"""

import html
import json
import re
import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, Final
from unittest.mock import patch

from django.test.utils import override_settings

from jobs import storage
from jobs.access import actor_for_person
from jobs.models import Evidence, Job, Packet, Person, RepairOrder, scope, unscoped
from jobs.moment import machine_now
from jobs.packets import freeze
from jobs.packets.build import read_packs
from jobs.packets.following import Sealed
from jobs.packets.manifest import Manifest, build_manifest
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.page import packet_page
from jobs.packets.redacting import Wanted, redacted_source
from jobs.packets.source import PacketSource, PackText
from jobs.rehearsal.scratch import connected
from jobs.services import redaction
from jobs.services.facts_on_file import kept_facts
from jobs.services.redaction import FieldChoice, RedactionEntry
from rules.facts import JobFacts
from rules.packs.model import PackEdition
from rules.reading_back import facts_bytes

KEY: Final = b"packet key of outside packets 32"
NAME, CONTACT, PLATE = "Philippa Orne-Vasey", "orne.vasey@mail.example", "QWV 8801"
VIN, ORDER = "Z0ACR4H24T1004217", "EM-2026-0990"
PLANTED: Final = f"Just as on {NAME}'s car ({PLATE}, {VIN}, order {ORDER}; {CONTACT})."
# 17 letters and digits without I, O and Q, some of them digits (ISO 3779), as they stand in the record.
VIN_FORM: Final = re.compile(r"\b(?=(?:[A-Z]*[0-9]){4})[A-HJ-NPR-Z0-9]{17}\b")
WHY: Final = "Not needed for the purpose it is asked for."
# Free texts by list of the facts.
TEXTS: Final = {
    "estimate_lines": ("text",),
    "waivers": ("reason", "instead"),
    "refusals": ("lamp_state",),
    "explanations": ("text",),
    "sessions": ("result_text",),
    "floor_surveys": ("void_reason",),
    "photos": ("file_name",),
    "files": ("file_name",),
}


@dataclass(frozen=True)
class Looked:
    """Jobs whose facts hold something of others, the packets of these, and what of others stood in them.

    ``kept_back``: how much was replaced or withheld in these packets; ``leaks``: job, kind, place and what.
    """

    jobs: tuple[str, ...]
    packets: int
    kept_back: int
    leaks: tuple[str, ...]


@contextmanager
def opened(database: Path) -> Iterator[list[Job]]:
    """Inside, the database and the files of a kept rehearsal are those in use; its jobs."""
    sqlite = {"ENGINE": "django.db.backends.sqlite3", "NAME": database}
    stored = {"EVIDENCE_ROOT": database.parent / "stored", "WM_DEMO_CLOCK_FILE": ""}
    with override_settings(**stored), connected(sqlite):
        with unscoped():
            rows = Job.objects.select_related(
                "organisation", "order__vehicle", "location", "current_assessment"
            )
            jobs = list(rows.order_by("number"))
        yield jobs


def speaks_of_others(job: Job, jobs: list[Job]) -> bool:
    """Whether the facts of a job, as they were judged, hold something of another job, car or customer."""
    if job.current_assessment is None:
        return False
    with scope(job.organisation_id):
        text = facts_bytes(kept_facts(job.current_assessment)).decode()
        others = list(things_of_others(job))
    vins = set(VIN_FORM.findall(text)) - {job.order.vehicle.vin}
    others_jobs = [other.pk for other in jobs if other.pk != job.pk]
    with unscoped():
        files = Evidence.objects.filter(job__in=others_jobs).values_list("pk", flat=True)
        ids = [found for found in (*others_jobs, *files) if str(found) in text]
    words, tight = loose(text), tightened(text)
    return bool(vins or ids) or any(is_said(what, is_tight, words, tight) for what, is_tight in others)


def look_through(database: Path) -> Looked:
    """Every job of a kept rehearsal that speaks of others, as insurer's, owner's and redacted packet.

    Of the other jobs nothing of others could leave: there is none in what their packets are made from.
    Packets for counsel are no outside packets: they hold what the record holds, strangers' things too.
    """
    packets, kept_back, leaks = 0, 0, []
    with opened(database) as jobs:
        speaking = [job for job in jobs if speaks_of_others(job, jobs)]
        for job in speaking:
            with scope(job.organisation_id):
                plant_order(job)
                for kind, source, manifest in told_outside(job):
                    packets += 1
                    kept_back += source.strangers + len(source.withheld)
                    leaks += [f"{job.number} {kind}: {leak}" for leak in leaks_of(job, source, manifest)]
    return Looked(tuple(job.number for job in speaking), packets, kept_back, tuple(leaks))


def plant_order(job: Job) -> None:
    """One more order of the same organisation: a car and a person that have nothing to do with this job."""
    if RepairOrder.objects.filter(number=ORDER).exists():
        return
    order = RepairOrder.objects.select_related("vehicle").get(pk=job.order_id)
    vehicle = order.vehicle
    vehicle.pk, vehicle.vin, vehicle.plate = uuid.uuid4(), VIN, PLATE
    vehicle.save(force_insert=True)
    order.pk, order.number, order.vehicle = uuid.uuid4(), ORDER, vehicle
    order.customer_name, order.customer_contact, order.claim_number = NAME, CONTACT, ""
    order.save(force_insert=True)


# ------------------------------------------------------------------ what leaves


def told_outside(job: Job) -> Iterator[tuple[str, PacketSource, Manifest]]:
    with planting():
        for kind in ("insurer", "owner"):
            source = freeze.freeze_source(packet_of(job, kind))[0]
            yield kind, source, build_manifest(source, KEY)
        source = redacted(job)
    yield "redacted", source, build_manifest(source, KEY)


def packet_of(job: Job, kind: str) -> Packet:
    gates = job.assessments.order_by("-gate_at").values_list("gate_at", flat=True)
    return Packet(
        organisation=job.organisation, job=job, number=1, serial=f"{job.number}/P1", kind=kind,
        as_of=gates.first() or machine_now(), salt_key=KEY,
    )  # fmt: skip


@contextmanager
def planting() -> Iterator[None]:
    """Inside, the facts of a job come with the sentence in every free text."""
    true = freeze.job_facts

    def planted(**given: Any) -> JobFacts:
        facts = true(**given)
        changes = {
            name: tuple(
                replace(item, **{text: f"{getattr(item, text)} {PLANTED}" for text in texts})
                for item in getattr(facts, name)
            )
            for name, texts in TEXTS.items()
        }
        return replace(facts, **changes)  # type: ignore[arg-type]  # each list under its own name

    with patch.object(freeze, "job_facts", planted):
        yield


def redacted(job: Job) -> PacketSource:
    """The customer's name withheld from the full packet, by the service; nothing else was chosen."""
    full = freeze.freeze_source(packet_of(job, "full"))[0]
    manifest = build_manifest(full, KEY)
    opened = Sealed(source=full, root=manifest.root, entries=tuple(json.loads(manifest.data)["entries"]))
    person = next(one for one in Person.objects.all() if set(one.roles) & set(redaction.REDACTORS))
    entry = RedactionEntry(
        id=uuid.uuid4(), fields=(FieldChoice(path="order/customer_name", kind="customer_name", why=WHY),)
    )
    with patch.object(redaction, "_opened", lambda packet, actor: opened):
        plan = redaction.plan_of(
            packet=packet_of(job, "full"), actor=actor_for_person(person, as_of=full.sealed_at), entry=entry
        )
    wanted = Wanted(
        serial=f"{job.number}/P2", made_at=full.sealed_at, made_by=person.login, items=plan.items, painted=()
    )
    return redacted_source(opened, wanted)


# ------------------------------------------------------------------ looked through


def leaks_of(job: Job, source: PacketSource, manifest: Manifest) -> Iterator[str]:
    """Where another's things stand: manifest, attachments, pages, names and bytes of originals that go."""
    others = list(things_of_others(job))
    for where, text in texts_of(source, manifest):
        words, tight = loose(text), tightened(text)
        for what, is_tight in others:
            if is_said(what, is_tight, words, tight):
                yield f"{where}: {what}"
    for file in source.shipped_files():
        data = storage.read(file.sha256).upper()
        for what, is_tight in others:
            if is_tight and what.upper().encode() in data:
                yield f"{file.name}: {what}"


def is_said(what: str, is_tight: bool, words: str, tight: str) -> bool:
    """Whether a text, in both forms, names it: a name as words of its own, a number whatever its marks."""
    return tightened(what) in tight if is_tight else f" {loose(what)} " in f" {words} "


def texts_of(source: PacketSource, manifest: Manifest) -> Iterator[tuple[str, str]]:
    yield "manifest.json", manifest.data.decode()
    for file in manifest.files:
        if file.data is not None and not file.name.startswith("pack-"):
            yield file.name, file.data.decode()
        elif file.data is None:
            yield "name of a file", file.name
            if not file.media_type.startswith(("image/", "video/")):
                yield file.name, storage.read(file.sha256).decode("utf-8", "replace")
    context = PageContext(source=source, editions=editions_of(source.packs), root=manifest.root)
    page = packet_page(context)
    yield "pages", html.unescape(re.sub(r"<[^>]*>", " ", page.html))


@cache
def editions_of(packs: tuple[PackText, ...]) -> tuple[PackEdition, ...]:
    return read_packs(packs)


def things_of_others(job: Job) -> Iterator[tuple[str, bool]]:
    """What belongs to other orders, of this business or another; numbers of cars without regard to marks."""
    own = job.order
    with unscoped():
        rows = list(RepairOrder.objects.exclude(pk=own.pk).select_related("vehicle"))
    for row in rows:
        if row.vehicle.vin != own.vehicle.vin:
            yield row.vehicle.vin, True
        if row.vehicle.plate and row.vehicle.plate != own.vehicle.plate:
            yield row.vehicle.plate, True
        yield from ((name, False) for name in named_otherwise(row, own))


def named_otherwise(row: RepairOrder, own: RepairOrder) -> Iterable[str]:
    for name in ("customer_name", "customer_contact", "number"):
        text = getattr(row, name)
        if text and text != getattr(own, name):
            yield text


def loose(text: str) -> str:
    return " ".join(re.findall(r"[^\W_]+", text.casefold()))


def tightened(text: str) -> str:
    return "".join(re.findall(r"[^\W_]+", text.casefold()))
