"""Packets given away: counted and logged before the bytes go out, and each stretch sent after that."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.models import F, Q

from jobs import copies
from jobs.access import Actor
from jobs.errors import Gone, NotAllowed, NotFound
from jobs.ledger.append import append
from jobs.link_access import holding
from jobs.models import AccessGrant, CopyTransfer, Packet, PacketDownload

LONGEST_USER_AGENT: Final = 300
# What is given: the packet file, or the archive with it and the originals.
PDF: Final = "pdf"
BUNDLE: Final = "bundle"


@dataclass(frozen=True, slots=True, kw_only=True)
class Caller:
    """From where a request came: address as the server sees it, the program that asks, the request's id."""

    ip: str = ""
    user_agent: str = ""
    request_id: str = ""


NOBODY: Final = Caller()


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """The bytes that are given, and under which name they are kept for a while (None: they are not)."""

    sha256: str
    size_bytes: int
    copy: UUID | None = None
    form: str = PDF


@transaction.atomic
def note_download(
    *,
    packet: Packet,
    actor: Actor | None,
    as_of: datetime,
    grant: AccessGrant | None,
    given: Given,
    caller: Caller = NOBODY,
) -> PacketDownload:
    """Counts and logs a download, in the log of the packet's own organisation, before the bytes are given.

    Args:
        actor: None for whoever came through a link.

    Raises:
        NotFound: no grant and not the actor's organisation.
        Gone: ``grant_over``: run out, taken back, or used up; decided in the same statement that counts, so
            two downloads at once cannot both be the last one.
        NotAllowed: ``sections_only``: the file holds more than the grant names.
    """
    if grant is not None:
        _count(grant, actor, as_of)
    elif actor is None or packet.organisation_id != actor.organisation_id:
        raise NotFound
    download = PacketDownload(
        organisation_id=packet.organisation_id,
        packet=packet,
        grant=grant,
        person=actor.person if actor is not None else None,
        downloaded_at=as_of,
        sha256=given.sha256,
        size_bytes=given.size_bytes,
        request_id=caller.request_id[:64],
        recipient=grant.recipient if grant is not None else "",
        ip=caller.ip or None,
        user_agent=_printable(caller.user_agent),
        form=given.form,
        copy=given.copy,
        copy_until=as_of + copies.KEPT_FOR if given.copy is not None else None,
    )
    download.save(force_insert=True)
    detail = {
        "packet": packet.serial,
        "grant": str(grant.pk) if grant is not None else "",
        "sha256": download.sha256,
        "bytes": download.size_bytes,
        "form": download.form,
    }
    if grant is not None and grant.link_id is not None:
        detail["link"] = str(grant.link_id)
    append(
        organisation=packet.organisation,
        at=as_of,
        who=who_of(actor, grant),
        device=str(actor.device.pk) if actor is not None and actor.device is not None else "",
        what="packet.downloaded",
        target=f"packet/{packet.pk}",
        detail=detail,
    )
    return download


def _count(grant: AccessGrant, actor: Actor | None, as_of: datetime) -> None:
    if grant.sections:
        raise NotAllowed("sections_only", "This access is for reading the parts it names, not for the file.")
    left = Q(max_downloads__isnull=True) | Q(downloads__lt=F("max_downloads"))
    rows = AccessGrant.objects.filter(left, pk=grant.pk)
    if actor is None:
        rows = rows.filter(link__isnull=False, link__revoked_at__isnull=True)
    else:
        rows = rows.filter(to_person=actor.person)
    # The rows are found by their keys, so that the statement that counts has no joins in it.
    found = list(holding(rows, as_of=as_of).values_list("pk", flat=True))
    moved = AccessGrant.objects.filter(left, pk__in=found, revoked_at__isnull=True, until__gt=as_of).update(
        downloads=F("downloads") + 1
    )
    if moved != 1:
        raise Gone("grant_over", "This access has ended, or its downloads are used up.")


def who_of(actor: Actor | None, grant: AccessGrant | None) -> str:
    """Who stands in the log: a login, or the link by its id; never a token."""
    if actor is not None:
        return actor.person.login
    return f"link/{grant.link_id}" if grant is not None else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """What was sent of a copy: ``sent_bytes`` from ``first_byte`` on; ``stopped``: access was taken back."""

    first_byte: int
    sent_bytes: int
    stopped: bool = False


@transaction.atomic
def note_transfer(
    *, download: PacketDownload, stretch: Stretch, as_of: datetime, caller: Caller = NOBODY
) -> CopyTransfer:
    """Notes what really went out. It is no new download: that was counted when the copy was made."""
    transfer = CopyTransfer(
        organisation_id=download.organisation_id,
        download=download,
        at=as_of,
        first_byte=stretch.first_byte,
        sent_bytes=stretch.sent_bytes,
        complete=stretch.first_byte + stretch.sent_bytes == download.size_bytes,
        stopped=stretch.stopped,
        ip=caller.ip or None,
        user_agent=_printable(caller.user_agent),
    )
    transfer.save(force_insert=True)
    append(
        organisation=download.organisation,
        at=as_of,
        who=download.person.login if download.person else who_of(None, download.grant),
        device="",
        what="packet.sent",
        target=f"packet/{download.packet_id}",
        detail={
            "download": download.pk,
            "first_byte": stretch.first_byte,
            "bytes": stretch.sent_bytes,
            "to_its_end": transfer.complete,
            "stopped": stretch.stopped,
        },
    )
    return transfer


def _printable(text: str) -> str:
    return "".join(sign for sign in text if sign.isprintable())[:LONGEST_USER_AGENT]
