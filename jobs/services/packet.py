"""Packets of a job: asked for, served as sealed, copied for a recipient; ``packet_sealing`` makes them."""

import secrets
import uuid
from datetime import UTC, datetime
from typing import Final
from uuid import UUID

from django.db import transaction

from jobs import outbox, storage
from jobs.access import Actor
from jobs.errors import Conflict, Gone, Refused
from jobs.models import AccessGrant, Job, Packet
from jobs.packets.freeze import freeze_source, same_content
from jobs.packets.seal import Seal, seal_pdf
from jobs.packets.source import KINDS, PacketSource
from jobs.packets.stamp import stamp_pdf
from jobs.selectors.deletions import note_of_packet
from jobs.services import recording
from jobs.signing.identities import signer_of

TASK: Final = "jobs.build_packet"
WORKING: Final = ("waiting", "building", "signing")


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


# ------------------------------------------------------------------ served


def sealed_bytes(packet: Packet) -> bytes:
    """The sealed file, byte for byte as it was sealed, checked against its hash.

    Raises:
        Conflict: ``packet_not_sealed``.
        Gone: ``packet_deleted``: retention took it away, on which day the message says.
        jobs.storage.StoredBytesMissingError, jobs.storage.StoredBytesChangedError: the store is damaged.
    """
    if packet.state != "sealed":
        raise Conflict("packet_not_sealed", "This packet is not sealed yet.")
    return _stored(packet, packet.pdf_sha256)


def _stored(packet: Packet, sha256: str) -> bytes:
    """One stored file of a packet; the scope of its organisation is open. Raises as ``sealed_bytes``."""
    try:
        return storage.read(sha256)
    except storage.StoredBytesMissingError:
        note = note_of_packet(packet.pk)
        if not note:
            raise
        raise Gone("packet_deleted", f"The file of packet {packet.serial} was {note}.") from None


def stamped_copy(*, packet: Packet, grant: AccessGrant, at: datetime) -> bytes:
    """The packet for one recipient: recipient, grant, serial and time in the foot of every page, signed anew.

    A derived file: made from the body of the sealed one, with the same attachments, root and proof from the
    log, ``recipient.json`` besides, and a signature of its own by the organisation's key. The sealed bytes
    stay as they are.

    Raises:
        Conflict: ``packet_not_sealed``, or ``grant_of_another_packet``.
        Gone: ``packet_deleted``.
        jobs.signing.signer.SigningKeyUnavailable: the key does not answer; the copy is not made half.
    """
    if grant.packet_id != packet.pk:
        raise Conflict("grant_of_another_packet", "This access is to another packet.")
    if packet.state != "sealed":
        raise Conflict("packet_not_sealed", "This packet is not sealed yet.")
    name = grant.recipient
    short = str(grant.pk)[:8]
    line = (
        f"Prepared for {name}, grant {short}, until {_day(grant.until)}. "
        f"Copy of {packet.serial} taken {at.astimezone(UTC):%Y-%m-%d %H:%M} UTC."
    )
    told = {
        "recipient": name,
        "grant": str(grant.pk),
        "purpose": grant.purpose,
        "serial": packet.serial,
        "root": packet.merkle_root,
        "sealed_pdf_sha256": packet.pdf_sha256,
        "sealed_body_sha256": packet.body_sha256,
    }
    if not packet.sealing_sha256:
        # Sealed before there were signatures: its file is its body.
        return stamp_pdf(_stored(packet, packet.pdf_sha256), line, told, at)
    signer = signer_of(packet.organisation) if packet.signed_by_id is not None else None
    seal = None
    if signer is not None:
        seal = Seal(
            signer=signer, at=at, organisation=packet.organisation.name, reason="Copy for a recipient"
        )
    body = stamp_pdf(_stored(packet, packet.body_sha256), line, told, at)
    return seal_pdf(body, storage.read(packet.sealing_sha256), dated=at, seal=seal)


def _day(at: datetime) -> str:
    day = at.astimezone(UTC)
    return f"{day.day} {day:%b %Y}"
