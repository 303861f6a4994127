"""The durable queue in the database: enqueue in the transaction, lease, finish, retry, bury.

``at`` of enqueue is the record's time; every other ``at`` here is ``jobs.moment.machine_now()``, so that a
shifted demonstration clock neither ends leases nor delays work.
"""

import secrets
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime, timedelta
from typing import Any, Final

from django.conf import settings
from django.db import IntegrityError, connection, transaction
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.transaction import TransactionManagementError

from jobs.errors import Unavailable
from jobs.failpoints import reached
from jobs.models import Organisation, OutboxEntry, unscoped
from jobs.moment import machine_now

# Project defaults, no source.
MAX_ATTEMPTS: Final = 3
BACKOFF: Final = (timedelta(seconds=2), timedelta(seconds=20))
HANDED_AGAIN_AFTER: Final = timedelta(seconds=60)
ERROR_LENGTH: Final = 2000
ENQUEUE_TRIES: Final = 5

_held_here: ContextVar[OutboxEntry | None] = ContextVar("outbox_entry_held", default=None)


class LeaseLostError(RuntimeError):
    """The work outlived its lease and somebody else has it now: the caller's transaction must be undone."""


def lease_length() -> timedelta:
    """How long a worker's silence is waited for; a living worker lengthens its lease all the time."""
    return timedelta(seconds=settings.WM_LEASE_SECONDS)


def enqueue(
    *,
    organisation: Organisation,
    task: str,
    arguments: Mapping[str, Any],
    key: str,
    at: datetime,
    after: timedelta = timedelta(0),
) -> OutboxEntry:
    """Asks for work, inside the caller's transaction: no commit, no work; commit, and it will be done.

    The same task and key that nobody has begun gives the row that waits already, with its own arguments.
    While one is being worked on a new row is added: that worker may have read its input already.
    The arguments of a joined row stay as they are, so a key must say everything that they say.

    Args:
        organisation: whose work it is; the task runs in its scope.
        task: name of the Celery task.
        arguments: JSON-able; ids rather than contents.
        key: what makes waiting work the same work.
        at: the record's time.
        after: let it wait so long first, so that what comes in together is worked on together.

    Raises:
        django.db.transaction.TransactionManagementError: called outside a transaction.
    """
    if not connection.in_atomic_block:
        raise TransactionManagementError("work is asked for inside the transaction of what asks for it")
    with unscoped():
        waiting = OutboxEntry.objects.filter(
            organisation=organisation, task=task, key=key, state="waiting", attempts=0
        )
        for _ in range(ENQUEUE_TRIES):
            # The lock keeps a worker from beginning before the caller's transaction ends.
            entry = waiting.select_for_update().first()
            if entry is not None:
                return entry
            fresh = OutboxEntry(
                organisation=organisation,
                task=task,
                arguments=dict(arguments),
                key=key,
                created_at=at,
                available_at=machine_now() + after if after else None,
            )
            try:
                with transaction.atomic():
                    fresh.save(force_insert=True)
            except IntegrityError:
                # Somebody enqueued the same between our look and our insert: look again.
                continue
            return fresh
    raise Unavailable("queue_busy")


def enqueue_once(
    *, organisation: Organisation, task: str, arguments: Mapping[str, Any], key: str, at: datetime
) -> OutboxEntry | None:
    """Like ``enqueue``, but gives None where a row of this key was ever made: for what is due once."""
    with unscoped(), transaction.atomic():
        # Two schedulers queue here, so that the second sees the first one's row even when it is done already.
        Organisation.objects.select_for_update().get(pk=organisation.pk)
        if OutboxEntry.objects.filter(organisation=organisation, task=task, key=key).exists():
            return None
        return enqueue(organisation=organisation, task=task, arguments=arguments, key=key, at=at)


def next_ready(*, at: datetime) -> OutboxEntry | None:
    """The oldest row that may be begun now, not leased yet; somebody else may still be quicker."""
    with unscoped():
        return _claimable(at).first()


def lease(entry_id: int, *, at: datetime) -> OutboxEntry | None:
    """Leases this row, or gives None: done, dead, leased, not due yet, or its key is being worked on."""
    skip = connection.features.has_select_for_update_skip_locked
    own = ("self",) if connection.features.has_select_for_update_of else ()
    with unscoped(), transaction.atomic():
        entry = _claimable(at).filter(pk=entry_id).select_for_update(skip_locked=skip, of=own).first()
        if entry is None:
            return None
        entry.state, entry.owner = "leased", secrets.token_hex(16)
        entry.lease_until, entry.attempts = at + lease_length(), entry.attempts + 1
        entry.save(update_fields=("state", "owner", "lease_until", "attempts"))
        return entry


@contextmanager
def held(entry: OutboxEntry) -> Iterator[None]:
    """Inside, ``finish_here`` finishes this row: a service need not know the queue it came from."""
    token = _held_here.set(entry)
    try:
        yield
    finally:
        _held_here.reset(token)


def finish_here() -> None:
    """Called by a service as the last thing in the transaction that writes its result.

    Where a task runs the service, its row is marked done in that same transaction; elsewhere nothing happens.

    Raises:
        LeaseLostError: the lease ran out and the work is somebody else's; let the transaction be undone.
    """
    entry = _held_here.get()
    if entry is not None:
        reached(f"{entry.task}.before_commit")
        complete(entry, at=machine_now())


def heartbeat(entry: OutboxEntry, *, at: datetime) -> bool:
    """Lengthens the lease; False where it is no longer the caller's."""
    with unscoped():
        return bool(_leased_as(entry).update(lease_until=at + lease_length()))


def is_done(entry: OutboxEntry) -> bool:
    """Whether the row's work is finished."""
    with unscoped():
        return OutboxEntry.objects.filter(pk=entry.pk, state="done").exists()


def complete(entry: OutboxEntry, *, at: datetime) -> None:
    """Marks the work done, in the transaction of its result. Raises ``LeaseLostError`` without a lease."""
    with unscoped():
        moved = _leased_as(entry).update(
            state="done", finished_at=at, lease_until=None, owner="", last_error=""
        )
    if moved != 1:
        raise LeaseLostError(f"outbox row {entry.pk}")


def fail(entry: OutboxEntry, *, error: str, at: datetime) -> str:
    """Gives the work back to wait a little, or buries it after the last attempt.

    Returns:
        The row's new state, or ``lost`` where the lease was gone and nothing was changed.
    """
    with unscoped():
        moved = _leased_as(entry).update(**_after_failure(entry.attempts, error, at))
    return state_after(entry.attempts) if moved else "lost"


def sweep(*, at: datetime) -> tuple[OutboxEntry, ...]:
    """Takes back every lease that ran out: its worker died. Returns the rows taken, with their new state."""
    with unscoped():
        return _take_back(OutboxEntry.objects.filter(state="leased", lease_until__lte=at), at)


def take_back_all(*, at: datetime) -> tuple[OutboxEntry, ...]:
    """Takes back every lease: for the one worker of an embedded database, when it starts after a crash."""
    with unscoped():
        return _take_back(OutboxEntry.objects.filter(state="leased"), at)


def requeue_dead(entry_id: int, *, at: datetime) -> bool:
    """Gives a buried row two more attempts; False where it is not buried."""
    with unscoped():
        rows = OutboxEntry.objects.filter(pk=entry_id, state="dead")
        # Not attempt 0: a fresh row of the same key may wait beside it.
        return bool(
            rows.update(state="waiting", attempts=1, available_at=at, finished_at=None, handed_at=None)
        )


def rows_to_hand(*, at: datetime, limit: int) -> tuple[OutboxEntry, ...]:
    """Rows that may be begun and that the relay has not given to the broker lately, oldest first."""
    stale = Q(handed_at__isnull=True) | Q(handed_at__lte=at - HANDED_AGAIN_AFTER)
    with unscoped():
        return tuple(_claimable(at).filter(stale)[:limit])


def mark_handed(entry_id: int, *, at: datetime) -> None:
    """Notes that the broker has a message for this row; sent twice does no harm, the lease lets one in."""
    with unscoped():
        OutboxEntry.objects.filter(pk=entry_id).update(handed_at=at)


def state_after(attempts: int) -> str:
    """The state of a row whose attempt number ``attempts`` failed."""
    return "dead" if attempts >= MAX_ATTEMPTS else "waiting"


def _claimable(at: datetime) -> QuerySet[OutboxEntry]:
    same_key = OutboxEntry.objects.filter(
        organisation_id=OuterRef("organisation_id"),
        task=OuterRef("task"),
        key=OuterRef("key"),
        state="leased",
    )
    due = Q(available_at__isnull=True) | Q(available_at__lte=at)
    return OutboxEntry.objects.filter(due, ~Exists(same_key), state="waiting").order_by("pk")


def _leased_as(entry: OutboxEntry) -> QuerySet[OutboxEntry]:
    return OutboxEntry.objects.filter(pk=entry.pk, state="leased", owner=entry.owner)


def _take_back(rows: Iterable[OutboxEntry], at: datetime) -> tuple[OutboxEntry, ...]:
    taken = []
    for entry in rows:
        still = _leased_as(entry).filter(lease_until=entry.lease_until)
        if still.update(**_after_failure(entry.attempts, "the worker stopped in the middle", at)):
            entry.state = state_after(entry.attempts)
            taken.append(entry)
    return tuple(taken)


def _after_failure(attempts: int, error: str, at: datetime) -> dict[str, Any]:
    state = state_after(attempts)
    wait = BACKOFF[min(attempts, len(BACKOFF)) - 1]
    return {
        "state": state,
        "lease_until": None,
        "owner": "",
        "handed_at": None,
        "last_error": error[:ERROR_LENGTH],
        "available_at": at if state == "dead" else at + wait,
        "finished_at": at if state == "dead" else None,
    }
