"""``manage.py verify_ledger``: recomputes the log chains and says the first thing that is wrong.

Exit status 0: every chain is whole; 1: one is not; 2: it could not be checked.
"""

import dataclasses
import json
from argparse import ArgumentParser
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand
from django.db import DatabaseError

from jobs.ledger.verify import Report, verify_all


class Command(BaseCommand):
    """Checks the log of one organisation, or of all."""

    help = "Recomputes the log chains. Exit 0: whole, 1: broken, 2: could not be checked."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--org", default="", help="id of one organisation; all without it")
        parser.add_argument("--json", action="store_true", help="one JSON document instead of lines")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            only = UUID(options["org"]) if options["org"] else None
            reports = verify_all(only)
        except (ValueError, DatabaseError) as error:
            self.stderr.write(f"could not be checked: {error}")
            raise SystemExit(2) from error
        if only is not None and not reports:
            self.stderr.write("could not be checked: there is no such organisation")
            raise SystemExit(2)
        if options["json"]:
            self.stdout.write(json.dumps([dataclasses.asdict(report) for report in reports], indent=2))
        else:
            for report in reports:
                self.stdout.write(_line(report))
        if not all(report.is_whole for report in reports):
            raise SystemExit(1)


def _line(report: Report) -> str:
    if report.is_whole:
        return f"whole   {report.name}: {report.entries} entries, head {report.head}"
    return f"BROKEN  {report.name}: {report.fault} at entry {report.at_n}, {report.entries} entries hold"
