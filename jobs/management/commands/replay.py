"""replay JOB: reaches an archived verdict again from the facts kept with it, and says what differs."""

import json
from datetime import datetime
from pathlib import Path
from typing import Any, Final
from uuid import UUID

from django.core.management.base import BaseCommand, CommandParser

from jobs.errors import DomainError
from jobs.models import Job, scope, unscoped
from jobs.services import values
from jobs.services.replay import Replay, replay_job
from rules.canonical import to_plain
from rules.packs.errors import PackError
from rules.packs.model import PackSet
from rules.packs.reader import read_pack

IDENTICAL: Final = 0
DIFFERENT: Final = 1
UNUSABLE: Final = 2


class Command(BaseCommand):
    """Exit status 0: the same result; 1: another one; 2: nothing to compare. Writes nothing."""

    help = "Judges a job again from the facts kept with its archived judgement."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("job", help="order number or id of the job")
        parser.add_argument("--as-of", help="the judgement at or before this instant (RFC 3339)")
        parser.add_argument("--packs", nargs="+", type=Path, metavar="FILE", help="judge by these packs")
        parser.add_argument("--json", action="store_true", help="print the result as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            result = self._replay(options)
        except (OSError, PackError, DomainError) as error:
            self.stderr.write(f"{options['job']}: {error}")
            raise SystemExit(UNUSABLE) from error
        if options["json"]:
            told = {**to_plain(result), "agrees": result.agrees}
            self.stdout.write(json.dumps(told, indent=2, ensure_ascii=False))
        else:
            self._tell(result)
        raise SystemExit(IDENTICAL if result.agrees else DIFFERENT)

    def _replay(self, options: dict[str, Any]) -> Replay:
        job = _job(options["job"])
        as_of = _instant(options["as_of"])
        packs = _packs(options["packs"])
        with scope(job.organisation_id):
            return replay_job(job, as_of=as_of, packs=packs)

    def _tell(self, result: Replay) -> None:
        self.stdout.write(
            f"Job {result.job}, judgement {result.assessment}, gate {result.gate_at.isoformat()}"
        )
        for pack, edition, sha256 in result.packs:
            self.stdout.write(f"  by {pack}, edition {edition}, {sha256}")
        for note in result.notes:
            self.stdout.write(f"  {note}")
        for line in result.lines:
            word = "same     " if line.same else "DIFFERENT"
            now = "" if line.same else f" -> {line.now}"
            self.stdout.write(f"  {word} {line.what}: {line.archived}{now}")
        self.stdout.write(f"archived {result.archived_sha256}")
        self.stdout.write(f"now      {result.now_sha256}")
        self.stdout.write(_conclusion(result))


def _conclusion(result: Replay) -> str:
    if result.identical is None:
        return "The same verdicts; bytes were not compared." if result.agrees else "Other verdicts."
    return "Identical, byte for byte." if result.identical else "Not identical."


def _job(text: str) -> Job:
    with unscoped():
        rows = Job.objects.select_related("organisation")
        try:
            found = list(rows.filter(pk=UUID(text)))
        except ValueError:
            found = list(rows.filter(number=text)[:2])
    if len(found) != 1:
        message = "there is no such job" if not found else "several jobs have this number; give the id"
        raise DomainError("job_not_one", message)
    return found[0]


def _instant(text: str | None) -> datetime | None:
    return None if text is None else values.read_instant(text, "--as-of")


def _packs(files: list[Path] | None) -> PackSet | None:
    if files is None:
        return None
    return PackSet(editions=tuple(read_pack(file.read_bytes(), name=str(file)) for file in files))
