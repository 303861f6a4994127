"""The estimate's lines and what they mean, the operations done, and the closing of their list."""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.models import Max

from jobs.access import Actor
from jobs.errors import Conflict, VersionConflict
from jobs.models import EstimateLine, EstimateMapping, Job, OperationDone, OperationsClosing
from jobs.services import assessment_queue, moments, recording, references, values
from jobs.services.values import refused
from rules.vocabulary import SENSORS, is_operation_name

SHORTEST_REASON: Final = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class LineEntry:
    id: UUID
    line_no: int
    text: str
    source_file: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MappingEntry:
    """What a line means: operations, or that it touches nothing.

    ``version`` is the one that was read (0: none yet).
    """

    version: int
    operations: tuple[str, ...] = ()
    touches_nothing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OperationEntry:
    """One operation done; ``by`` is a login (empty: the actor)."""

    id: UUID
    operation: str
    at: str = ""
    device: UUID | None = None
    zone_detail: str = ""
    started_at: str = ""
    done_at: str = ""
    found_later: bool = False
    by: str = ""
    estimate_line: UUID | None = None
    evidence: tuple[UUID, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosingEntry:
    id: UUID
    at: str = ""
    device: UUID | None = None


@transaction.atomic
def add_line(*, job: Job, actor: Actor, as_of: datetime, entry: LineEntry) -> EstimateLine:
    """Adds an estimate line; an added line is unmapped, so a closed list opens again.

    Codes: bad_number, line_number_taken, text_length.
    """
    recording.require_role(actor, *recording.FLOOR_ROLES)
    if not 1 <= entry.line_no <= 10_000:
        raise refused("bad_number", "line_no", "line_no is a whole number from 1.")
    taken = EstimateLine.objects.filter(job=job, line_no=entry.line_no, ended_at__isnull=True)
    if taken.exclude(pk=entry.id).exists():
        raise Conflict("line_number_taken", f"The estimate has a line {entry.line_no} already.")
    line = EstimateLine(
        id=entry.id,
        line_no=entry.line_no,
        text=values.read_text(entry.text, "text"),
        source_file=values.read_text(entry.source_file, "source_file", shortest=0, longest=200),
    )
    is_new = not EstimateLine.objects.filter(pk=entry.id).exists()
    kept = recording.keep(line, job=job, actor=actor, as_of=as_of, what="estimate.line_added")
    if is_new:
        _reopen(job, actor=actor, as_of=as_of, reason=f"Estimate line {entry.line_no} was added.")
    return kept


@transaction.atomic
def map_line(
    *, job: Job, line: EstimateLine, actor: Actor, as_of: datetime, entry: MappingEntry
) -> EstimateLine:
    """Says what a line means; a new mapping is a new row, the last counts.

    Raises:
        Refused: ``mapping_empty``, ``mapping_both``, ``unknown_operation``.
        VersionConflict: the line was mapped by somebody else meanwhile.
    """
    recording.require_role(actor, *recording.FLOOR_ROLES)
    recording.require_not_archived(job)
    operations = _checked_mapping(entry)
    moved = EstimateLine.objects.filter(
        pk=line.pk, job=job, version=entry.version, ended_at__isnull=True
    ).update(version=entry.version + 1)
    if moved != 1:
        raise VersionConflict
    mapping = EstimateMapping(
        line=line,
        version=entry.version + 1,
        operations=operations,
        touches_nothing=entry.touches_nothing,
        mapped_by=actor.person,
    )
    recording.keep(mapping, job=job, actor=actor, as_of=as_of, what="estimate.line_mapped")
    _reopen(job, actor=actor, as_of=as_of, reason=f"Estimate line {line.line_no} was mapped anew.")
    line.refresh_from_db()
    return line


def _checked_mapping(entry: MappingEntry) -> list[str]:
    if entry.touches_nothing and entry.operations:
        raise refused("mapping_both", "operations", "A line that touches nothing means no operation.")
    if not entry.touches_nothing and not entry.operations:
        raise refused(
            "mapping_empty", "operations", "Name the operations, or say that the line touches nothing."
        )
    return [
        _operation(name, f"operations[{place}]") for place, name in enumerate(dict.fromkeys(entry.operations))
    ]


def _operation(name: str, field: str) -> str:
    if not is_operation_name(name) or len(name) > 80:
        raise refused("unknown_operation", field, f"{field} is none of the operation names.")
    return name


@transaction.atomic
def record_operation(*, job: Job, actor: Actor, as_of: datetime, entry: OperationEntry) -> OperationDone:
    """Keeps an operation that was done. One that no mapped line names opens a closed list again.

    Codes: unknown_operation, bad_choice, times_backwards, unknown_reference and those of moments.
    """
    recording.require_role(actor, *recording.FLOOR_ROLES)
    device = references.device(actor, entry.device, "device")
    started = moments.read_optional(entry.started_at, field="started_at", device=device, as_of=as_of)
    done_text = entry.done_at or (entry.at if not entry.started_at else "")
    done = moments.read_optional(done_text, field="done_at", device=device, as_of=as_of)
    if started is not None and done is not None and done.reading < started.reading:
        raise refused("times_backwards", "done_at", "done_at is earlier than started_at.")
    operation = OperationDone(
        id=entry.id,
        operation=_operation(entry.operation, "operation"),
        zone_detail=values.read_choice(entry.zone_detail, ("", *SENSORS), "zone_detail"),
        started=started,
        done=done,
        done_by=references.person(actor, entry.by, "by"),
        estimate_line=_line(job, entry.estimate_line),
        found_later=entry.found_later,
        device=device,
        evidence=references.evidence(job, entry.evidence),
    )
    is_planned = _done_once_more(job, entry) <= _planned_counts(job)[entry.operation]
    is_new = not OperationDone.objects.filter(pk=entry.id).exists()
    kept = recording.keep(operation, job=job, actor=actor, as_of=as_of, what="operation.recorded")
    if is_new and not is_planned:
        _reopen(job, actor=actor, as_of=as_of, reason=f"{entry.operation} was added after the closing.")
    return kept


def _line(job: Job, line_id: UUID | None) -> EstimateLine | None:
    if line_id is None:
        return None
    line = EstimateLine.objects.filter(job=job, pk=line_id).first()
    if line is None:
        raise refused("unknown_reference", "estimate_line", "estimate_line names no line of this job.")
    return line


def latest_mappings(job: Job) -> dict[UUID, EstimateMapping]:
    """The mapping that counts of each line, by line id."""
    rows = EstimateMapping.objects.filter(job=job, ended_at__isnull=True).order_by("version")
    return {row.line_id: row for row in rows}


def planned_operations(job: Job) -> set[str]:
    """Every operation that a live mapped line names."""
    return set(_planned_counts(job))


def _planned_counts(job: Job) -> Counter[str]:
    """How many live mapped lines name each operation."""
    live = set(EstimateLine.objects.filter(job=job, ended_at__isnull=True).values_list("pk", flat=True))
    return Counter(
        name
        for line_id, mapping in latest_mappings(job).items()
        if line_id in live
        for name in mapping.operations
    )


def _done_once_more(job: Job, entry: OperationEntry) -> int:
    """How often the operation is on record as done, this time among them."""
    done = OperationDone.objects.filter(job=job, operation=entry.operation, ended_at__isnull=True)
    return done.exclude(pk=entry.id).count() + 1


def unmapped_lines(job: Job) -> list[int]:
    """Line numbers that nobody has said the meaning of, in order."""
    lines = EstimateLine.objects.filter(job=job, ended_at__isnull=True, version=0)
    return list(lines.order_by("line_no").values_list("line_no", flat=True))


@transaction.atomic
def withdraw_operation(
    *, job: Job, operation: OperationDone, actor: Actor, as_of: datetime, reason: str
) -> OperationDone:
    """Takes an operation off the list; it stays visible with author and reason, and a closed list
    opens again."""
    recording.require_role(actor, *recording.FLOOR_ROLES)
    recording.require_not_archived(job)
    text = values.read_text(reason, "reason", shortest=SHORTEST_REASON)
    recording.end_record(operation, actor=actor, as_of=as_of, how="withdrawn", reason=text)
    recording.log(
        actor=actor, as_of=as_of, what="operation.withdrawn", job=job, detail={"operation": str(operation.pk)}
    )
    _reopen(job, actor=actor, as_of=as_of, reason=f"{operation.operation} was withdrawn.")
    assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)
    return operation


@transaction.atomic
def close_operations(*, job: Job, actor: Actor, as_of: datetime, entry: ClosingEntry) -> OperationsClosing:
    """A named person says the list of operations is whole.

    Raises:
        Conflict: ``lines_unmapped`` (``lines``: their numbers), ``already_closed``.
    """
    recording.require_role(actor, *recording.FLOOR_ROLES)
    Job.objects.select_for_update().get(pk=job.pk)
    lines = unmapped_lines(job)
    if lines:
        raise Conflict(
            "lines_unmapped",
            "Say of each line which operations it means, or that it touches nothing: "
            + ", ".join(map(str, lines))
            + ".",
            lines=lines,
        )
    standing = OperationsClosing.objects.filter(job=job, ended_at__isnull=True).first()
    if standing is not None and standing.pk != entry.id:
        raise Conflict("already_closed", "The list of operations is closed.")
    device = references.device(actor, entry.device, "device")
    closing = OperationsClosing(
        id=entry.id,
        at=moments.read_or_now(entry.at, field="at", device=device, as_of=as_of),
        device=device,
        closed_by=actor.person,
    )
    kept = recording.keep(closing, job=job, actor=actor, as_of=as_of, what="operations.closed")
    if job.plan_fixed_at is None:
        Job.objects.filter(pk=job.pk).update(plan_fixed_at=as_of)
        job.plan_fixed_at = as_of
    return kept


@transaction.atomic
def reopen_operations(*, job: Job, actor: Actor, as_of: datetime, reason: str) -> OperationsClosing:
    """Opens a closed list again. ``Conflict`` ``not_closed`` if it is open."""
    recording.require_role(actor, *recording.FLOOR_ROLES)
    recording.require_not_archived(job)
    text = values.read_text(reason, "reason", shortest=SHORTEST_REASON)
    closing = _reopen(job, actor=actor, as_of=as_of, reason=text)
    if closing is None:
        raise Conflict("not_closed", "The list of operations is open.")
    assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)
    return closing


def _reopen(job: Job, *, actor: Actor, as_of: datetime, reason: str) -> OperationsClosing | None:
    closing = OperationsClosing.objects.select_for_update().filter(job=job, ended_at__isnull=True).first()
    if closing is None:
        return None
    recording.end_record(closing, actor=actor, as_of=as_of, how="withdrawn", reason=reason)
    Job.objects.filter(pk=job.pk).update(plan_fixed_at=None)
    job.plan_fixed_at = None
    recording.log(
        actor=actor, as_of=as_of, what="operations.reopened", job=job, detail={"closing": str(closing.pk)}
    )
    return closing


def next_line_no(job: Job) -> int:
    """A free number for a line that is typed in."""
    highest = EstimateLine.objects.filter(job=job).aggregate(highest=Max("line_no"))["highest"]
    return int(highest or 0) + 1
