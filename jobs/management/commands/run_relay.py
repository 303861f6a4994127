"""``manage.py run_relay``: at scale, hands the outbox's waiting rows to Celery on the broker, and sweeps."""

from typing import Any, Final

from celery import current_app
from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from kombu.exceptions import OperationalError

from jobs import outbox
from jobs.moment import machine_now
from jobs.rounds import Rounds, keep_going, stop_when_asked

POLL_S: Final = 0.1
BROKER_AWAY_S: Final = 2.0
BATCH: Final = 50


class Command(BaseCommand):
    """Sends only the id of a row. Sent twice is harmless: the lease lets one worker in."""

    help = "Hands waiting rows of the outbox to Celery on the broker and takes back leases that ran out."
    requires_system_checks = ()

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.CELERY_BROKER_URL:
            raise CommandError("WM_BROKER_URL is not set; without a broker use run_worker", returncode=2)
        rounds = Rounds("relay")

        def step() -> float:
            rounds.make_when_due()
            return self._hand_over()

        keep_going(stop_when_asked(), step)

    def _hand_over(self) -> float:
        """Sends what waits; returns how long to rest in seconds."""
        rows = outbox.rows_to_hand(at=machine_now(), limit=BATCH)
        for entry in rows:
            try:
                current_app.tasks[entry.task].apply_async(args=(entry.pk,), retry=False)
            except OperationalError as error:
                self.stderr.write(f"the broker does not answer: {error}")
                return BROKER_AWAY_S
            outbox.mark_handed(entry.pk, at=machine_now())
        return 0.0 if len(rows) == BATCH else POLL_S
