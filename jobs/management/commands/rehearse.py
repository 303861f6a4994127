"""Plays scenario files in databases of their own and prints what was judged, as JSON.

Exit status: 0 everything is as expected, 1 something differs, 2 a file is no scenario.
"""

import gc
import json
import logging
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from jobs.rehearsal.faults import ScenarioError
from jobs.rehearsal.play import rehearse
from jobs.rehearsal.scenario import read_scenario


class Command(BaseCommand):
    help = "Plays scenario files through the real services and the worker, each in a scratch database."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
        parser.add_argument("--json", action="store_true", help="print JSON; that is what it does anyway")
        parser.add_argument("--short", action="store_true", help="print the differences only, as plain lines")
        parser.add_argument("--keep", action="store_true", help="keep the scratch databases and files")
        parser.add_argument(
            "--server",
            default="",
            help="a PostgreSQL address: scratch databases are made there, not in SQLite",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        # One line for every judgement would drown what is told here.
        logging.getLogger("celery.app.trace").setLevel(logging.WARNING)
        # Thousands of rows come and go: looking for circles among them costs an eighth of the time.
        gc.disable()
        try:
            answers = [self._one(path, options) for path in options["files"]]
        finally:
            gc.enable()
        if not options["short"]:
            self.stdout.write(json.dumps({"rehearsal": 1, "files": answers}, indent=1, ensure_ascii=False))
        if any("faults" in answer for answer in answers):
            sys.exit(2)
        if not all(answer["holds"] for answer in answers):
            sys.exit(1)

    def _one(self, path: Path, options: dict[str, Any]) -> dict[str, Any]:
        answer = self._answer(path, options)
        if options["short"]:
            self._tell(answer)
        return answer

    def _answer(self, path: Path, options: dict[str, Any]) -> dict[str, Any]:
        try:
            scenario = read_scenario(path)
            rehearsed = rehearse(scenario, server=options["server"], keep=options["keep"])
        except ScenarioError as error:
            return {"file": str(path), "holds": False, "faults": [fault.as_json() for fault in error.faults]}
        gc.collect()
        return rehearsed.as_json()

    def _tell(self, answer: dict[str, Any]) -> None:
        word = "no scenario" if "faults" in answer else "holds" if answer["holds"] else "differs"
        self.stdout.write(f"{answer['file']}: {word}")
        for item in (*answer.get("faults", ()), *answer.get("differences", ())):
            place = "/".join(part for part in (item.get("part"), item.get("job")) if part)
            where = f"{place} {item['where']}".strip()
            self.stdout.write(
                f"  line {item['line']}: {where}: expected {item['expected']}; found {item['found']}"
            )
