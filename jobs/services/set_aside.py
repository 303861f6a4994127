"""Evidence that counts no longer: it stays in the record and is printed as rejected."""

from datetime import datetime
from typing import Any, Final

from django.db import models, transaction

from jobs.access import Actor
from jobs.errors import Conflict
from jobs.models import Evidence, FittedWay, IdentityReading, Job, PhotoDecision, Reading, Scan
from jobs.services import assessment_queue, recording, values

SHORTEST_REASON: Final = 10
DECISIONS: Final = ("same picture", "different")
_TAKEN_FROM_FILES: Final[tuple[type[models.Model], ...]] = (Scan, Reading, IdentityReading, FittedWay)


@transaction.atomic
def set_aside_evidence(
    *, job: Job, evidence: Evidence, actor: Actor, as_of: datetime, reason: str
) -> Evidence:
    """Sets a file aside, and with it every scan, reading, identity reading or fitted way taken from it.

    Raises:
        NotAllowed: ``role_missing`` (quality_reviewer only).
        Conflict: ``already_ended``, ``job_archived``.
        Refused: ``text_length`` (at least ten characters of reason).
    """
    recording.require_role(actor, "quality_reviewer")
    recording.require_not_archived(job)
    text = values.read_text(reason, "reason", shortest=SHORTEST_REASON)
    recording.end_record(evidence, actor=actor, as_of=as_of, how="set_aside", reason=text)
    taken = []
    for model in _TAKEN_FROM_FILES:
        rows: models.Manager[Any] = model._default_manager
        for row in rows.filter(job=job, ended_at__isnull=True):
            if str(evidence.pk) in row.evidence:
                recording.end_record(row, actor=actor, as_of=as_of, how="set_aside", reason=text)
                taken.append(str(row.pk))
    assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)
    _judge_others(evidence, job=job, actor=actor, as_of=as_of)
    recording.log(
        actor=actor,
        as_of=as_of,
        what="evidence.set_aside",
        job=job,
        detail={"evidence": str(evidence.pk), "sha256": evidence.sha256, "with_it": taken, "reason": text},
    )
    return evidence


def _judge_others(evidence: Evidence, *, job: Job, actor: Actor, as_of: datetime) -> None:
    """The same bytes on another open job are no longer used twice."""
    others = (
        Job.objects.filter(evidences__sha256=evidence.sha256).exclude(pk=job.pk).exclude(state="archived")
    )
    for other in others.distinct():
        assessment_queue.judge_soon(job=other, actor=actor, as_of=as_of)


@transaction.atomic
def decide_reuse(
    *, job: Job, evidence: Evidence, other: Evidence, actor: Actor, as_of: datetime, decision: str
) -> PhotoDecision:
    """A reviewer looked at two pictures side by side: ``same picture`` or ``different``.

    Raises:
        Conflict: ``same_job`` where both are of one job: a burst of shots needs no decision.
    """
    recording.require_role(actor, "quality_reviewer")
    if other.job_id == evidence.job_id:
        raise Conflict("same_job", "Both pictures belong to this job.")
    row = PhotoDecision(
        photo=evidence,
        other=other,
        decision=values.read_choice(decision, DECISIONS, "decision"),
        decided_by=actor.person,
    )
    recording.stamp(row, actor=actor, as_of=as_of)
    recording.insert(row)
    assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)
    if other.job is not None:
        assessment_queue.judge_soon(job=other.job, actor=actor, as_of=as_of)
    detail = {"photo": str(evidence.pk), "other": str(other.pk), "decision": decision}
    recording.log(actor=actor, as_of=as_of, what="photo.compared", job=job, detail=detail)
    return row
