"""``manage.py check_all``: checks logs, store, packets and additions of this record.

Exit status 0: everything agrees; 1: something differs, and is named; 2: it could not be checked.
"""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError

from jobs.management.commands.verify_ledger import kept_head
from jobs.services.whole_check import check_everything


class Command(BaseCommand):
    """Reads everything; writes nothing but the place of the look over the store."""

    help = "Checks logs, store, sealed packets and additions. Exit 0: agrees, 1: differs, 2: not checked."
    # A restored copy is checked before anything else of an installation is there.
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", help="one JSON document instead of lines")
        parser.add_argument(
            "--against",
            type=Path,
            action="append",
            default=[],
            metavar="FILE",
            help="a head of the log kept outside, as it was mailed (JSON); may be given several times",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            found = check_everything(against=[kept_head(path) for path in options["against"]])
        except (DatabaseError, OSError, ValueError) as error:
            self.stderr.write(f"could not be checked: {error}")
            raise SystemExit(2) from error
        if options["json"]:
            self.stdout.write(json.dumps(found.to_plain(), indent=2))
        else:
            for fault in found.faults:
                self.stdout.write(f"DIFFERS  {fault}")
            self.stdout.write(", ".join(f"{count} {name}" for name, count in found.counts.items()))
            self.stdout.write("everything agrees" if not found.faults else f"{len(found.faults)} differ")
        if found.faults:
            raise SystemExit(1)
