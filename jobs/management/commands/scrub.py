"""``manage.py scrub``: hashes stored files again within a time; tells damage and gaps, deletes nothing.

Exit status 0: nothing was found wrong; 1: something is damaged or missing; 2: it could not be looked at.
"""

import dataclasses
import json
import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError

from jobs.models import unscoped
from jobs.scrubbing import Scrubbed, scrub
from jobs.selectors.stored_names import all_named


class Command(BaseCommand):
    """Goes on where the last look stopped, so that a little each night comes round to everything."""

    help = "Hashes stored files again. Exit 0: sound, 1: damaged or missing, 2: could not be looked at."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--seconds", type=float, default=600.0, help="how long to look (default 600)")
        parser.add_argument("--all", action="store_true", help="look at everything, however long it takes")
        parser.add_argument("--json", action="store_true", help="one JSON document instead of lines")

    def handle(self, *args: Any, **options: Any) -> None:
        until = time.monotonic() + options["seconds"]
        try:
            with unscoped():
                named = {sha256 for sha256, _ in all_named()}
            found = scrub(
                named=named,
                out_of_time=lambda: not options["all"] and time.monotonic() >= until,
                start_anew=options["all"],
            )
        except (DatabaseError, OSError) as error:
            self.stderr.write(f"could not be looked at: {error}")
            raise SystemExit(2) from error
        if options["json"]:
            self.stdout.write(json.dumps({**dataclasses.asdict(found), "is_sound": found.is_sound}, indent=2))
        else:
            self._tell(found)
        if not found.is_sound:
            raise SystemExit(1)

    def _tell(self, found: Scrubbed) -> None:
        for name in found.damaged:
            self.stdout.write(f"DAMAGED  {name}: its bytes are no longer the ones that were kept")
        for name in found.missing:
            self.stdout.write(f"MISSING  {name}: the record names it and it is not in the store")
        whole = "all of it" if found.is_whole else "the rest comes with the next look"
        self.stdout.write(
            f"{found.looked_at} of {found.stored} files ({found.bytes} bytes) hashed, {whole}; "
            f"{len(found.damaged)} damaged, {len(found.missing)} missing, {found.unnamed} named by no row"
        )
