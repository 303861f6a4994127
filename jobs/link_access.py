"""Links to packets: the token that opens one, and which grants hold at an instant.

A link that never was, one that ran out and one that was taken back are found by the same single query that
finds nothing: whoever asks learns nothing from the answer or from the time it takes.
"""

import hashlib
import secrets
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from jobs.errors import NotFound
from jobs.models import AccessGrant, Evidence, Packet, PacketDownload, ShareLink, unscoped

TOKEN_BYTES: Final = 32


def new_link_text() -> str:
    """A fresh link token: 256 random bits as 43 characters of base64url; shown once, never stored."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def link_sha256(text: str) -> str:
    """What is stored in place of the token. A fast hash is enough for 256 random bits."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def holding(rows: QuerySet[AccessGrant], *, as_of: datetime) -> QuerySet[AccessGrant]:
    """Those of ``rows`` that hold at ``as_of``: begun, not run out, not taken back, and nothing came true
    at which their giver let them end. Downloads that are used up are another matter."""
    with unscoped():
        newer = Packet.objects.filter(supersedes=OuterRef("packet_id"), state="sealed")
        flagged = Evidence.objects.filter(
            job=OuterRef("packet__job_id"), ended_at__gt=OuterRef("packet__built_at")
        )
    sharer_left = Q(granted_by__is_active=False) | Q(granted_by__active_to__lt=as_of.date())
    return (
        rows.filter(valid_from__lte=as_of, until__gt=as_of, revoked_at__isnull=True)
        .exclude(Q(ends_when_superseded=True) & Exists(newer))
        .exclude(Q(ends_when_sharer_leaves=True) & sharer_left)
        .exclude(Q(ends_when_evidence_flagged=True) & Exists(flagged))
    )


def link_of(text: str, *, as_of: datetime) -> ShareLink:
    """The link that this token opens now.

    Raises:
        NotFound: unknown, run out, taken back, or none of its packets is open any more; all the same.
    """
    with unscoped():
        still = holding(AccessGrant.objects.filter(link=OuterRef("pk")), as_of=as_of)
        found = (
            ShareLink.objects.filter(token_sha256=link_sha256(text), revoked_at__isnull=True)
            .filter(Exists(still), valid_from__lte=as_of, until__gt=as_of)
            .select_related("organisation", "made_by")
            .first()
        )
    if found is None:
        raise NotFound()
    return found


def grants_through(link: ShareLink, *, as_of: datetime) -> QuerySet[AccessGrant]:
    """The grants of a link that hold, with packet, job and place joined, by serial."""
    with unscoped():
        rows = AccessGrant.objects.filter(link=link).select_related(
            "link", "organisation", "packet__job__location", "packet__organisation", "packet__assessment"
        )
        return holding(rows, as_of=as_of).order_by("packet__serial")


def grant_through(link: ShareLink, packet_id: UUID, *, as_of: datetime) -> AccessGrant:
    """The grant of one packet of the link's list. Raises ``NotFound``, for any other packet alike."""
    found = grants_through(link, as_of=as_of).filter(packet_id=packet_id).first()
    if found is None:
        raise NotFound()
    return found


def copy_through(link: ShareLink, copy: UUID, *, as_of: datetime) -> PacketDownload:
    """A copy that was made through this link and is still kept. Raises ``NotFound``."""
    with unscoped():
        grants = grants_through(link, as_of=as_of).values("pk")
        return _copy(PacketDownload.objects.filter(grant__in=grants), copy, as_of)


def copy_of_person(person_id: UUID, copy: UUID, *, as_of: datetime) -> PacketDownload:
    """A copy that was made for this very person, while the grant it came from holds. Raises ``NotFound``."""
    with unscoped():
        grants = holding(AccessGrant.objects.filter(to_person=person_id), as_of=as_of).values("pk")
        rows = PacketDownload.objects.filter(Q(grant__isnull=True) | Q(grant__in=grants), person=person_id)
        return _copy(rows, copy, as_of)


def _copy(rows: QuerySet[PacketDownload], copy: UUID, as_of: datetime) -> PacketDownload:
    found = rows.filter(copy=copy, copy_until__gt=as_of).select_related("packet", "grant").first()
    if found is None:
        raise NotFound()
    return found


def still_open(download: PacketDownload, *, as_of: datetime) -> bool:
    """Whether a copy may still be given: asked again before each piece of it is sent."""
    if download.grant_id is None:
        return True
    with unscoped():
        rows = AccessGrant.objects.filter(pk=download.grant_id)
        return (
            holding(rows, as_of=as_of)
            .filter(Q(link__isnull=True) | Q(link__revoked_at__isnull=True))
            .exists()
        )
