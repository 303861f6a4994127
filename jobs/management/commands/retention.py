"""``manage.py retention``: tells what retention would delete today, and deletes exactly that.

Exit status 0: told or done; 1: refused (the record has changed since the plan was told) or something waits;
2: it could not be looked at.
"""

import json
from argparse import ArgumentParser
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand

from jobs.errors import Conflict
from jobs.models import Organisation, scope
from jobs.moment import now
from jobs.services.retention import run_retention
from jobs.services.retention_plan import Plan, plan_retention

REFUSED = 1
NOT_LOOKED_AT = 2


class Command(BaseCommand):
    """``--dry-run`` prints each plan with its hash; ``--run --plan HASH`` carries out that very plan."""

    help = "Tells (--dry-run) or carries out (--run --plan HASH) what retention deletes today."

    def add_arguments(self, parser: ArgumentParser) -> None:
        what = parser.add_mutually_exclusive_group(required=True)
        what.add_argument("--dry-run", action="store_true", help="tell the plan and delete nothing")
        what.add_argument("--run", action="store_true", help="carry out the plan named by --plan")
        parser.add_argument("--org", default="", help="id of one organisation; all without it (dry run only)")
        parser.add_argument("--plan", default="", help="hash of the plan that was told")
        parser.add_argument("--json", action="store_true", help="one JSON document instead of lines")

    def handle(self, *args: Any, **options: Any) -> None:
        organisations = self._organisations(options["org"])
        if options["dry_run"]:
            self._tell(organisations, as_json=options["json"])
            return
        if len(organisations) != 1 or len(options["plan"]) != 64:
            self.stderr.write("--run needs --org and --plan with the hash that --dry-run printed")
            raise SystemExit(NOT_LOOKED_AT)
        self._run(organisations[0], options["plan"], as_json=options["json"])

    def _organisations(self, text: str) -> list[Organisation]:
        rows = Organisation.objects.order_by("name", "pk")
        try:
            found = list(rows.filter(pk=UUID(text)) if text else rows)
        except ValueError:
            found = []
        if not found:
            self.stderr.write("there is no such organisation")
            raise SystemExit(NOT_LOOKED_AT)
        return found

    def _tell(self, organisations: list[Organisation], *, as_json: bool) -> None:
        plans = []
        for organisation in organisations:
            with scope(organisation.pk):
                plans.append((organisation, plan_retention(organisation=organisation, as_of=now())))
        if as_json:
            told = [{**plan.to_plain(), "sha256": plan.sha256} for _, plan in plans]
            self.stdout.write(json.dumps({"plans": told}, indent=2, ensure_ascii=False))
            return
        for organisation, plan in plans:
            self._lines(organisation, plan)

    def _lines(self, organisation: Organisation, plan: Plan) -> None:
        self.stdout.write(f"{organisation.name} ({organisation.pk})")
        for item in plan.items:
            self.stdout.write(f"  delete  {item.due_on}  {item.words}  {item.sha256}  [{item.rule}]")
        for kept in plan.kept:
            self.stdout.write(f"  keep    {kept.item.due_on}  {kept.item.words}: {kept.because}")
        for subject in plan.unfinished:
            self.stdout.write(f"  finish  {subject}")
        size = sum(item.size_bytes or 0 for item in plan.items)
        self.stdout.write(f"  {len(plan.items)} to delete ({size} bytes), {len(plan.kept)} kept")
        self.stdout.write(f"  plan {plan.sha256}")

    def _run(self, organisation: Organisation, plan_sha256: str, *, as_json: bool) -> None:
        try:
            with scope(organisation.pk):
                done = run_retention(organisation=organisation, as_of=now(), plan_sha256=plan_sha256)
        except Conflict as error:
            self.stderr.write(f"{error.message} Nothing was deleted. It is now {error.extra.get('plan')}.")
            raise SystemExit(REFUSED) from error
        told = {
            "plan": done.plan_sha256, "removed": list(done.removed), "stopped": list(done.stopped),
            "waiting": list(done.waiting), "additions": done.told,
        }  # fmt: skip
        if as_json:
            self.stdout.write(json.dumps(told, indent=2))
        else:
            for name in ("removed", "stopped", "waiting"):
                self.stdout.write(f"{name}: {len(getattr(done, name))}")
            self.stdout.write(f"told on {done.told} packets")
        if done.waiting or done.stopped:
            raise SystemExit(REFUSED)
