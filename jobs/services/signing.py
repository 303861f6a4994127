"""What a signature covers at this moment, and the row that says so."""

from datetime import datetime
from uuid import UUID

from jobs.access import Actor
from jobs.models import Assessment, Job, RecordedMoment, SignOff
from jobs.services import recording
from rules.facts import JobFacts
from rules.merkle import covers_root
from rules.sign_offs import covers_of


def keep_sign_off(  # noqa: PLR0913 - a signature's own parts
    *,
    sign_off_id: UUID,
    role: str,
    statement_version: str,
    facts: JobFacts,
    job: Job,
    actor: Actor,
    as_of: datetime,
    assessment: Assessment | None = None,
) -> SignOff:
    """Signs everything that the record holds at ``as_of``, by the server's own time."""
    covers = covers_of(facts, as_of)
    sign_off = SignOff(
        id=sign_off_id,
        role=role,
        person=actor.person,
        at=RecordedMoment.exact(as_of),
        covers=list(covers),
        covers_root=covers_root(covers),
        statement_version=statement_version,
        reauthenticated=True,
        assessment=assessment,
        device=actor.device,
    )
    return recording.keep(sign_off, job=job, actor=actor, as_of=as_of, what=f"{role}.signed")
