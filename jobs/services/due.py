"""The daily look ahead: what runs out within thirty days, once a day and organisation, noted in the log."""

from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from django.db import transaction

from jobs import outbox
from jobs.access import Actor
from jobs.ledger.append import append
from jobs.models import Equipment, LedgerHead, LogEntry, Organisation, Person
from jobs.selectors.due import Due, due_within
from jobs.services.certificates import set_due_on

PROGRAM: Final = "look-ahead"
HORIZON_DAYS: Final = 30
# Days before at which a thing is told again; what is over is told every day.
NOTICE_DAYS: Final = (30, 14, 7, 1)


def local_day(organisation: Organisation, as_of: datetime) -> date:
    return as_of.astimezone(ZoneInfo(organisation.default_tz)).date()


def look_ahead(*, organisation: Organisation, as_of: datetime) -> tuple[Due, ...]:
    """What is to be told today: due in 30, 14, 7 or 1 days, or over already.

    Repeating it the same day adds nothing.

    The due day of every instrument is worked out anew from its certificates, so that the boards that list it
    cannot drift from them.
    """
    today = local_day(organisation, as_of)
    for equipment in Equipment.objects.filter(organisation=organisation).exclude(state="retired"):
        set_due_on(equipment)
    found = due_within(_everything(organisation), days=HORIZON_DAYS, on=today)
    notices = tuple(due for due in found if due.days_left in NOTICE_DAYS or due.days_left < 0)
    with transaction.atomic():
        if not _was_told(organisation, today):
            append(
                organisation=organisation,
                at=as_of,
                who=PROGRAM,
                device="",
                what="due.looked_ahead",
                target=_target(today),
                detail={"day": today.isoformat(), "notices": [_plain(due) for due in notices]},
            )
        outbox.finish_here()
    return notices


def _everything(organisation: Organisation) -> Actor:
    """The program itself looks at all locations; nobody signs in as it."""
    return Actor(
        person=Person(login=PROGRAM, name="The program", organisation=organisation),
        organisation=organisation,
        location_ids=None,
        roles=frozenset({"operations_manager"}),
    )


def _target(day: date) -> str:
    return f"due/{day.isoformat()}"


def _was_told(organisation: Organisation, day: date) -> bool:
    # The head's lock makes two looks of the same day queue, so that the second sees the first one's entry.
    LedgerHead.objects.select_for_update().filter(organisation=organisation).first()
    return LogEntry.objects.filter(organisation=organisation, target=_target(day)).exists()


def _plain(due: Due) -> dict[str, object]:
    return {
        "kind": due.kind,
        "what": due.what,
        "who": due.who,
        "location": due.location,
        "due_on": due.due_on.isoformat(),
        "days_left": due.days_left,
    }
