"""Which sensors the vehicle has, one way of knowing at a time."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from jobs.access import Actor
from jobs.models import FittedWay, Job
from jobs.services import moments, recording, references, values
from rules.vocabulary import FITTED_WAYS, SENSORS


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedEntry:
    """``state`` yes, no or unknown; two different ways make it final."""

    id: UUID
    sensor: str
    state: str
    way: str
    at: str
    device: UUID | None = None
    evidence: tuple[UUID, ...] = ()


def record_fitted(*, job: Job, actor: Actor, as_of: datetime, entry: FittedEntry) -> FittedWay:
    """Keeps one way of knowing about one sensor.

    Codes: bad_choice, unknown_reference and those of moments.
    """
    recording.require_role(actor, *recording.FLOOR_ROLES)
    device = references.device(actor, entry.device, "device")
    way = FittedWay(
        id=entry.id,
        sensor=values.read_choice(entry.sensor, SENSORS, "sensor"),
        state=values.read_choice(entry.state, ("yes", "no", "unknown"), "state"),
        way=values.read_choice(entry.way, FITTED_WAYS, "way"),
        at=moments.read_moment(entry.at, field="at", device=device, as_of=as_of),
        device=device,
        evidence=references.evidence(job, entry.evidence),
        found_by=actor.person,
    )
    return recording.keep(way, job=job, actor=actor, as_of=as_of, what="fitted.found")
