"""redraw_sample FILE: draws a published sample again, and compares it with the log where that is at hand."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, Final

from django.core.management.base import BaseCommand

from jobs.selectors.samples import faults_against_log, faults_of_sheet

AGREES: Final = 0
DIFFERS: Final = 1
NOT_A_SHEET: Final = 2


class Command(BaseCommand):
    """Exit status 0: the same packets come out; 1: something differs, and is named; 2: no sheet of a sample.

    The draw: SHA-256 over seed (64 hex digits), word and serial, each followed by a line feed; serials in
    ascending order of these hashes; the first so many are drawn. ``sample.json`` in an archive is such a
    sheet, and the page of a sample gives it too.
    """

    help = "Draws a published sample of packets again from its seed, its word and its population."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--alone", action="store_true", help="use the file only, not the log")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            sheet = json.loads(options["file"].read_bytes())
            faults = faults_of_sheet(sheet)
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            self.stderr.write(f"{options['file']}: no sheet of a sample: {error}")
            raise SystemExit(NOT_A_SHEET) from error
        if not faults and not options["alone"]:
            faults = faults_against_log(sheet)
        for fault in faults:
            self.stdout.write(f"DIFFERS  {fault}")
        if faults:
            raise SystemExit(DIFFERS)
        self.stdout.write(
            f"agrees   {len(sheet['drawn'])} of {len(sheet['population'])} packets come out again:"
        )
        for place, serial in enumerate(sheet["drawn"], start=1):
            self.stdout.write(f"{place:8} {serial}")
