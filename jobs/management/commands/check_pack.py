"""check_pack FILE...: what a pack's author must mend before it can be published, and what she should know."""

import json
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs import moment
from jobs.facts import pack_set
from jobs.facts.methods import group_methods
from jobs.models import Organisation, scope
from rules.examples import ExampleResult, run_examples
from rules.pack_review import review
from rules.packs.capability import Capability, capabilities
from rules.packs.errors import Fault, PackError
from rules.packs.layering import decision_factor
from rules.packs.methods import GroupMethods
from rules.packs.methods_text import read_methods
from rules.packs.model import PackEdition
from rules.packs.reader import read_pack

CLEAN: Final = 0
FAULTS: Final = 1
UNREADABLE: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """One file: the edition where it could be read, and everything there is to say of it."""

    file: str
    edition: PackEdition | None
    faults: tuple[Fault, ...]
    beside: tuple[PackEdition, ...] = ()
    examples: tuple[ExampleResult, ...] = ()
    capability: tuple[Capability, ...] = ()
    unreadable: bool = False

    @property
    def status(self) -> int:
        if self.unreadable:
            return UNREADABLE
        return FAULTS if any(fault.severity == "error" for fault in self.faults) else CLEAN

    def to_plain(self) -> dict[str, Any]:
        edition = self.edition
        return {
            "file": self.file,
            "pack": None if edition is None else edition.pack,
            "edition": None if edition is None else edition.edition,
            "sha256": None if edition is None else edition.sha256,
            "beside": [f"{other.pack} {other.edition}" for other in self.beside],
            "status": self.status,
            "faults": [asdict(fault) for fault in self.faults],
            "examples": [asdict(example) for example in self.examples],
            "capability": [
                {"name": one.name, "line": one.line, "text": one.text, "never": one.never}
                for one in self.capability
            ],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Company:
    """What stands beside the files: packs in force, packs from files, and the group's methods."""

    in_force: tuple[PackEdition, ...]
    from_files: tuple[PackEdition, ...]
    methods: GroupMethods | None

    def of(self, edition: PackEdition) -> tuple[PackEdition, ...]:
        """One edition of every other pack: a file given goes before one in force, the latest first."""
        best: dict[str, PackEdition] = {}
        for other in (*self.in_force, *sorted(self.from_files, key=lambda one: one.edition)):
            if other.pack != edition.pack:
                best[other.pack] = other
        return tuple(best[name] for name in sorted(best))


class Command(BaseCommand):
    """Exit status 0: no fault, warnings perhaps; 1: faults; 2: a file is missing or no pack text at all."""

    help = (
        "Reads packs strictly, looks for faults, runs their examples, and says what the group's methods "
        "leave of each limit. Files given together stand beside each other; packs that one builds on are "
        "also looked for in its folder."
    )
    requires_system_checks: list[str] = []  # noqa: RUF012 - Django's own attribute

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
        parser.add_argument("--org", help="name of the group on record: its packs in force and its methods")
        parser.add_argument("--methods", type=Path, help="file of a group's methods, in place of the record")
        parser.add_argument("--on", type=date.fromisoformat, help="day of the certificates (default: today)")
        parser.add_argument("--json", action="store_true", help="print the result as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        read = [_read(path) for path in options["files"]]
        editions = tuple(one.edition for one in read if one.edition is not None)
        company = self._company(editions, options)
        checked = [_check(one, company) for one in read]
        status = max(one.status for one in checked)
        if options["json"]:
            shown = {"status": status, "files": [one.to_plain() for one in checked]}
            self.stdout.write(json.dumps(shown, indent=2, ensure_ascii=False))
        else:
            for one in checked:
                self._tell(one, with_methods=company.methods is not None)
        raise SystemExit(status)

    def _company(self, editions: tuple[PackEdition, ...], options: dict[str, Any]) -> Company:
        on = options["on"] or moment.now().date()
        methods = _methods(options["methods"]) if options["methods"] else None
        in_force: tuple[PackEdition, ...] = ()
        if options["org"]:
            organisation = _organisation(options["org"])
            with scope(organisation.pk):
                in_force = pack_set(organisation).in_force(on)
                methods = methods or group_methods(organisation, on=on)
        found = _foundations(editions, [path.parent for path in options["files"]])
        return Company(in_force=in_force, from_files=(*found, *editions), methods=methods)

    def _tell(self, checked: Checked, *, with_methods: bool) -> None:
        edition = checked.edition
        if edition is None:
            self.stdout.write(f"{checked.file}: cannot be used")
        else:
            self.stdout.write(f"{checked.file}: {edition.pack} {edition.edition}, {edition.title}")
            names = [f"{other.pack} {other.edition}" for other in checked.beside]
            self.stdout.write(f"  beside it: {', '.join(names) or 'no other pack'}")
            passed = sum(example.outcome == "ok" for example in checked.examples)
            self.stdout.write(f"  examples: {passed} of {len(checked.examples)} come out as written")
        for severity, title in (("error", "faults"), ("warning", "warnings")):
            some = [fault for fault in checked.faults if fault.severity == severity]
            self.stdout.write(f"  {title}: {len(some) or 'none'}")
            for fault in some:
                self.stdout.write(fault.told(checked.file))
        if checked.capability:
            self.stdout.write("  what the methods leave:")
            for one in checked.capability:
                self.stdout.write(f"    {one.text}")
        elif edition is not None and not with_methods:
            self.stdout.write("  what the methods leave: not looked at; give --org or --methods")


def _read(path: Path) -> Checked:
    try:
        edition = read_pack(path.read_bytes(), name=str(path))
    except PackError as error:
        return Checked(file=str(path), edition=None, faults=error.faults, unreadable=error.unreadable)
    except OSError as error:
        fault = Fault(1, f"the file cannot be opened: {error.strerror}", "file_missing", "a file", str(path))
        return Checked(file=str(path), edition=None, faults=(fault,), unreadable=True)
    return Checked(file=str(path), edition=edition, faults=())


def _check(read: Checked, company: Company) -> Checked:
    edition = read.edition
    if edition is None:
        return read
    beside = company.of(edition)
    methods = company.methods
    z = decision_factor((edition, *beside))
    return Checked(
        file=read.file,
        edition=edition,
        beside=beside,
        faults=review(edition, beside, methods),
        examples=run_examples(edition, beside),
        capability=() if methods is None else capabilities(edition, methods, z),
    )


def _foundations(editions: tuple[PackEdition, ...], folders: list[Path]) -> tuple[PackEdition, ...]:
    """Packs that the given ones build on and that lie in the same folder, as NAME.EDITION.yaml."""
    given = {edition.pack for edition in editions}
    wanted = {name for edition in editions for name, _ in edition.builds_on if name not in given}
    found = []
    for folder in dict.fromkeys(folders):
        for name in sorted(wanted):
            for path in sorted(folder.glob("*.yaml")):
                if path.name.startswith(f"{name}."):
                    read = _read(path)
                    found += [read.edition] if read.edition is not None else []
    return tuple(found)


def _methods(path: Path) -> GroupMethods:
    try:
        return read_methods(path.read_bytes(), name=str(path))
    except PackError as error:
        told = "\n".join(fault.told(str(path)) for fault in error.faults)
        raise CommandError(f"The methods cannot be used.\n{told}", returncode=UNREADABLE) from error
    except OSError as error:
        raise CommandError(f"{path}: {error.strerror}", returncode=UNREADABLE) from error


def _organisation(name: str) -> Organisation:
    found = list(Organisation.objects.filter(name__istartswith=name)[:2])
    exact = [one for one in found if one.name.lower() == name.lower()]
    if len(exact) == 1 or len(found) == 1:
        return (exact or found)[0]
    known = ", ".join(Organisation.objects.order_by("name").values_list("name", flat=True)[:10])
    raise CommandError(f'No one group is called "{name}". On record: {known}', returncode=UNREADABLE)
