"""Database to ``PacketSource``: what a packet speaks of, gathered once and then never read again."""

import json
from datetime import datetime

from cryptography.x509 import load_der_x509_certificate
from django.db.models import Q

from jobs import storage
from jobs.facts import job_facts, pack_set
from jobs.ledger.entry import Entry, instant_text
from jobs.models import Evidence, LogEntry, Organisation, PackEditionOnFile, Packet
from jobs.packets.copies import PICTURE_TYPES, Copies, copies_of
from jobs.packets.frozen_parts import device_names, known_of, produced_copies
from jobs.packets.outside import for_outside
from jobs.packets.source import (
    OUTSIDE_KINDS,
    WITHHELD_BY_KIND,
    EnclosedFile,
    LogLine,
    OrderCard,
    PacketSource,
    PackText,
    SignerCard,
    attachment_name,
)
from jobs.signing.identities import identity_of
from rules import ENGINE_VERSION
from rules.assess import assess
from rules.canonical import canonical_bytes
from rules.facts import JobFacts
from rules.packs.model import PackSet
from rules.result import Assessment


def packet_gate_instant(facts: JobFacts, as_of: datetime) -> datetime:
    """The gate instant of a packet: once the car is gone, when the server learnt of it; before, ``as_of``.

    A packet asked for years later must not be judged by rules that came into force after the car had left.
    """
    return facts.delivery.received_at if facts.delivery is not None else as_of


def freeze_source(packet: Packet) -> tuple[PacketSource, PackSet]:
    """Gathers and judges everything the server held at ``packet.as_of``; the organisation's scope is open."""
    packs = pack_set(packet.organisation)
    facts = job_facts(job=packet.job, as_of=packet.as_of)
    judgement = assess(packs, facts, as_of=packet_gate_instant(facts, packet.as_of))
    log = _log_lines(packet)
    source = PacketSource(
        serial=packet.serial,
        kind=packet.kind,
        paper="Letter" if packet.organisation.page_size == "Letter" else "A4",
        organisation_name=packet.organisation.name,
        sealed_at=packet.as_of,
        software_version=f"engine {ENGINE_VERSION}",
        facts=facts,
        assessment=judgement,
        order=_order_card(packet),
        supersedes=packet.supersedes.serial if packet.supersedes is not None else None,
        packs=_pack_texts(packet, judgement),
        files=_enclosed_files(packet),
        log=log,
        log_head=_log_head(packet),
        withheld=WITHHELD_BY_KIND.get(packet.kind, ()),
        form=2,
        signer=signer_card(packet.organisation),
        production=produced_copies(packet) if packet.kind == "counsel" else (),
        devices=device_names(facts),
    )
    if packet.kind in OUTSIDE_KINDS:
        source = for_outside(source, packs, known_of(packet, source), storage.read)
    return source, packs


def signer_card(organisation: Organisation) -> SignerCard | None:
    """What the pages say of the key in use; None where the organisation has none."""
    identity = identity_of(organisation)
    if identity is None:
        return None
    certificate = load_der_x509_certificate(bytes(identity.certificate))
    return SignerCard(
        name=certificate.subject.rfc4514_string(),
        key_sha256=identity.key_sha256,
        is_demo=identity.is_demo,
    )


def _order_card(packet: Packet) -> OrderCard:
    order = packet.job.order
    return OrderCard(
        customer_name=order.customer_name,
        customer_contact=order.customer_contact,
        payer=order.payer,
        claim_number=order.claim_number,
        plate=order.vehicle.plate,
    )


def _pack_texts(packet: Packet, judgement: Assessment) -> tuple[PackText, ...]:
    """The editions that the judgement names, and every other one on file of the same packs.

    The others are enclosed so that a reader can check for himself which edition was in force on which day.
    """
    names = sorted({name for name, _, _ in judgement.packs})
    rows = (
        PackEditionOnFile.objects.filter(organisation=packet.organisation, pack__in=names)
        .exclude(state="draft")
        .order_by("pack", "edition")
    )
    return tuple(
        PackText(
            pack=row.pack,
            edition=row.edition,
            title=row.title,
            sha256=row.sha256,
            text=bytes(row.source).decode("utf-8"),
            withdrawn_on=row.withdrawn_on,
        )
        for row in rows
    )


def _enclosed_files(packet: Packet) -> tuple[EnclosedFile, ...]:
    rows = list(
        Evidence.objects.filter(job=packet.job, received_at__lte=packet.as_of)
        .select_related("ended_by")
        .order_by("number")
    )
    pictures = {row.sha256: row.size_bytes for row in rows if row.media_type in PICTURE_TYPES}
    copies = copies_of(organisation=packet.organisation, pictures=pictures, as_of=packet.as_of)
    return tuple(_enclosed(row, packet.as_of, copies.get(row.sha256, {})) for row in rows)


def _enclosed(row: Evidence, as_of: datetime, copies: Copies) -> EnclosedFile:
    number = row.number or 0
    ended = row.ended_at is not None and row.ended_at <= as_of
    return EnclosedFile(
        evidence_id=str(row.pk),
        number=number,
        name=attachment_name(number, row.media_type),
        media_type=row.media_type,
        sha256=row.sha256,
        size_bytes=row.size_bytes,
        set_aside_at=row.ended_at if ended else None,
        set_aside_how=row.ended_how if ended else "",
        set_aside_by=row.ended_by.login if ended and row.ended_by is not None else "",
        set_aside_reason=row.ended_reason if ended else "",
        copy_sha256=copies.get("small", ""),
        large_sha256=copies.get("large", ""),
    )


def _log_lines(packet: Packet) -> tuple[LogLine, ...]:
    """Entries about the job, its order and its packets up to the instant the packet speaks for."""
    targets = [f"job/{packet.job_id}", f"order/{packet.job.order_id}"]
    targets += [f"packet/{pk}" for pk in Packet.objects.filter(job=packet.job).values_list("pk", flat=True)]
    rows = LogEntry.objects.filter(
        Q(organisation=packet.organisation), target__in=targets, at__lte=instant_text(packet.as_of)
    ).order_by("n")
    return tuple(_log_line(row) for row in rows)


def _log_line(row: LogEntry) -> LogLine:
    entry = Entry(
        organisation=str(row.organisation_id),
        n=row.n,
        at=row.at,
        who=row.who,
        device=row.device,
        what=row.what,
        target=row.target,
        detail=row.detail,
    )
    return LogLine(
        n=row.n,
        at=datetime.fromisoformat(row.at),
        who=row.who,
        what=row.what,
        target=row.target,
        entry=canonical_bytes(entry.content()).decode("utf-8"),
        prev=row.prev,
        hash=row.hash,
    )


def _log_head(packet: Packet) -> str:
    newest = (
        LogEntry.objects.filter(organisation=packet.organisation, at__lte=instant_text(packet.as_of))
        .order_by("-n")
        .values_list("hash", flat=True)
        .first()
    )
    return newest or "00" * 32


def same_content(earlier: PacketSource, later: PacketSource) -> bool:
    """Whether two sources of one job say the same: facts, order, kind and packs, whatever the instant."""
    return _content(earlier) == _content(later)


def _content(source: PacketSource) -> str:
    judged = source.assessment
    return json.dumps(
        [
            judged.facts_sha256,
            judged.verdict,
            judged.disposition,
            source.kind,
            source.paper,
            [[pack.sha256, str(pack.withdrawn_on)] for pack in source.packs],
            [
                source.order.customer_name,
                source.order.customer_contact,
                source.order.payer,
                source.order.plate,
            ],
            [[file.sha256, str(file.set_aside_at)] for file in source.files],
        ]
    )
