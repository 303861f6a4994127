"""``manage.py requeue_stuck``: lists buried work, gives it new attempts; takes back leases that ran out."""

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from jobs import outbox
from jobs.models import OutboxEntry, unscoped
from jobs.moment import machine_now
from jobs.tasks import BURIERS
from jobs.work import note_buried


class Command(BaseCommand):
    """Without ``--all`` or ids it only says what is buried."""

    help = "Lists buried work; gives rows new attempts. Exit 0: nothing is left buried, 1: something is."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("ids", nargs="*", type=int, help="rows to try again")
        parser.add_argument("--all", action="store_true", help="try every buried row again")
        parser.add_argument("--json", action="store_true", help="one JSON document instead of lines")

    def handle(self, *args: Any, **options: Any) -> None:
        at = machine_now()
        note_buried(outbox.sweep(at=at), BURIERS)
        with unscoped():
            dead = list(OutboxEntry.objects.filter(state="dead").order_by("pk"))
        wanted = {entry.pk for entry in dead} if options["all"] else set(options["ids"])
        rows = [
            {
                "id": entry.pk,
                "task": entry.task,
                "key": entry.key,
                "error": entry.last_error,
                "requeued": entry.pk in wanted and outbox.requeue_dead(entry.pk, at=at),
            }
            for entry in dead
        ]
        if options["json"]:
            self.stdout.write(json.dumps(rows, indent=2))
        else:
            for row in rows:
                word = "again" if row["requeued"] else "buried"
                self.stdout.write(f"{word:7} {row['id']} {row['task']} {row['key']}: {row['error']}")
        if not all(row["requeued"] for row in rows):
            raise SystemExit(1)
