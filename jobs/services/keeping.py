"""The nightly round of keeping: what happened to sealed packets, what is held, and what retention deletes."""

from datetime import datetime, timedelta
from typing import Final

from django.db import transaction

from jobs.ledger.append import append
from jobs.models import LogEntry, Organisation
from jobs.services.due import local_day
from jobs.services.holds import mark_held
from jobs.services.later_events import tell_missed
from jobs.services.retention import PROGRAM, Outcome, nightly

# A clock that went further than this since the last daily look may be wrong, and a wrong clock would delete
# what is not due (project default).
LONGEST_GAP: Final = timedelta(days=40)
DAILY_LOOK: Final = "due.looked_ahead"


def keep_house(*, organisation: Organisation, as_of: datetime) -> Outcome | None:
    """Tells what was not told on packets yet, then carries out today's plan; the scope is open.

    Repeating it the same day finds nothing left to do. After a gap, or a jump of the clock, one night passes
    without deleting anything, and the log says so: somebody has a day to look.
    """
    tell_missed(organisation=organisation, as_of=as_of)
    mark_held(organisation=organisation)
    if not _clock_is_believable(organisation, as_of):
        _hold_back(organisation, as_of)
        return None
    return nightly(organisation=organisation, as_of=as_of)


def _clock_is_believable(organisation: Organisation, as_of: datetime) -> bool:
    """Whether the daily look was made within the last weeks, on another day than today."""
    today = f"due/{local_day(organisation, as_of).isoformat()}"
    looks = LogEntry.objects.filter(organisation=organisation, what=DAILY_LOOK).exclude(target=today)
    last = looks.order_by("-n").values_list("at", flat=True).first()
    return last is not None and timedelta(0) <= as_of - datetime.fromisoformat(last) <= LONGEST_GAP


@transaction.atomic
def _hold_back(organisation: Organisation, as_of: datetime) -> None:
    append(
        organisation=organisation,
        at=as_of,
        who=PROGRAM,
        device="",
        what="retention.held_back",
        target=f"retention/{local_day(organisation, as_of).isoformat()}",
        detail={"because": "no daily look within the last 40 days: the clock may be wrong"},
    )
