"""What is to be said of an edition on file before it takes effect: faults, warnings, and how it differs."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from jobs.errors import Refused
from jobs.facts import edition_of, pack_set
from jobs.facts.methods import group_methods
from jobs.models import Organisation, PackAcknowledgement, PackEditionOnFile
from rules.pack_review import errors_of, review
from rules.packs.difference import Difference, differences
from rules.packs.errors import Fault, PackError
from rules.packs.model import PackEdition


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Attributes:
    open_names: names of warnings that nobody has acknowledged for this very text.
    """

    errors: tuple[Fault, ...]
    warnings: tuple[Fault, ...]
    acknowledged: tuple[PackAcknowledgement, ...]
    open_names: tuple[str, ...]

    @property
    def may_be_approved(self) -> bool:
        return not self.errors and not self.open_names


def readable(row: PackEditionOnFile) -> PackEdition:
    """The edition in the row's bytes. Raises ``Refused`` ``pack_faulty`` where it cannot be read."""
    try:
        return edition_of(row)
    except PackError as error:
        raise faulty(error.faults) from error


def faulty(faults: tuple[Fault, ...]) -> Refused:
    """The refusal with every fault, its line, and what was expected and found there."""
    listed = [
        {
            "line": fault.line,
            "code": fault.code,
            "message": fault.message,
            "expected": fault.expected,
            "found": fault.found,
        }
        for fault in faults
    ]
    return Refused("pack_faulty", "The pack has faults; nothing was published.", faults=listed)


def report_on(row: PackEditionOnFile, *, as_of: datetime) -> Report:
    """Linter and examples in the company of the packs that will be in force beside it, and what the group's
    own instruments can show of its limits.

    Raises:
        Refused: ``pack_faulty`` where the text cannot be read at all.
    """
    edition = readable(row)
    organisation = row.organisation
    beside = _beside(organisation, edition)
    today = as_of.astimezone(ZoneInfo(organisation.default_tz)).date()
    faults = review(edition, beside, group_methods(organisation, on=today))
    errors = errors_of(faults)
    warnings = tuple(fault for fault in faults if fault not in errors)
    acknowledged = tuple(
        PackAcknowledgement.objects.filter(edition_on_file=row, sha256=row.sha256)
        .select_related("by")
        .order_by("at", "id")
    )
    known = {item.name for item in acknowledged}
    names = dict.fromkeys(fault.name for fault in warnings)
    return Report(
        errors=errors,
        warnings=warnings,
        acknowledged=acknowledged,
        open_names=tuple(name for name in names if name not in known),
    )


def _beside(organisation: Organisation, edition: PackEdition) -> tuple[PackEdition, ...]:
    on_its_day = pack_set(organisation).in_force(edition.in_force_from)
    return tuple(item for item in on_its_day if item.pack != edition.pack)


def edition_before(row: PackEditionOnFile) -> PackEditionOnFile | None:
    """The edition that this one follows: the last published one of the pack with a lower number."""
    rows = PackEditionOnFile.objects.filter(
        organisation_id=row.organisation_id, pack=row.pack, edition__lt=row.edition
    )
    return rows.exclude(state="draft").order_by("-edition").first()


def difference_on(row: PackEditionOnFile) -> tuple[PackEditionOnFile | None, tuple[Difference, ...]]:
    """The edition before it and every change from there in plain words; nothing where it is the first."""
    before = edition_before(row)
    if before is None:
        return None, ()
    return before, differences(readable(before), readable(row))
