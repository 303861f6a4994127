"""A bonded pane is set: when, by whom, which glass, which batches, in what climate."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from jobs.access import Actor
from jobs.models import GlassSet, Job, OperationDone
from jobs.services import moments, recording, references, values
from jobs.services.values import refused

GLASS_ROLES: Final = ("glass_installer", "technician", "guest_calibrator")


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchEntry:
    product: str
    batch: str
    expires_on: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class GlassSetEntry:
    """``set_at``: RFC 3339, or ``hh:mm`` local meaning "not later than"; ``at`` is when it was
    written down."""

    id: UUID
    operation: UUID
    set_at: str
    glass_maker: str
    glass_part_number: str
    at: str
    device: UUID | None = None
    set_by: str = ""
    adhesive: BatchEntry | None = None
    primer: BatchEntry | None = None
    climate_log: UUID | None = None
    evidence: tuple[UUID, ...] = ()


def record_glass_set(*, job: Job, actor: Actor, as_of: datetime, entry: GlassSetEntry) -> GlassSet:
    """Keeps the setting of one pane.

    Codes: role_missing, unknown_reference (operation, set_by, climate_log), set_after_record, text_length,
    bad_date, and those of moments.
    """
    recording.require_role(actor, *GLASS_ROLES)
    operation = OperationDone.objects.filter(job=job, pk=entry.operation, ended_at__isnull=True).first()
    if operation is None:
        raise refused("unknown_reference", "operation", "operation names no operation of this job.")
    device = references.device(actor, entry.device, "device")
    written = moments.read_moment(entry.at, field="at", device=device, as_of=as_of)
    set_at = moments.read_set_at(
        entry.set_at,
        recorded_at=written.reading,
        zone=ZoneInfo(job.location.tz),
        device=device,
        as_of=as_of,
    )
    if set_at.reading > written.reading:
        raise refused("set_after_record", "set_at", "set_at is later than the time it was written down.")
    glass = GlassSet(
        id=entry.id,
        operation=operation,
        set_at=set_at,
        set_by=references.person(actor, entry.set_by, "set_by"),
        glass_maker=values.read_text(entry.glass_maker, "glass_maker", longest=80),
        glass_part_number=values.read_text(entry.glass_part_number, "glass_part_number", longest=80),
        adhesive=_batch(entry.adhesive, "adhesive"),
        primer=_batch(entry.primer, "primer"),
        climate_log=references.evidence_file(job, entry.climate_log, "climate_log", kind="climate_log"),
        device=device,
        evidence=references.evidence(job, entry.evidence),
    )
    return recording.keep(glass, job=job, actor=actor, as_of=as_of, what="glass.set")


def _batch(entry: BatchEntry | None, field: str) -> dict[str, str | None] | None:
    if entry is None:
        return None
    expires_on = values.read_day(entry.expires_on, f"{field}.expires_on") if entry.expires_on else None
    return {
        "product": values.read_text(entry.product, f"{field}.product", longest=80),
        "batch": values.read_text(entry.batch, f"{field}.batch", longest=80),
        "expires_on": expires_on.isoformat() if expires_on is not None else None,
    }
