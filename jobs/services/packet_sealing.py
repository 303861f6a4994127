"""From a request to a sealed packet, step by step; after an interruption the next attempt goes on from there.

freeze -> body built and stored -> one transaction: entry in the log, head signed over it, state ``signing``
-> proof attached and signature set -> stored -> one transaction: its hash in the log, state ``sealed``.
"""

from datetime import datetime, timedelta
from typing import Any, Final
from uuid import UUID

from django.db import connection, transaction

from jobs import outbox, storage
from jobs.errors import Refused
from jobs.failpoints import reached
from jobs.ledger.append import append
from jobs.ledger.heads import sign_head
from jobs.ledger.sealing import sealing_of
from jobs.ledger.tree import make_tiles
from jobs.models import LogEntry, Packet, PacketRedaction, SigningIdentity
from jobs.packets.build import BuiltPacket, build_packet
from jobs.packets.freeze import freeze_source
from jobs.packets.render import RenderError
from jobs.packets.source import PacketSource
from jobs.services import packet_signing
from jobs.services.assessment import keep_judgement
from jobs.services.packet import TASK, WORKING
from jobs.services.person_keys import keys_of_source
from jobs.signing.identities import identity_of, open_signer
from jobs.signing.signer import Signer, SigningKeyUnavailable
from rules.canonical import canonical_bytes
from rules.merkle import entry_leaf, entry_salt

PROGRAM: Final = "packet"
# Trying again would fail the same way: the packet is marked failed at once.
FINAL_FAILURES: Final = (
    "packet_asked_outside",
    "packet_too_long",
    "evidence_changed",
    "signing_key_changed",
    "packet_body_changed",
    "person_key_destroyed",
)
# How long a packet rests before its key is asked again: doubling, up to the second (project defaults).
SHORTEST_REST: Final = timedelta(seconds=15)
LONGEST_REST: Final = timedelta(minutes=15)
_SOURCE: Final = "packet/source_sha256"
_TRIAL: Final = b"a trial of the key, not a signature of anything"


def perform_packet(*, packet_id: UUID, as_of: datetime) -> Packet:
    """Freezes, builds, logs and signs one packet; repeating it after any interruption gives the same body.

    A sealed or failed packet is left as it is. Where the signing key does not answer the packet waits and is
    taken up again later; it is never sealed without the signature that its pages announce.

    Raises:
        RenderError: the pages could not be made this time; the work is tried again.
    """
    packet = _begin(packet_id)
    try:
        if packet.state == "building":
            _build(packet, as_of)
            packet.refresh_from_db()
        if packet.state == "signing":
            packet_signing.sign_packet(packet=packet, as_of=as_of, rebuilt=lambda: _rebuilt(packet, as_of))
    except SigningKeyUnavailable as error:
        _rest(packet, error, as_of)
    except (Refused, RenderError) as error:
        if error.code not in FINAL_FAILURES:
            raise
        _fail(packet, error.code, error.message, as_of)
    packet.refresh_from_db()
    return packet


@transaction.atomic
def _begin(packet_id: UUID) -> Packet:
    packet = (
        Packet.objects.select_for_update(of=("self",))
        .select_related(
            "organisation", "job__order__vehicle", "job__organisation", "job__location", "supersedes"
        )
        .get(pk=packet_id)
    )
    if packet.state in WORKING:
        packet.state = "signing" if packet.state == "signing" else "building"
        packet.attempts += 1
        packet.progress = 80 if packet.state == "signing" else 10
        packet.save(update_fields=("state", "attempts", "progress"))
    return packet


# ------------------------------------------------------------------ the body


def _build(packet: Packet, as_of: datetime) -> None:
    source = _frozen(packet, as_of)
    _require_intact(source)
    identity, signer = _ready_key(packet, source)
    _progress(packet, 50)
    built = _built(packet, source, as_of)
    storage.put(built.pdf)
    reached("packet.body_stored")
    if not connection.in_atomic_block:
        # Beside the transaction below, which would otherwise hold the log while it makes them.
        make_tiles(packet.organisation_id)
    _log_body(packet, source, built, identity, signer, as_of)
    reached("packet.body_logged")


def _built(packet: Packet, source: PacketSource, as_of: datetime) -> BuiltPacket:
    keys = keys_of_source(organisation=packet.organisation, source=source, as_of=as_of)
    return build_packet(source, bytes(packet.salt_key), storage.path, keys)


def _rebuilt(packet: Packet, as_of: datetime) -> bytes:
    """The body once more, from the frozen input: the same input gives the same bytes."""
    source = PacketSource.from_bytes(storage.read(packet.source_sha256))
    return _built(packet, source, as_of).pdf


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


def _ready_key(packet: Packet, source: PacketSource) -> tuple[SigningIdentity | None, Signer | None]:
    """The key that the pages announce, after it has answered: nothing is built for a key that is away.

    Raises:
        Refused: ``signing_key_changed``: another key, or none, is in use by now.
        SigningKeyUnavailable: it does not answer.
    """
    identity = identity_of(packet.organisation)
    announced = source.signer.key_sha256 if source.signer is not None else ""
    if announced != (identity.key_sha256 if identity is not None else ""):
        raise Refused(
            "signing_key_changed",
            "The signing key was changed while the packet was being made. Ask for a new packet.",
        )
    if identity is None:
        return None, None
    signer = open_signer(identity)
    signer.sign(_TRIAL)
    return identity, signer


@transaction.atomic
def _log_body(
    packet: Packet,
    source: PacketSource,
    built: BuiltPacket,
    identity: SigningIdentity | None,
    signer: Signer | None,
    as_of: datetime,
) -> None:
    """Puts the body's hash into the log and signs the log's head over it; all of it or nothing."""
    row = Packet.objects.select_for_update().filter(pk=packet.pk, state="building").first()
    if row is None:
        return
    entry = _log(packet, as_of, "packet.sealed", _sealed_detail(packet, source, built))
    sign_head(organisation=packet.organisation, size=entry.n, as_of=as_of, signer=signer)
    sealing = canonical_bytes(sealing_of(packet.organisation, entry.n))
    Packet.objects.filter(pk=packet.pk).update(
        state="signing",
        progress=80,
        contents=[
            {"path": file.name, "sha256": file.sha256, "bytes": file.size_bytes}
            for file in built.manifest.files
        ],
        manifest_sha256=built.manifest.sha256,
        merkle_root=built.root,
        log_head=source.log_head,
        body_sha256=built.pdf_sha256,
        body_bytes=len(built.pdf),
        sealing_sha256=storage.put(sealing),
        sealing_n=entry.n,
        signed_by=identity,
    )


def _sealed_detail(packet: Packet, source: PacketSource, built: BuiltPacket) -> dict[str, Any]:
    salt = entry_salt(bytes(packet.salt_key), _SOURCE)
    detail = {
        "packet": packet.serial,
        "kind": packet.kind,
        "root": built.root,
        "manifest_sha256": built.manifest.sha256,
        "body_sha256": built.pdf_sha256,
        "body_bytes": len(built.pdf),
        # With a salt: the frozen input holds what the packet withholds, and a bare hash could be tried.
        "source_leaf": entry_leaf({_SOURCE: packet.source_sha256}, salt).hex(),
    }
    redaction = PacketRedaction.objects.select_related("of").filter(packet=packet).first()
    if redaction is not None:
        detail |= {"derived_from": redaction.of.serial, "redaction_sha256": redaction.sha256}
    if packet.supersedes is not None:
        detail["supersedes"] = packet.supersedes.serial
    return detail


# ------------------------------------------------------------------ waiting, failing


@transaction.atomic
def _rest(packet: Packet, error: SigningKeyUnavailable, as_of: datetime) -> None:
    """Lets the packet wait for its key, longer each time; it has no last attempt."""
    moved = Packet.objects.filter(pk=packet.pk, state__in=WORKING).update(
        waits_for="signing_key", failure_message=error.message[:2000]
    )
    if moved == 1:
        outbox.enqueue(
            organisation=packet.organisation,
            task=TASK,
            arguments={"packet_id": str(packet.pk)},
            key=f"packet/{packet.pk}",
            at=as_of,
            after=rest_before(packet.attempts),
        )
    outbox.finish_here()


def rest_before(attempts: int) -> timedelta:
    """How long to rest after this many attempts."""
    doublings = max(0, min(attempts - 1, 10))
    return min(SHORTEST_REST * (1 << doublings), LONGEST_REST)


@transaction.atomic
def _fail(packet: Packet, code: str, message: str, as_of: datetime) -> None:
    moved = Packet.objects.filter(pk=packet.pk, state__in=WORKING).update(
        state="failed", failure_code=code[:60], failure_message=message[:2000], waits_for=""
    )
    if moved == 1:
        _log(packet, as_of, "packet.failed", {"packet": packet.serial, "code": code})
    outbox.finish_here()


@transaction.atomic
def bury_packet(*, packet_id: UUID, error: str, as_of: datetime) -> None:
    """Marks a packet failed after its last attempt; one that was sealed meanwhile stays sealed."""
    packet = Packet.objects.select_related("organisation", "job").get(pk=packet_id)
    moved = Packet.objects.filter(pk=packet_id, state__in=WORKING).update(
        state="failed", failure_code="packet_not_built", failure_message=error[:2000], waits_for=""
    )
    if moved == 1:
        _log(packet, as_of, "packet.failed", {"packet": packet.serial, "code": "packet_not_built"})


def _log(packet: Packet, as_of: datetime, what: str, detail: dict[str, Any]) -> LogEntry:
    return append(
        organisation=packet.organisation,
        at=as_of,
        who=PROGRAM,
        device="",
        what=what,
        target=f"job/{packet.job_id}",
        detail={"job": packet.job.number, "id": str(packet.pk), **detail},
    )
