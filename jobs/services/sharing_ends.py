"""Writes down that access has ended for what its giver chose beforehand; it had ended when that came true."""

from datetime import datetime
from typing import Final

from django.db import transaction
from django.db.models import Exists, OuterRef, Q

from jobs.ledger.append import append
from jobs.link_access import holding
from jobs.models import AccessGrant, Packet, ShareLink, unscoped

PROGRAM: Final = "access"


def write_down_ends(*, as_of: datetime) -> int:
    """Marks each grant that ended for a cause, with a log entry; how many. Safe to call at any time.

    Such a grant opens nothing any more before this is called: see ``jobs.link_access.holding``.
    """
    with unscoped():
        chosen = Q(ends_when_superseded=True) | Q(ends_when_sharer_leaves=True)
        running = AccessGrant.objects.filter(
            chosen | Q(ends_when_evidence_flagged=True), revoked_at__isnull=True, until__gt=as_of
        )
        open_still = holding(AccessGrant.objects.filter(pk=OuterRef("pk")), as_of=as_of)
        ended = running.filter(~Exists(open_still), valid_from__lte=as_of)
        return sum(_write_down(grant, as_of) for grant in ended.select_related("granted_by", "packet"))


@transaction.atomic
def _write_down(grant: AccessGrant, as_of: datetime) -> int:
    why = _why(grant, as_of)
    rows = AccessGrant.objects.filter(pk=grant.pk, revoked_at__isnull=True)
    if rows.update(revoked_at=as_of, revoked_why=why) != 1:
        return 0
    if (
        grant.link_id is not None
        and not AccessGrant.objects.filter(link=grant.link_id, revoked_at__isnull=True).exists()
    ):
        ShareLink.objects.filter(pk=grant.link_id, revoked_at__isnull=True).update(
            revoked_at=as_of, revoked_why=why
        )
    append(
        organisation=grant.organisation,
        at=as_of,
        who=PROGRAM,
        device="",
        what="access.ended",
        target=f"packet/{grant.packet_id}",
        detail={"grant": str(grant.pk), "because": why},
    )
    return 1


def _why(grant: AccessGrant, as_of: datetime) -> str:
    if (
        grant.ends_when_superseded
        and Packet.objects.filter(supersedes=grant.packet_id, state="sealed").exists()
    ):
        return "superseded"
    giver = grant.granted_by
    gone = not giver.is_active or (giver.active_to is not None and giver.active_to < as_of.date())
    return "sharer_left" if grant.ends_when_sharer_leaves and gone else "evidence_flagged"
