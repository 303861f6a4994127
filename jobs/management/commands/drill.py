"""``manage.py drill``: makes a backup, restores it elsewhere, and lets the program check what came back.

``drill backup DIR`` makes a backup, ``drill check DIR`` proves one, ``drill all DIR`` does both.

Exit status 0: the restored copy is the record; 1: something differs, and is named; 2: it could not be done.
"""

import sqlite3
import subprocess
import tempfile
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, Final

import psycopg
from django.core.management.base import BaseCommand
from django.db import DatabaseError

from jobs.backup import back_up, restore_check
from jobs.errors import DomainError
from jobs.moment import now

NOT_DONE: Final = (DomainError, DatabaseError, psycopg.Error, sqlite3.Error, OSError)


class Command(BaseCommand):
    """The record itself is only read."""

    help = "Makes (backup), proves (check), or makes and proves (all) a backup in DIR."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", choices=("backup", "check", "all"))
        parser.add_argument("folder", type=Path)
        parser.add_argument("--scratch-server", default="", help="postgresql://… for the restored copy")
        parser.add_argument("--scratch-folder", type=Path, default=None, help="where files are restored to")
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
            if options["what"] in ("backup", "all"):
                self._back_up(options["folder"])
            if options["what"] in ("check", "all"):
                self._check(options)
        except subprocess.CalledProcessError as error:
            last = error.stderr.decode("utf-8", "replace").strip().splitlines()[-1:] or ["no message"]
            self._could_not(f"{Path(error.cmd[0]).name}: {last[0][:300]}")
        except (*NOT_DONE, subprocess.SubprocessError) as error:
            self._could_not(str(error))

    def _could_not(self, why: str) -> None:
        self.stderr.write(f"could not be done: {why}")
        raise SystemExit(2)

    def _back_up(self, folder: Path) -> None:
        started = time.monotonic()
        manifest = back_up(folder, as_of=now())
        size = sum(file["bytes"] for file in manifest["files"]) + manifest["database"]["bytes"]
        self.stdout.write(
            f"backed up: {len(manifest['files'])} files, {size} bytes, "
            f"{manifest['counts']['log_entries']} log entries, {time.monotonic() - started:.1f} s"
        )

    def _check(self, options: dict[str, Any]) -> None:
        started = time.monotonic()
        with tempfile.TemporaryDirectory(prefix="drill-", dir=options["scratch_folder"]) as name:
            found = restore_check(
                options["folder"],
                Path(name),
                server_url=options["scratch_server"],
                against=options["against"],
            )
        for fault in found.faults:
            self.stdout.write(f"DIFFERS  {fault}")
        told = ", ".join(f"{count} {what}" for what, count in found.counts.items())
        self.stdout.write(f"restored and checked: {told or 'nothing'}, {time.monotonic() - started:.1f} s")
        self.stdout.write("the restored copy is the record" if not found.faults else "it is not the record")
        if found.faults:
            raise SystemExit(1)
