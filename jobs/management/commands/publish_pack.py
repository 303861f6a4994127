"""publish_pack FILE --by LOGIN --approved-by LOGIN: one edition, from its exact bytes to published."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from jobs import moment
from jobs.access import Actor, actor_for_person
from jobs.errors import DomainError
from jobs.models import PackEditionOnFile, Person, scope
from jobs.services import pack_desk
from jobs.services.pack_review import difference_on, report_on


class Command(BaseCommand):
    """Without ``--acknowledge`` for every warning nothing is published, and the warnings are told."""

    help = "Publishes a rule pack: its writer sends it in, another person approves it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--by", required=True, metavar="LOGIN", help="who wrote it")
        parser.add_argument("--approved-by", required=True, metavar="LOGIN", help="the second person")
        parser.add_argument(
            "--acknowledge", nargs="*", default=[], metavar="NAME", help="warnings to let stand, by name"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        writer, approver = _actor(options["by"]), _actor(options["approved_by"])
        try:
            data = options["file"].read_bytes()
            with scope(writer.organisation_id), transaction.atomic():
                row = self._publish(data, writer, approver, options["acknowledge"])
        except (OSError, DomainError) as error:
            self._tell(error)
            raise CommandError(str(error)) from error
        self.stdout.write(f"{row.pack} {row.edition}, in force from {row.in_force_from}, {row.sha256}")

    def _publish(self, data: bytes, writer: Actor, approver: Actor, names: list[str]) -> PackEditionOnFile:
        now = moment.now()
        row = pack_desk.upload_draft(actor=writer, as_of=now, data=data)
        if row.state != "draft":
            return row
        _, changes = difference_on(row)
        for change in changes:
            self.stdout.write(f"  {change.words}")
        open_names = report_on(row, as_of=now).open_names
        wanted = [name for name in names if name in open_names]
        pack_desk.acknowledge(row=row, actor=approver, as_of=now, names=wanted)
        return pack_desk.approve(row=row, actor=approver, as_of=now, sha256=row.sha256)

    def _tell(self, error: Exception) -> None:
        extra = getattr(error, "extra", {})
        for fault in extra.get("faults", []):
            self.stderr.write(f"  line {fault['line']}: {fault['message']} [{fault['code']}]")
        for name in extra.get("names", []):
            self.stderr.write(f"  {name}")


def _actor(login: str) -> Actor:
    people = list(Person.objects.filter(login=login.lower(), is_active=True)[:2])
    if len(people) != 1:
        raise CommandError(f"{login} is nobody, or more than one person.")
    return actor_for_person(people[0], as_of=moment.now())
