"""A file checked for anybody: counted by address, done in a limited child process, and forgotten."""

from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from django.db import transaction
from django.db.models import F, QuerySet, Sum

from jobs.errors import Refused
from jobs.models import PublicCheck
from jobs.packets.check_child import check_in_child
from jobs.services.link_guard import TooManyTriesError, source_of
from rules.seal.report import Verification

# Of one address, and of everybody together (project defaults): a check costs seconds of a processor.
PER_MINUTE: Final = 6
PER_HOUR: Final = 60
ALL_PER_MINUTE: Final = 30
FORGOTTEN_AFTER: Final = timedelta(hours=2)
HOUR: Final = timedelta(hours=1)
# A larger bundle is for check.pyz on one's own machine (project limit).
MOST_BYTES: Final = 500_000_000
MARKS: Final = (b"%PDF-", b"PK\x03\x04")


def check_publicly(*, file: Path, key: str, ip: str, as_of: datetime) -> Verification:
    """Checks one file; nothing of it is kept.

    Args:
        file: in a temporary place; the caller removes it.
        key: fingerprint to compare; empty where none is known.

    Raises:
        TooManyTriesError: ``too_many_requests``.
        Refused: ``not_a_packet``, ``too_large``, ``check_stopped``.
        jobs.errors.Unavailable: ``checks_busy``.
    """
    _count(ip, as_of)
    with file.open("rb") as stream:
        mark = stream.read(5)
    if file.stat().st_size > MOST_BYTES:
        raise Refused("too_large", f"The file has more than {MOST_BYTES // 1_000_000} MB.")
    if not mark.startswith(MARKS):
        raise Refused("not_a_packet", "This is neither a PDF nor a ZIP archive.")
    return check_in_child(file, key=key)


@transaction.atomic
def _count(ip: str, as_of: datetime) -> None:
    """Counts before anything is looked at, so that a file which is refused costs its sender a try too."""
    PublicCheck.objects.filter(minute__lt=as_of - FORGOTTEN_AFTER).delete()
    minute = as_of.replace(second=0, microsecond=0)
    source = source_of(ip)
    mine = PublicCheck.objects.filter(source=source)
    this_minute = _sum(mine.filter(minute=minute))
    this_hour = _sum(mine.filter(minute__gt=as_of - HOUR))
    everybody = _sum(PublicCheck.objects.filter(source="", minute=minute))
    if this_minute >= PER_MINUTE or this_hour >= PER_HOUR or everybody >= ALL_PER_MINUTE:
        raise TooManyTriesError()
    for name in dict.fromkeys((source, "")):
        row, made = PublicCheck.objects.get_or_create(source=name, minute=minute, defaults={"count": 1})
        if not made:
            PublicCheck.objects.filter(pk=row.pk).update(count=F("count") + 1)


def _sum(rows: QuerySet[PublicCheck]) -> int:
    return rows.aggregate(found=Sum("count"))["found"] or 0
