"""A packet's bundle taken: with the sealed file by the shop's own people, with a stamped copy by others."""

import uuid
from datetime import datetime

from jobs import copies, storage
from jobs.access import Actor, grant_of_packet
from jobs.errors import Conflict, NotFound
from jobs.models import AccessGrant, Packet, PacketDownload, scope
from jobs.packets.additions import additions_of
from jobs.packets.bundle import BundleContents, Written, write_bundle
from jobs.packets.log_extract import extract_of
from jobs.services.addition_print import ensure_printed
from jobs.services.copying import require_open
from jobs.services.downloads import BUNDLE, NOBODY, Caller, Given, note_download
from jobs.services.packet import sealed_bytes, stamped_copy
from jobs.services.retention import tell_packet
from rules.seal.deleted import deleted_of


def take_bundle(*, packet: Packet, actor: Actor, as_of: datetime, caller: Caller = NOBODY) -> PacketDownload:
    """Makes the bundle for this actor, counts and logs it, and keeps it for a while under ``copy``.

    Args:
        packet: as ``jobs.access.get_packet_for`` gave it.
        caller: from where the request came, for the log.

    Raises:
        Conflict: ``packet_not_sealed``.
        NotFound: neither of the actor's organisation nor granted.
        Gone: ``grant_over``.
        TooManyTriesError: ``too_many_requests``.
        jobs.packets.bundle.BundleError: an original was lost or changed, or there are more than 4 GiB. One
            that was deleted under the retention policy is left out, and the additions tell of it.
    """
    if packet.state != "sealed":
        raise Conflict("packet_not_sealed", "This packet is not sealed yet.")
    is_own = packet.organisation_id == actor.organisation_id and not actor.is_outsider
    grant = None if is_own else grant_of_packet(actor, packet, as_of=as_of)
    if grant is None and not is_own:
        raise NotFound()
    return _make(packet, grant, actor, as_of, caller)


def bundle_for_link(*, grant: AccessGrant, as_of: datetime, caller: Caller) -> PacketDownload:
    """The same for whoever holds a link; ``grant`` as ``jobs.link_access.grant_through`` gave it."""
    packet = grant.packet
    if packet is None or packet.state != "sealed":
        raise Conflict("packet_not_sealed", "This packet is not sealed yet.")
    return _make(packet, grant, None, as_of, caller)


def _make(
    packet: Packet, grant: AccessGrant | None, actor: Actor | None, as_of: datetime, caller: Caller
) -> PacketDownload:
    with scope(packet.organisation_id):
        if grant is not None:
            require_open(grant, as_of)
        name = uuid.uuid4()
        try:
            written = _write(packet, grant, name, as_of)
            return note_download(
                packet=packet,
                actor=actor,
                as_of=as_of,
                grant=grant,
                given=Given(sha256=written.sha256, size_bytes=written.size, copy=name, form=BUNDLE),
                caller=caller,
            )
        except BaseException:
            copies.remove(name)
            raise


def _write(packet: Packet, grant: AccessGrant | None, name: uuid.UUID, as_of: datetime) -> Written:
    pdf = sealed_bytes(packet) if grant is None else stamped_copy(packet=packet, grant=grant, at=as_of)
    # A deletion that a killed run left untold is told now: only what an addition tells may be left out.
    tell_packet(packet=packet, as_of=as_of)
    ensure_printed(packet=packet, as_of=as_of)
    additions: dict[str, bytes] = {}
    for addition in additions_of(packet):
        additions[addition.name] = addition.data
        if addition.pdf is not None:
            additions[addition.pdf_name] = addition.pdf
    contents = BundleContents(
        serial=packet.serial,
        organisation=packet.organisation.name,
        bagged_on=packet.as_of.date().isoformat(),
        pdf=pdf,
        stored=storage.path,
        additions=additions,
        extract=extract_of(packet),
        deleted=deleted_of(additions),
    )
    return write_bundle(contents, copies.place(name))
