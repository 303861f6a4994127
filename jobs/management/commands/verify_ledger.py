"""``manage.py verify_ledger``: recomputes logs, trees and heads, and says the first thing that is wrong.

Exit status 0: every log is whole; 1: one is not; 2: it could not be checked.
"""

import dataclasses
import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, Final
from uuid import UUID

from django.core.management.base import BaseCommand
from django.db import DatabaseError

from jobs.ledger.verify import Report, verify_all
from rules.seal.tree_head import HeadError, TreeHead, head_fault, read_head

FAULT_WORDS: Final = {
    "gap": "an entry is missing",
    "prev": "an entry does not rest on the one before it",
    "hash": "an entry was changed",
    "unreadable": "an entry cannot be read",
    "head": "entries were cut off at the end, or added past the writers",
    "tile": "a stored tile of the tree is not what the entries give",
    "head_root": "a stored head is not what the entries give",
    "head_signature": "the signature of a head does not hold",
    "head_key": "a head is signed with a key that was never this organisation's",
    "head_order": "a head is not tied to the daily head before it",
    "head_consistency": "the proof that a head continues the one before it does not hold",
    "outside_head": "the log is not the one of a head kept outside",
}


class Command(BaseCommand):
    """Checks the log of one organisation, or of all."""

    help = "Recomputes logs, trees and heads. Exit 0: whole, 1: broken, 2: could not be checked."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--org", default="", help="id of one organisation; all without it")
        parser.add_argument("--json", action="store_true", help="one JSON document instead of lines")
        parser.add_argument(
            "--against",
            type=Path,
            action="append",
            default=[],
            metavar="FILE",
            help="a head kept outside, as it was mailed (JSON); may be given several times",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            only = UUID(options["org"]) if options["org"] else None
            against = [kept_head(path) for path in options["against"]]
            reports = verify_all(only, against=against)
        except (OSError, ValueError, DatabaseError) as error:
            self._not_checkable(str(error))
        if only is not None and not reports:
            self._not_checkable("there is no such organisation")
        known = {report.organisation for report in reports}
        if not {head.organisation for head in against} <= known:
            self._not_checkable("a head kept outside is of no organisation that was checked")
        if options["json"]:
            self.stdout.write(json.dumps([dataclasses.asdict(report) for report in reports], indent=2))
        else:
            for report in reports:
                self.stdout.write(line_of(report))
        if not all(report.is_whole for report in reports):
            raise SystemExit(1)

    def _not_checkable(self, why: str) -> None:
        self.stderr.write(f"could not be checked: {why}")
        raise SystemExit(2)


def kept_head(path: Path) -> TreeHead:
    """A head from a file: as it was mailed, or the bare head.

    Raises:
        OSError: the file cannot be read.
        ValueError: it is no head, or its own signature does not hold.
    """
    data = json.loads(path.read_text(encoding="utf-8"))
    inner = data.get("head", data) if isinstance(data, dict) else data
    try:
        head = read_head(inner)
    except HeadError as error:
        raise ValueError(f"{path}: {error}") from error
    signature = data.get("head_signature", "")
    if signature:
        fault = head_fault(head, bytes.fromhex(signature), bytes.fromhex(data.get("certificate", "")))
        if fault:
            raise ValueError(f"{path}: the signature of this head does not hold ({fault})")
    return head


def line_of(report: Report) -> str:
    """One line on one log."""
    if report.is_whole:
        return (
            f"whole   {report.name}: {report.entries} entries, last {report.head},"
            f" root {report.root or 'none'}, {report.tiles} tiles, {report.tree_heads} heads"
        )
    words = FAULT_WORDS[report.fault]
    return f"BROKEN  {report.name}: {report.fault} at {report.at_n}, {words}; {report.entries} entries hold"
