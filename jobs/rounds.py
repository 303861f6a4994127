"""What worker and relay processes do every few seconds beside their work, and how they are asked to stop."""

import logging
import os
import signal
import socket
import threading
import time
from collections.abc import Callable
from types import FrameType
from typing import Final

from django.db import InterfaceError, OperationalError, close_old_connections

from jobs import outbox
from jobs.moment import machine_now, now
from jobs.services.answers import forget_answers
from jobs.services.copying import sweep_copies
from jobs.services.sharing_ends import write_down_ends
from jobs.tasks import BURIERS
from jobs.work import note_buried, schedule_heads, schedule_keeping, schedule_look_ahead, sign_of_life

log = logging.getLogger(__name__)

ROUNDS_S: Final = 5.0
# Old copies may lie there a minute longer.
SWEEP_S: Final = 60.0
AWAY_S: Final = 2.0


class Rounds:
    """Signs of life, leases that ran out, the day's look at what falls due, and the day's head of the log."""

    def __init__(self, kind: str) -> None:
        self.kind = kind
        self.name = f"{socket.gethostname()}:{os.getpid()}"
        self.started_at = machine_now()
        self._next_s = time.monotonic()
        self._sweep_next_s = time.monotonic()

    def make_when_due(self) -> None:
        if time.monotonic() < self._next_s:
            return
        self._next_s = time.monotonic() + ROUNDS_S
        at = machine_now()
        sign_of_life(self.name, self.kind, started_at=self.started_at, at=at)
        note_buried(outbox.sweep(at=at), BURIERS)
        schedule_look_ahead(as_of=now())
        schedule_keeping(as_of=now())
        schedule_heads(as_of=now())
        write_down_ends(as_of=now())
        if time.monotonic() >= self._sweep_next_s:
            self._sweep_next_s = time.monotonic() + SWEEP_S
            sweep_copies(as_of=now())
            forget_answers(as_of=now())


def keep_going(stop: threading.Event, step: Callable[[], float | None], *, away_s: float = AWAY_S) -> None:
    """Takes steps until asked to stop, or until a step gives None; a database that is away is waited for.

    Args:
        stop: asks to stop.
        step: does a little and says how many seconds to rest.
        away_s: how long to wait for a database that does not answer, in seconds.
    """
    while not stop.is_set():
        close_old_connections()
        try:
            rest_s = step()
        except (OperationalError, InterfaceError) as error:
            log.warning("the database does not answer: %s", error)
            rest_s = away_s
        if rest_s is None:
            return
        stop.wait(rest_s)


def stop_when_asked() -> threading.Event:
    """An event that SIGTERM and SIGINT set; what is being worked on is finished first."""
    stop = threading.Event()

    def ask_to_stop(number: int, frame: FrameType | None) -> None:
        stop.set()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, ask_to_stop)
    return stop
