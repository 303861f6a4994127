"""The last step of sealing: proof attached, signature set and checked, stored; then its hash in the log."""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from django.conf import settings
from django.db import transaction

from jobs import outbox, storage
from jobs.errors import DomainError, Refused
from jobs.failpoints import reached
from jobs.ledger.append import append
from jobs.models import Packet
from jobs.packets.seal import Seal, seal_pdf
from jobs.packets.signature_check import BASIC, SignatureReport, check_signature, read_certificates
from jobs.services.later_events import packet_sealed
from jobs.signing.identities import open_signer
from jobs.signing.signer import SigningKeyUnavailable
from jobs.signing.time_authority import authority
from rules.seal.pdf_seal import read_seal

PROGRAM: Final = "packet"
STAMP_TASK: Final = "jobs.time_stamp_packet"
STAMP_SOON: Final = timedelta(minutes=1)


def sign_packet(*, packet: Packet, as_of: datetime, rebuilt: Callable[[], bytes]) -> None:
    """Signs a packet whose body stands in the log, stores the file and seals the row; nothing half.

    Args:
        packet: in state ``signing``.
        rebuilt: makes the body once more where its stored bytes were lost.

    Raises:
        Refused: ``signing_key_changed``; ``packet_body_changed``: neither storage nor building gives the body
            that the log names.
        SigningKeyUnavailable: the key does not answer, or what it signed does not hold.
    """
    body = _body(packet, rebuilt)
    seal = _seal(packet, as_of)
    pdf = seal_pdf(body, storage.read(packet.sealing_sha256), dated=as_of, seal=seal)
    report = check_signature(
        pdf,
        trusted=() if seal is None else (seal.signer.certificate_der,),
        authorities=authority_certificates(),
    )
    _require_sound(pdf, body, seal, report)
    sha256 = storage.put(pdf)
    reached("packet.signed_stored")
    _keep(packet, sha256, len(pdf), report, as_of)


def authority_certificates() -> tuple[bytes, ...]:
    """The certificates of the time-stamping authority that are believed; none where none is configured."""
    return read_certificates(Path(settings.WM_TSA_CERTIFICATE)) if settings.WM_TSA_CERTIFICATE else ()


def _body(packet: Packet, rebuilt: Callable[[], bytes]) -> bytes:
    try:
        return storage.read(packet.body_sha256)
    except (storage.StoredBytesMissingError, storage.StoredBytesChangedError):
        storage.put(rebuilt())
    try:
        return storage.read(packet.body_sha256)
    except DomainError as error:
        raise Refused("packet_body_changed", "The pages that the log names cannot be made again.") from error


def _seal(packet: Packet, as_of: datetime) -> Seal | None:
    identity = packet.signed_by
    if identity is None:
        return None
    if identity.retired_at is not None:
        raise Refused(
            "signing_key_changed", "The signing key was retired before it signed. Ask for a new packet."
        )
    return Seal(
        signer=open_signer(identity),
        at=as_of,
        organisation=packet.organisation.name,
        authority=authority(),
    )


def _require_sound(pdf: bytes, body: bytes, seal: Seal | None, report: SignatureReport) -> None:
    """Two checks that know nothing of each other find the new file whole before anybody gets it."""
    found = read_seal(pdf)
    sound = pdf.startswith(body) and found.body_bytes == len(body) and not found.fault
    if seal is None:
        sound = sound and not found.is_signed and not report.is_signed
    else:
        sound = sound and found.holds and found.key_sha256 == seal.signer.key_sha256
        sound = sound and report.is_whole and report.is_trusted and report.key_sha256 == found.key_sha256
    if not sound:
        why = found.fault or report.fault or "it is not of the expected key"
        raise SigningKeyUnavailable(message=f"The signature that was just made does not hold: {why}.")


@transaction.atomic
def _keep(packet: Packet, sha256: str, size: int, report: SignatureReport, as_of: datetime) -> None:
    moved = Packet.objects.filter(pk=packet.pk, state="signing").update(
        state="sealed",
        progress=100,
        built_at=as_of,
        signed_at=as_of if report.is_signed else None,
        pades_level=report.pades_level,
        pdf_sha256=sha256,
        pdf_bytes=size,
        waits_for="",
        failure_code="",
        failure_message="",
    )
    if moved == 1:
        packet.refresh_from_db()
        if report.pades_level == BASIC and authority() is not None:
            ask_for_time_stamp(packet, as_of, attempt=1, after=STAMP_SOON)
        packet_sealed(packet=packet, as_of=as_of)
        # The log's head row stays locked until the transaction ends, so it comes last.
        append(
            organisation=packet.organisation,
            at=as_of,
            who=PROGRAM,
            device="",
            what="packet.signed" if report.is_signed else "packet.left_unsigned",
            target=f"job/{packet.job_id}",
            detail={
                "job": packet.job.number,
                "id": str(packet.pk),
                "packet": packet.serial,
                "pdf_sha256": sha256,
                "body_sha256": packet.body_sha256,
                "key_sha256": report.key_sha256,
                "pades_level": report.pades_level,
            },
        )
    outbox.finish_here()


def ask_for_time_stamp(packet: Packet, as_of: datetime, *, attempt: int, after: timedelta) -> None:
    """Asks for a time stamp over the sealed file later, in the caller's transaction."""
    outbox.enqueue(
        organisation=packet.organisation,
        task=STAMP_TASK,
        arguments={"packet_id": str(packet.pk), "attempt": attempt},
        key=f"time-stamp/{packet.pk}/{attempt}",
        at=as_of,
        after=after,
    )
