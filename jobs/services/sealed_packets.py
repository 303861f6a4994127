"""Sealed packets to tell something on: those not told yet, in batches, and dates as the place's own days."""

from collections.abc import Iterator
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from jobs.models import Packet, PacketAddition

PROGRAM: Final = "later-events"
SEALED: Final = "sealed"
BATCH: Final = 200
STAYS: Final = "The sealed packet stays as it was."


def day_words(at: datetime | date, tz: str) -> str:
    """``5 May 2026``: an instant as the local day at the place, a day as it is."""
    local = at.astimezone(ZoneInfo(tz)) if isinstance(at, datetime) else at
    return f"{local.day} {local:%b %Y}"


def untold(key: str) -> QuerySet[Packet]:
    """Packets without this event: what was told before a worker stopped is not gone through again."""
    return Packet.objects.exclude(pk__in=PacketAddition.objects.filter(key=key).values("packet_id"))


def sealed_ones(rows: QuerySet[Packet]) -> Iterator[Packet]:
    """Sealed packets in the order of their making, in batches, with what the words need joined.

    The ids are read first: the caller writes while it goes through them.
    """
    ids = list(rows.filter(state=SEALED).order_by("requested_at", "pk").values_list("pk", flat=True))
    joined = Packet.objects.select_related(
        "job__location", "job__order__vehicle", "organisation", "assessment", "supersedes__job__location"
    )
    for start in range(0, len(ids), BATCH):
        batch = ids[start : start + BATCH]
        found = joined.in_bulk(batch)
        yield from (found[pk] for pk in batch)
