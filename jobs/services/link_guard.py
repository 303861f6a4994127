"""Knocking at links that are not there: counted by address, slowed down, and told to those who give links."""

import logging
from datetime import datetime, timedelta
from ipaddress import ip_address, ip_network
from typing import Final

from django.db import transaction
from django.db.models import F, Sum

from jobs.errors import DomainError
from jobs.ledger.append import append
from jobs.models import LinkMiss, Organisation, ShareLink, unscoped

log = logging.getLogger(__name__)

PER_MINUTE: Final = 30
PER_HOUR: Final = 300
FORGOTTEN_AFTER: Final = timedelta(hours=2)
HOUR: Final = timedelta(hours=1)


class TooManyTriesError(DomainError):
    """This address, or everybody together, knocked too often."""

    default_code = "too_many_requests"
    default_message = "Too many tries from here. Wait a minute."


def let_knock(*, ip: str, as_of: datetime) -> None:
    """Raises ``TooManyTriesError`` where this address missed 30 times this minute or 300 within an hour.

    It is asked before a token is looked up, so that an address slowed down learns nothing of any token.
    """
    mine = LinkMiss.objects.filter(source=source_of(ip))
    this_minute = mine.filter(minute=_minute(as_of)).aggregate(found=Sum("count"))["found"] or 0
    this_hour = mine.filter(minute__gt=as_of - HOUR).aggregate(found=Sum("count"))["found"] or 0
    if this_minute >= PER_MINUTE or this_hour >= PER_HOUR:
        raise TooManyTriesError()


@transaction.atomic
def note_miss(*, ip: str, as_of: datetime) -> None:
    """Counts one miss; from 300 within an hour, of all addresses together, all who give links are told."""
    LinkMiss.objects.filter(minute__lt=as_of - FORGOTTEN_AFTER).delete()
    for source in (source_of(ip), ""):
        row, made = LinkMiss.objects.get_or_create(
            source=source, minute=_minute(as_of), defaults={"count": 1}
        )
        if not made:
            LinkMiss.objects.filter(pk=row.pk).update(count=F("count") + 1)
    everybody = LinkMiss.objects.filter(source="", minute__gt=as_of - HOUR)
    misses = everybody.aggregate(found=Sum("count"))["found"] or 0
    if misses >= PER_HOUR and not everybody.filter(told=True).exists():
        everybody.filter(minute=_minute(as_of)).update(told=True)
        _alarm(misses, as_of)


def _alarm(misses: int, as_of: datetime) -> None:
    addresses = (
        LinkMiss.objects.filter(minute__gt=as_of - HOUR)
        .exclude(source="")
        .values("source")
        .distinct()
        .count()
    )
    log.warning("%s tries at links that are not there within an hour, from %s addresses", misses, addresses)
    with unscoped():
        givers = ShareLink.objects.filter(revoked_at__isnull=True, until__gt=as_of).values("organisation_id")
    # One order for all, so that two alarms at once cannot wait for each other.
    for organisation in Organisation.objects.filter(pk__in=givers).order_by("pk"):
        append(
            organisation=organisation,
            at=as_of,
            who="links",
            device="",
            what="links.guessed_at",
            target="links",
            detail={"misses": misses, "within_minutes": 60, "addresses": addresses},
        )


def _minute(as_of: datetime) -> datetime:
    return as_of.replace(second=0, microsecond=0)


def source_of(ip: str) -> str:
    """The address; of IPv6 the 64 bits that one caller usually holds as a whole."""
    try:
        address = ip_address(ip)
    except ValueError:
        return "unknown"
    return str(address) if address.version == 4 else str(ip_network(f"{ip}/64", strict=False))
