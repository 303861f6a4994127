"""Taking a sealed packet: the file itself for the shop's own people, a stamped copy for everybody else."""

from datetime import datetime

from jobs.access import Actor, grant_of_packet
from jobs.errors import Conflict, NotFound
from jobs.models import Packet, scope
from jobs.services.downloads import NOBODY, Caller, Given, note_download
from jobs.services.packet import sealed_bytes, stamped_copy
from rules.canonical import sha256_hex


def take_packet(*, packet: Packet, actor: Actor, as_of: datetime, caller: Caller = NOBODY) -> bytes:
    """The PDF for this actor; counted and logged before it is given.

    Args:
        packet: as ``jobs.access.get_packet_for`` gave it.
        caller: from where the request came, for the log.

    Raises:
        Conflict: ``packet_not_sealed``.
        NotFound: neither of the actor's organisation nor granted.
        Gone: ``grant_over``.
    """
    if packet.state != "sealed":
        raise Conflict("packet_not_sealed", "This packet is not sealed yet.")
    is_own = packet.organisation_id == actor.organisation_id and not actor.is_outsider
    grant = None if is_own else grant_of_packet(actor, packet, as_of=as_of)
    if grant is None and not is_own:
        raise NotFound()
    with scope(packet.organisation_id):
        data = sealed_bytes(packet) if grant is None else stamped_copy(packet=packet, grant=grant, at=as_of)
        given = Given(sha256=sha256_hex(data), size_bytes=len(data))
        note_download(packet=packet, actor=actor, as_of=as_of, grant=grant, given=given, caller=caller)
    return data
