"""``manage.py run_worker``: the embedded runner, which does the outbox's work in this process, no broker."""

import fcntl
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from celery import current_app
from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from jobs import outbox
from jobs.moment import machine_now
from jobs.rounds import Rounds, keep_going, stop_when_asked
from jobs.tasks import BURIERS
from jobs.work import note_buried

POLL_S: Final = 0.075


class Command(BaseCommand):
    """Polls the outbox and runs the Celery tasks here; SIGTERM and SIGINT let the current one finish."""

    help = "Does the work of the outbox in this process: the queue of an installation without a broker."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--until-empty", action="store_true", help="stop when nothing may be begun")

    def handle(self, *args: Any, **options: Any) -> None:
        stop = stop_when_asked()
        rounds = Rounds("worker")

        def step() -> float | None:
            rounds.make_when_due()
            entry = outbox.next_ready(at=machine_now())
            if entry is None:
                return None if options["until_empty"] else POLL_S
            # Celery's own way of running a task in place; a failure is noted on the row by the task.
            current_app.tasks[entry.task].apply(args=(entry.pk,), throw=False)
            return 0.0

        with _alone():
            keep_going(stop, step)


@contextmanager
def _alone() -> Iterator[None]:
    """On an embedded database there is one worker: being it, whatever is leased belongs to one that died.

    The lock is the operating system's and goes with the process, however it ends.
    """
    if connection.vendor != "sqlite":
        yield
        return
    path = Path(settings.WM_DATA_DIR) / "worker.lock"
    with path.open("a", encoding="ascii") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise CommandError("another worker runs on this data folder", returncode=2) from None
        note_buried(outbox.take_back_all(at=machine_now()), BURIERS)
        yield
