"""A time stamp over a sealed packet, got later because the authority did not answer when it was sealed."""

from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from django.db import transaction

from jobs import outbox
from jobs.errors import Refused
from jobs.models import Packet
from jobs.packets.signature_check import BASIC, TIMED
from jobs.packets.time_stamp_check import check_time_stamp
from jobs.services.additions import add_to_packet
from jobs.services.packet_signing import PROGRAM, ask_for_time_stamp, authority_certificates
from jobs.signing.time_authority import TimeStampUnavailable, authority, time_stamp

# How long is waited before asking again: doubling, up to the second; after so many times, which is about a
# month, nobody asks by itself any more (project defaults).
SHORTEST_REST: Final = timedelta(minutes=1)
LONGEST_REST: Final = timedelta(hours=6)
MOST_ATTEMPTS: Final = 130

NONE: Final = "none"
IN_SIGNATURE: Final = "in_signature"
ADDED: Final = "added"
WAITING: Final = "waiting"


def time_stamp_state(packet: Packet) -> str:
    """in_signature, added (beside the file), waiting (no time stamp yet), or none (no authority is asked)."""
    if packet.pades_level == TIMED:
        return IN_SIGNATURE
    if packet.external_timestamp is not None:
        return ADDED
    return WAITING if packet.pades_level == BASIC and authority() is not None else NONE


def perform_time_stamp(*, packet_id: UUID, attempt: int, as_of: datetime) -> bool:
    """Asks the authority once; what it gives is kept beside the file as an addition. True where there is one.

    An authority that does not answer, or whose token does not hold, is asked again later, longer each time.
    Repeating it after an interruption adds nothing twice.
    """
    packet = Packet.objects.select_related("organisation", "job").get(pk=packet_id)
    source = authority()
    if packet.state != "sealed" or packet.external_timestamp is not None or source is None:
        return packet.external_timestamp is not None
    try:
        token = time_stamp(bytes.fromhex(packet.pdf_sha256), source)
        report = check_time_stamp(token, bytes.fromhex(packet.pdf_sha256), authority_certificates())
    except (TimeStampUnavailable, Refused):
        return _ask_again(packet, attempt, as_of)
    if not report.holds or report.at is None:
        return _ask_again(packet, attempt, as_of)
    _keep(packet, token, report.at, report.authority, as_of)
    return True


def rest_before(attempt: int) -> timedelta:
    """How long to rest after this many attempts."""
    return min(SHORTEST_REST * (1 << max(0, min(attempt - 1, 10))), LONGEST_REST)


@transaction.atomic
def _ask_again(packet: Packet, attempt: int, as_of: datetime) -> bool:
    if attempt < MOST_ATTEMPTS:
        ask_for_time_stamp(packet, as_of, attempt=attempt + 1, after=rest_before(attempt))
    outbox.finish_here()
    return False


@transaction.atomic
def _keep(packet: Packet, token: bytes, at: datetime, name: str, as_of: datetime) -> None:
    moved = Packet.objects.filter(pk=packet.pk, state="sealed", external_timestamp__isnull=True).update(
        external_timestamp=token
    )
    if moved == 1:
        add_to_packet(
            packet=packet,
            kind="time_stamp",
            text=(
                f"A time-stamping authority ({name}) confirms that the sealed file of {packet.serial} "
                f"existed on {at.day} {at:%B %Y} at {at:%H:%M:%S} UTC. It did not answer when the file was "
                "sealed. The file itself is as it was."
            ),
            facts={
                "stamped_at": at.isoformat(),
                "authority": name,
                "pdf_sha256": packet.pdf_sha256,
                "token": token.hex(),
            },
            as_of=as_of,
            who=PROGRAM,
            key="time_stamp",
        )
    outbox.finish_here()
