"""How every service keeps a record: role, state of the job, same id twice, content hash, row, log
entry, work."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any, Final, TypeVar
from uuid import UUID

from django.db import IntegrityError, models, transaction

from jobs.access import Actor
from jobs.errors import Conflict, NotAllowed
from jobs.ledger.append import append
from jobs.models import Job, JobRecord, Record, RecordedMoment
from jobs.services import assessment_queue
from rules.canonical import canonical_bytes, sha256_hex

RecordT = TypeVar("RecordT", bound=Record)

FLOOR_ROLES: Final = (
    "technician",
    "glass_installer",
    "estimator",
    "location_manager",
    "quality_reviewer",
    "quality_manager",
    "operations_manager",
    "guest_calibrator",
)
# Bookkeeping around a record is no part of its content.
_NOT_CONTENT: Final = frozenset(
    {
        "content_sha256", "received_at", "created_at", "created_by", "organisation", "ended_at",
        "ended_how", "ended_by", "ended_reason", "version", "end_received_at", "back_received_at",
    }
)  # fmt: skip
# What the server worked out at receipt: content, but nothing that the same id must repeat.
_WORKED_OUT: Final = frozenset({"u", "u_from", "u_common", "attempt", "covers", "covers_root", "assessment"})
# Written once over empty fields after the record was made: content of the row, but no part of what the same
# id must repeat.
_WRITTEN_LATER: Final = {
    "session": frozenset({"ended", "result", "result_text", "results", "device_software"}),
    "certificate": frozenset({"confirmed_by"}),
    "bayfloorsurvey": frozenset({"voided_at", "void_reason", "void_recorded_at", "computed", "u_z_mm"}),
}


def require_role(actor: Actor, *roles: str) -> None:
    """Raises ``NotAllowed`` ``role_missing`` unless the actor holds one of ``roles``."""
    if not set(roles) & set(actor.roles):
        raise NotAllowed("role_missing", "This needs one of the roles: " + ", ".join(roles) + ".")


def require_not_archived(job: Job) -> None:
    """A finished record gets dated additions elsewhere, never new rows: ``Conflict`` ``job_archived``."""
    if job.state == "archived":
        raise Conflict("job_archived", "This job is archived; nothing can be added to it.")


def content_of(record: models.Model) -> dict[str, object]:
    """The recorded content of a row as plain data: what a signature over it covers."""
    content: dict[str, object] = {"record": type(record)._meta.model_name or ""}
    for field in record._meta.concrete_fields:
        if field.name not in _NOT_CONTENT:
            content[field.name] = plain(getattr(record, field.attname))
    return content


def _claim_of(record: models.Model) -> dict[str, object]:
    """The part of the content that the sender stated: without the server's own moments and made-up
    clock names."""
    own = _WORKED_OUT | _WRITTEN_LATER.get(type(record)._meta.model_name or "", frozenset())
    claim = {name: value for name, value in content_of(record).items() if name not in own}
    for name, value in claim.items():
        if isinstance(value, dict) and set(value) == {"text", "clock", "reading"}:
            clock = str(value["clock"])
            claim[name] = None if clock == "server" else value["text"]
    return claim


def plain(value: Any) -> object:
    """A column's value as JSON-able data; a moment is what was received, by whose clock, and what
    that showed."""
    if isinstance(value, RecordedMoment):
        return {"text": value.text, "clock": value.clock, "reading": value.reading.isoformat()}
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, bytes | memoryview):
        return sha256_hex(bytes(value))
    return value


def content_hash(record: models.Model) -> str:
    """SHA-256 of the canonical form of ``content_of``."""
    return sha256_hex(canonical_bytes(content_of(record)))


def stamp(record: RecordT, *, actor: Actor, as_of: datetime) -> RecordT:
    """Fills receipt, author, organisation and content hash of a row that was built but not saved."""
    record.organisation = actor.organisation
    record.received_at = as_of
    record.created_by = actor.person
    record.content_sha256 = content_hash(record)
    return record


def repeated(record: RecordT) -> RecordT | None:
    """The row that this id already has, if it has the same content.

    Raises:
        Conflict: ``id_in_use`` where the same id carries other content.
    """
    rows: models.Manager[RecordT] = type(record).objects
    kept = rows.filter(pk=record.pk).first()
    if kept is None:
        return None
    if _claim_of(kept) != _claim_of(record):
        raise id_in_use()
    return kept


def id_in_use() -> Conflict:
    return Conflict("id_in_use", "This id was used before for something else.")


def insert(record: models.Model) -> None:
    """Saves a new row; an id that another organisation holds is told like any other used one."""
    try:
        with transaction.atomic():
            record.save(force_insert=True)
    except IntegrityError as error:
        if type(record)._base_manager.filter(pk=record.pk).exists():
            raise id_in_use() from error
        raise


@transaction.atomic
def keep(record: RecordT, *, job: Job, actor: Actor, as_of: datetime, what: str) -> RecordT:
    """Keeps one record of a job: row, log entry and the work of judging anew, in one transaction.

    Sending the same id with the same content again changes nothing and gives the row that is there.
    """
    (kept,) = keep_all((record,), job=job, actor=actor, as_of=as_of, what=what)
    return kept


@transaction.atomic
def keep_all(
    records: Iterable[RecordT], *, job: Job, actor: Actor, as_of: datetime, what: str
) -> tuple[RecordT, ...]:
    """Like ``keep`` for several records of one kind under one log entry."""
    require_not_archived(job)
    kept: list[RecordT] = []
    new: list[RecordT] = []
    for record in records:
        if isinstance(record, JobRecord):
            record.job = job
        stamp(record, actor=actor, as_of=as_of)
        there = repeated(record)
        kept.append(there or record)
        if there is None:
            insert(record)
            new.append(record)
    if new:
        detail = {"records": [{"id": str(row.pk), "sha256": row.content_sha256} for row in new]}
        assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)
        # The log's head row stays locked until the transaction ends, so it comes last.
        log(actor=actor, as_of=as_of, what=what, job=job, detail=detail)
    return tuple(kept)


def log(*, actor: Actor, as_of: datetime, what: str, job: Job, detail: dict[str, Any]) -> None:
    """One log entry about a job, in the caller's transaction."""
    log_about(
        actor=actor, as_of=as_of, what=what, target=f"job/{job.pk}", detail={"job": job.number, **detail}
    )


def log_about(*, actor: Actor, as_of: datetime, what: str, target: str, detail: dict[str, Any]) -> None:
    """One log entry about anything else, in the caller's transaction."""
    append(
        organisation=actor.organisation,
        at=as_of,
        who=actor.person.login,
        device=str(actor.device.pk) if actor.device is not None else "",
        what=what,
        target=target,
        detail=detail,
    )


def end_record(record: Record, *, actor: Actor, as_of: datetime, how: str, reason: str) -> None:
    """Ends a record once; ``Conflict`` ``already_ended`` if it was ended before, by whomever."""
    rows: models.Manager[Any] = type(record).objects
    moved = rows.filter(pk=record.pk, ended_at__isnull=True).update(
        ended_at=as_of, ended_how=how, ended_by=actor.person, ended_reason=reason
    )
    if moved != 1:
        raise Conflict("already_ended", "This record was set aside, corrected or withdrawn before.")
    record.refresh_from_db()
