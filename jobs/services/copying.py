"""A recipient's copy of a packet: made and counted once, then kept so that a download can go on."""

import uuid
from datetime import datetime, timedelta
from typing import Final

from django.db.models import F, Q

from jobs import copies
from jobs.access import Actor, grant_of_packet
from jobs.errors import Conflict, Gone, NotAllowed, NotFound
from jobs.models import AccessGrant, Packet, PacketDownload, SampleArchive, scope, unscoped
from jobs.moment import machine_now
from jobs.services.downloads import Caller, Given, note_download
from jobs.services.link_guard import TooManyTriesError
from jobs.services.packet import stamped_copy
from rules.canonical import sha256_hex

# A copy costs seconds of a processor: so many for one grant within an hour, then wait (project default).
MOST_WITHIN_AN_HOUR: Final = 20
HOUR: Final = timedelta(hours=1)


def copy_for_link(*, grant: AccessGrant, as_of: datetime, caller: Caller) -> PacketDownload:
    """Makes, counts and keeps the copy of whoever holds a link.

    Args:
        grant: as ``jobs.link_access.grant_through`` gave it.

    Raises:
        Gone: ``grant_over``: its downloads are used up, or it ended a moment ago.
        TooManyTriesError: ``too_many_requests``.
        Conflict: ``packet_not_sealed``.
    """
    return _make_copy(grant, None, as_of, caller)


def copy_for_person(*, packet: Packet, actor: Actor, as_of: datetime, caller: Caller) -> PacketDownload:
    """The same for somebody who signed in and whom the packet was granted to. Raises ``NotFound`` besides."""
    grant = grant_of_packet(actor, packet, as_of=as_of)
    if grant is None:
        raise NotFound()
    return _make_copy(grant, actor, as_of, caller)


def _make_copy(grant: AccessGrant, actor: Actor | None, as_of: datetime, caller: Caller) -> PacketDownload:
    packet = grant.packet
    if packet is None or packet.state != "sealed":
        raise Conflict("packet_not_sealed", "This packet is not sealed yet.")
    with scope(packet.organisation_id):
        require_open(grant, as_of)
        data = stamped_copy(packet=packet, grant=grant, at=as_of)
        name = uuid.uuid4()
        copies.put(name, data)
        try:
            return note_download(
                packet=packet,
                actor=actor,
                as_of=as_of,
                grant=grant,
                given=Given(sha256=sha256_hex(data), size_bytes=len(data), copy=name),
                caller=caller,
            )
        except BaseException:
            copies.remove(name)
            raise


def require_open(grant: AccessGrant, as_of: datetime) -> None:
    """Asked before the costly work; what counts is decided once more when it is counted."""
    if grant.sections:
        raise NotAllowed("sections_only", "This access is for reading the parts it names, not for the file.")
    left = Q(max_downloads__isnull=True) | Q(downloads__lt=F("max_downloads"))
    if not AccessGrant.objects.filter(left, pk=grant.pk).exists():
        raise Gone("grant_over", "The downloads of this access are used up.")
    lately = PacketDownload.objects.filter(grant=grant, downloaded_at__gt=as_of - HOUR).count()
    if lately >= MOST_WITHIN_AN_HOUR:
        raise TooManyTriesError(message="Many copies were made within this hour. Wait a little.")


def sweep_copies(*, as_of: datetime) -> int:
    """Removes copies and archives whose time is over, and files that never got a row; how many.

    Rows stay: what was downloaded stays on record.
    """
    removed = 0
    for name, changed in copies.all_kept():
        with unscoped():
            download = PacketDownload.objects.filter(copy=name).first()
            archive = SampleArchive.objects.filter(pk=name).first() if download is None else None
        until = (
            download.copy_until if download is not None else archive.until if archive is not None else None
        )
        if until is None:
            is_over = archive is None and changed < machine_now() - copies.ROW_COMES_WITHIN
        else:
            is_over = until <= as_of
        if is_over:
            copies.remove(name)
            removed += 1
    with unscoped():
        SampleArchive.objects.filter(state="ready", until__lte=as_of).update(state="gone")
    return removed
