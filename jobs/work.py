"""How a task does one piece of work: lease it, keep the lease, run the service, finish or give back."""

import logging
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db import DatabaseError, connection, transaction

from jobs import outbox
from jobs.models import LedgerHead, Organisation, OutboxEntry, TreeHead, WorkerBeat, scope, unscoped
from jobs.moment import machine_now

log = logging.getLogger(__name__)

# After this long the lease is no longer kept alive: work that hangs goes to another worker (project default,
# the same as the hard time limit of a task).
LONGEST_WORK_S: Final = 300
LOOK_AHEAD: Final = "jobs.look_ahead"
PUBLISH_HEAD: Final = "jobs.publish_head"
KEEP_HOUSE: Final = "jobs.keep_house"
FORGOTTEN_AFTER: Final = timedelta(days=1)

Act = Callable[[OutboxEntry], None]
Bury = Callable[[Mapping[str, Any], str], None]


def carry_out(entry_id: int, act: Act, *, bury: Bury | None = None) -> str:
    """Does the work of one outbox row if this worker gets its lease.

    Args:
        entry_id: the row; a message may come twice or late, then nothing is done.
        act: the service; it may finish the row itself inside its last transaction (``outbox.finish_here``).
        bury: what to note where the last attempt failed; gets the row's arguments and the error.

    Returns:
        done, waiting (failed, will be tried again), dead, lost (somebody else has it), or not_leased.
    """
    entry = outbox.lease(entry_id, at=machine_now())
    if entry is None:
        return "not_leased"
    try:
        with scope(entry.organisation_id), outbox.held(entry), _kept_alive(entry):
            act(entry)
        if not outbox.is_done(entry):
            outbox.complete(entry, at=machine_now())
    except outbox.LeaseLostError:
        log.warning("%s of row %s was taken over by another worker", entry.task, entry.pk)
        return "lost"
    except Exception as error:
        log.exception("%s of row %s failed, attempt %s", entry.task, entry.pk, entry.attempts)
        return _failed(entry, error, bury)
    return "done"


def note_buried(entries: tuple[OutboxEntry, ...], buriers: Mapping[str, Bury]) -> None:
    """Tells the services of rows that a sweep buried; rows that wait again are none of their business."""
    for entry in entries:
        bury = buriers.get(entry.task)
        if entry.state == "dead" and bury is not None:
            with scope(entry.organisation_id):
                bury(entry.arguments, "The worker stopped in the middle, three times.")


def schedule_look_ahead(*, as_of: datetime) -> int:
    """Asks once for each day and organisation for the look at what falls due; returns how many were new.

    A scheduler that was down catches up with one look, not with one for each day missed.
    """
    made = 0
    for organisation in Organisation.objects.order_by("pk"):
        # The day begins at midnight where the organisation is.
        day = as_of.astimezone(ZoneInfo(organisation.default_tz)).date().isoformat()
        entry = outbox.enqueue_once(
            organisation=organisation, task=LOOK_AHEAD, arguments={"on": day}, key=day, at=as_of
        )
        made += entry is not None
    return made


def schedule_keeping(*, as_of: datetime) -> int:
    """Asks once for each day and organisation for the round of keeping; returns how many were new."""
    made = 0
    for organisation in Organisation.objects.order_by("pk"):
        day = as_of.astimezone(ZoneInfo(organisation.default_tz)).date().isoformat()
        entry = outbox.enqueue_once(
            organisation=organisation, task=KEEP_HOUSE, arguments={"on": day}, key=day, at=as_of
        )
        made += entry is not None
    return made


def schedule_heads(*, as_of: datetime) -> int:
    """Asks for today's head of each log that has none yet, at most once an hour; returns how many were new.

    A head that could not be made (the key was away, the log is broken) is tried again the next hour.
    """
    made = 0
    for organisation in Organisation.objects.order_by("pk"):
        local = as_of.astimezone(ZoneInfo(organisation.default_tz))
        with unscoped():
            there = TreeHead.objects.filter(organisation=organisation, is_daily=True, day=local.date())
            if there.exists() or not LedgerHead.objects.filter(pk=organisation.pk, n__gte=1).exists():
                continue
        entry = outbox.enqueue_once(
            organisation=organisation,
            task=PUBLISH_HEAD,
            arguments={},
            key=local.strftime("%Y-%m-%dT%H"),
            at=as_of,
        )
        made += entry is not None
    return made


def sign_of_life(name: str, kind: str, *, started_at: datetime, at: datetime) -> None:
    """Notes that this process lives; a health check reads it. Processes silent for a day are forgotten."""
    WorkerBeat.objects.filter(seen_at__lt=at - FORGOTTEN_AFTER).delete()
    WorkerBeat.objects.update_or_create(
        name=name, defaults={"kind": kind, "started_at": started_at, "seen_at": at}
    )


def _failed(entry: OutboxEntry, error: Exception, bury: Bury | None) -> str:
    text = f"{type(error).__name__}: {error}"
    with transaction.atomic():
        state = outbox.fail(entry, error=text, at=machine_now())
        if state == "dead" and bury is not None:
            with scope(entry.organisation_id):
                bury(entry.arguments, text)
    return state


@contextmanager
def _kept_alive(entry: OutboxEntry) -> Iterator[None]:
    """Lengthens the lease from a thread with its own connection while the work runs."""
    finished = threading.Event()
    beat_s = outbox.lease_length().total_seconds() / 4

    def beat() -> None:
        left = int(LONGEST_WORK_S / beat_s)
        try:
            while left > 0 and not finished.wait(beat_s):
                left -= 1
                try:
                    outbox.heartbeat(entry, at=machine_now())
                except DatabaseError:
                    # The database is busy or gone: the next beat may get through, and if none does the
                    # lease runs out, which is what it is for.
                    log.warning("no sign of life for row %s", entry.pk)
        finally:
            connection.close()

    thread = threading.Thread(target=beat, name=f"lease-{entry.pk}", daemon=True)
    thread.start()
    try:
        yield
    finally:
        finished.set()
        thread.join(timeout=5)
