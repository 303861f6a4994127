"""Packets of a job: asked for, frozen, built and sealed once, served as sealed, copied for a recipient."""

import secrets
import uuid
from datetime import UTC, datetime
from typing import Any, Final
from uuid import UUID

from django.db import transaction

from jobs import outbox, storage
from jobs.access import Actor
from jobs.errors import Conflict, Refused
from jobs.ledger.append import append
from jobs.models import AccessGrant, Job, Packet
from jobs.packets.build import BuiltPacket, build_packet
from jobs.packets.freeze import freeze_source, same_content
from jobs.packets.render import RenderError
from jobs.packets.source import KINDS, PacketSource
from jobs.packets.stamp import stamp_pdf
from jobs.services import recording
from jobs.services.assessment import keep_judgement
from jobs.services.person_keys import keys_of_source

TASK: Final = "jobs.build_packet"
PROGRAM: Final = "packet"
WORKING: Final = ("waiting", "building")
# Trying again would fail the same way: the packet is marked failed at once.
FINAL_FAILURES: Final = ("packet_asked_outside", "packet_too_long", "evidence_changed")


# ------------------------------------------------------------------ asked for


@transaction.atomic
def request_packet(
    *, job: Job, actor: Actor, as_of: datetime, kind: str = "full", packet_id: UUID | None = None
) -> Packet:
    """A packet of the job as it stands at ``as_of``.

    One that waits or is being built is joined. A sealed one of the same kind is served again while the
    record says the same; once it says something else, the new packet supersedes it.

    Raises:
        NotAllowed: ``role_missing``.
        Refused: ``kind_not_built`` for a kind this version does not make.
        Conflict: ``id_in_use``.
    """
    recording.require_role(actor, *recording.FLOOR_ROLES, "integration")
    if kind not in KINDS:
        raise Refused("kind_not_built", f"A packet is one of: {', '.join(KINDS)}.", field="kind")
    # One request at a time for a job: two at once would otherwise draw two numbers for the same thing.
    locked = Job.objects.select_for_update().select_related("organisation", "order__vehicle").get(pk=job.pk)
    there = _there_already(locked, kind, packet_id)
    if there is not None:
        return there
    last = Packet.objects.filter(job=locked, kind=kind, state="sealed").order_by("-number").first()
    packet = _new_packet(locked, actor, as_of, kind, packet_id)
    packet.supersedes = last
    if last is not None and _says_the_same(last, packet):
        return last
    Job.objects.filter(pk=locked.pk).update(packet_count=packet.number)
    recording.insert(packet)
    outbox.enqueue(
        organisation=packet.organisation,
        task=TASK,
        arguments={"packet_id": str(packet.pk)},
        key=f"packet/{packet.pk}",
        at=as_of,
    )
    detail = {"packet": packet.serial, "kind": kind, "id": str(packet.pk)}
    recording.log(actor=actor, as_of=as_of, what="packet.requested", job=locked, detail=detail)
    return packet


def _there_already(job: Job, kind: str, packet_id: UUID | None) -> Packet | None:
    if packet_id is not None:
        kept = Packet.objects.filter(pk=packet_id).first()
        if kept is not None:
            if (kept.job_id, kept.kind) != (job.pk, kind):
                raise recording.id_in_use()
            return kept
    return Packet.objects.filter(job=job, kind=kind, state__in=WORKING).order_by("-number").first()


def _new_packet(job: Job, actor: Actor, as_of: datetime, kind: str, packet_id: UUID | None) -> Packet:
    number = job.packet_count + 1
    return Packet(
        id=packet_id or uuid.uuid4(),
        organisation=job.organisation,
        job=job,
        number=number,
        serial=f"{job.number}/P{number}",
        kind=kind,
        requested_at=as_of,
        requested_by=actor.person,
        as_of=as_of,
        salt_key=secrets.token_bytes(32),
    )


def _says_the_same(last: Packet, packet: Packet) -> bool:
    """Whether the record has not changed since ``last`` was sealed."""
    earlier = PacketSource.from_bytes(storage.read(last.source_sha256))
    later, _ = freeze_source(packet)
    return same_content(earlier, later)


# ------------------------------------------------------------------ built and sealed


def perform_packet(*, packet_id: UUID, as_of: datetime) -> Packet:
    """Freezes, builds and seals one packet; repeating it after any interruption gives the same bytes.

    The input is frozen and stored before anything is built, so a second attempt builds from the very same
    input. A sealed or failed packet is left as it is.

    Raises:
        RenderError: the pages could not be made this time; the work is tried again.
    """
    packet = _begin(packet_id)
    if packet.state != "building":
        return packet
    try:
        source = _frozen(packet, as_of)
        _require_intact(source)
        _progress(packet, 50)
        keys = keys_of_source(organisation=packet.organisation, source=source, as_of=as_of)
        built = build_packet(source, bytes(packet.salt_key), storage.path, keys)
    except (Refused, RenderError) as error:
        if error.code not in FINAL_FAILURES:
            raise
        _fail(packet, error.code, error.message, as_of)
    else:
        storage.put(built.pdf)
        _seal(packet, source, built, as_of)
    packet.refresh_from_db()
    return packet


@transaction.atomic
def _begin(packet_id: UUID) -> Packet:
    packet = (
        Packet.objects.select_for_update(of=("self",))
        .select_related("organisation", "job__order__vehicle", "job__organisation", "supersedes")
        .get(pk=packet_id)
    )
    if packet.state in WORKING:
        packet.state = "building"
        packet.attempts += 1
        packet.progress = 10
        packet.save(update_fields=("state", "attempts", "progress"))
    return packet


def _progress(packet: Packet, percent: int) -> None:
    Packet.objects.filter(pk=packet.pk, state="building").update(progress=percent)


def _frozen(packet: Packet, as_of: datetime) -> PacketSource:
    """The stored input; gathered, judged and stored first where this is the first attempt."""
    if packet.source_sha256:
        return PacketSource.from_bytes(storage.read(packet.source_sha256))
    source, packs = freeze_source(packet)
    sha256 = storage.put(source.to_bytes())
    with transaction.atomic():
        kept = keep_judgement(
            job=packet.job, judgement=source.assessment, packs=packs, facts=source.facts, as_of=as_of
        )
        Packet.objects.filter(pk=packet.pk, state="building", source_sha256="").update(
            source_sha256=sha256, assessment=kept, log_head=source.log_head
        )
    packet.refresh_from_db()
    # Another worker may have frozen it a moment earlier: what is in the row is what counts.
    return source if packet.source_sha256 == sha256 else _frozen(packet, as_of)


def _require_intact(source: PacketSource) -> None:
    """Refuses to seal over an original that was changed or lost in storage."""
    broken = [file.name for file in source.files if not storage.is_intact(file.sha256)]
    if broken:
        raise Refused(
            "evidence_changed",
            f"The stored original of {', '.join(broken)} was changed or lost.",
            files=broken,
        )


@transaction.atomic
def _seal(packet: Packet, source: PacketSource, built: BuiltPacket, as_of: datetime) -> None:
    contents = [
        {"path": file.name, "sha256": file.sha256, "bytes": file.size_bytes} for file in built.manifest.files
    ]
    moved = Packet.objects.filter(pk=packet.pk, state="building").update(
        state="sealed",
        progress=100,
        built_at=as_of,
        contents=contents,
        manifest_sha256=built.manifest.sha256,
        merkle_root=built.root,
        log_head=source.log_head,
        pdf_sha256=built.pdf_sha256,
        pdf_bytes=len(built.pdf),
        failure_code="",
        failure_message="",
    )
    if moved == 1:
        detail = {
            "packet": packet.serial,
            "pdf_sha256": built.pdf_sha256,
            "root": built.root,
            "manifest_sha256": built.manifest.sha256,
            "source_sha256": packet.source_sha256,
        }
        _log(packet, as_of, "packet.sealed", detail)
    outbox.finish_here()


@transaction.atomic
def _fail(packet: Packet, code: str, message: str, as_of: datetime) -> None:
    moved = Packet.objects.filter(pk=packet.pk, state__in=WORKING).update(
        state="failed", failure_code=code[:60], failure_message=message[:2000]
    )
    if moved == 1:
        _log(packet, as_of, "packet.failed", {"packet": packet.serial, "code": code})
    outbox.finish_here()


@transaction.atomic
def bury_packet(*, packet_id: UUID, error: str, as_of: datetime) -> None:
    """Marks a packet failed after its last attempt; one that was sealed meanwhile stays sealed."""
    packet = Packet.objects.select_related("organisation", "job").get(pk=packet_id)
    moved = Packet.objects.filter(pk=packet_id, state__in=WORKING).update(
        state="failed", failure_code="packet_not_built", failure_message=error[:2000]
    )
    if moved == 1:
        _log(packet, as_of, "packet.failed", {"packet": packet.serial, "code": "packet_not_built"})


def _log(packet: Packet, as_of: datetime, what: str, detail: dict[str, Any]) -> None:
    append(
        organisation=packet.organisation,
        at=as_of,
        who=PROGRAM,
        device="",
        what=what,
        target=f"job/{packet.job_id}",
        detail={"job": packet.job.number, "id": str(packet.pk), **detail},
    )


# ------------------------------------------------------------------ served


def sealed_bytes(packet: Packet) -> bytes:
    """The sealed file, byte for byte as it was sealed, checked against its hash.

    Raises:
        Conflict: ``packet_not_sealed``.
        jobs.storage.StoredBytesMissingError, jobs.storage.StoredBytesChangedError: the store is damaged.
    """
    if packet.state != "sealed":
        raise Conflict("packet_not_sealed", "This packet is not sealed yet.")
    return storage.read(packet.pdf_sha256)


def stamped_copy(*, packet: Packet, grant: AccessGrant, at: datetime) -> bytes:
    """The packet for one recipient: recipient, grant, serial and time in the foot of every page.

    A derived file: the sealed bytes stay as they are, attachments and root are those of the sealed packet.

    Raises:
        Conflict: ``packet_not_sealed``, or ``grant_of_another_packet``.
    """
    if grant.packet_id != packet.pk:
        raise Conflict("grant_of_another_packet", "This access is to another packet.")
    name = grant.recipient
    short = str(grant.pk)[:8]
    line = (
        f"Prepared for {name}, grant {short}, until {_day(grant.until)}. "
        f"Copy of {packet.serial} taken {at.astimezone(UTC):%Y-%m-%d %H:%M} UTC."
    )
    told = {"recipient": name, "grant": str(grant.pk), "purpose": grant.purpose, "serial": packet.serial}
    return stamp_pdf(sealed_bytes(packet), line, {**told, "root": packet.merkle_root}, at)


def _day(at: datetime) -> str:
    day = at.astimezone(UTC)
    return f"{day.day} {day:%b %Y}"
