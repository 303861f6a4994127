"""edition_effect PACK EDITION: what an edition on file would say of every job; it writes nothing."""

import json
import time
from typing import Any, Final

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.errors import DomainError
from jobs.models import Job, PackEditionOnFile, scope, unscoped
from jobs.services.edition_effect import Effect, counted, effect_of
from rules.canonical import to_plain
from rules.look_back import NOT_IN_FORCE

MOST_ROWS: Final = 1_000


class Command(BaseCommand):
    help = "Judges every job on record again under an edition on file, or without it if it was withdrawn."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("pack")
        parser.add_argument("edition", type=int)
        parser.add_argument("--organisation", help="its name, where several have this edition on file")
        parser.add_argument("--json", action="store_true", help="print the result as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        row = _row(options)
        began = time.perf_counter()
        try:
            with scope(row.organisation_id):
                effect = counted(row, effect_of(row, Job.objects.all()), most_rows=MOST_ROWS)
        except DomainError as error:
            raise CommandError(str(error)) from error
        seconds = time.perf_counter() - began
        if options["json"]:
            told = {"statement": NOT_IN_FORCE, "line": effect.line, "jobs": to_plain(effect.rows)}
            self.stdout.write(json.dumps(told, indent=2, ensure_ascii=False, default=str))
            return
        self._tell(effect)
        jobs = effect.done.jobs + effect.open.jobs
        self.stderr.write(f"{jobs} jobs in {seconds:.1f} s")

    def _tell(self, effect: Effect) -> None:
        self.stdout.write(NOT_IN_FORCE)
        for row in effect.rows:
            self.stdout.write(f"  {row.number}: {row.problem or ', '.join(row.kinds)}")
            for change in row.changes:
                was, now = change.before or "not asked for", change.after or "not asked for"
                proof = f"{change.procedure_id} {change.proof_id}".strip()
                self.stdout.write(f"      {proof}: {was} -> {now}" if change.proof_id else f"      {proof}")
        self.stdout.write(effect.line)


def _row(options: dict[str, Any]) -> PackEditionOnFile:
    with unscoped():
        rows = PackEditionOnFile.objects.filter(pack=options["pack"], edition=options["edition"])
        if options["organisation"]:
            rows = rows.filter(organisation__name=options["organisation"])
        found = list(rows.select_related("organisation")[:2])
    if len(found) != 1:
        raise CommandError("No edition of this name is on file, or several organisations have one.")
    return found[0]
