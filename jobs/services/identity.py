"""Which vehicle it is: one reading of its number at a time."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from jobs.access import Actor
from jobs.models import IdentityReading, Job
from jobs.services import moments, recording, references, values
from rules.vocabulary import IDENTITY_WAYS


@dataclass(frozen=True, slots=True, kw_only=True)
class IdentityEntry:
    """``vin_read`` exactly as read, faults included: judging it is not the reader's business."""

    id: UUID
    way: str
    vin_read: str
    at: str
    device: UUID | None = None
    module: str = ""
    evidence: tuple[UUID, ...] = ()


def record_identity(*, job: Job, actor: Actor, as_of: datetime, entry: IdentityEntry) -> IdentityReading:
    """Keeps one reading of the VIN.

    Codes: bad_choice, text_length, unknown_reference and those of moments.
    """
    recording.require_role(actor, *recording.FLOOR_ROLES)
    device = references.device(actor, entry.device, "device")
    reading = IdentityReading(
        id=entry.id,
        way=values.read_choice(entry.way, IDENTITY_WAYS, "way"),
        vin_read=values.read_text(entry.vin_read, "vin_read", longest=40),
        module=values.read_text(entry.module, "module", shortest=0, longest=80),
        at=moments.read_moment(entry.at, field="at", device=device, as_of=as_of),
        device=device,
        evidence=references.evidence(job, entry.evidence),
        read_by=actor.person,
    )
    return recording.keep(reading, job=job, actor=actor, as_of=as_of, what="identity.read")
