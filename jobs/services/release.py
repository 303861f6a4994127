"""The release gate: computed at the moment of the signature, and signed only where it is open."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final
from uuid import UUID

from django.db import transaction

from jobs.access import Actor
from jobs.errors import Conflict
from jobs.facts import job_facts, pack_set
from jobs.models import Job, SignOff
from jobs.services import assessment, assessment_queue, pins, recording, signing, values
from rules import assess as judge
from rules.gate import open_findings
from rules.result import Assessment as Judgement

DEFAULT_STATEMENT: Final = "release-1"
_DEFAULT_RELEASE_ROLES: Final = ("location_manager", "quality_manager", "operations_manager")
_GONE: Final = ("delivered", "archived")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseEntry:
    id: UUID
    pin: str
    statement_version: str = DEFAULT_STATEMENT


def release_job(*, job: Job, actor: Actor, as_of: datetime, entry: ReleaseEntry) -> SignOff:
    """Signs the release, if the gate is open at ``as_of`` by everything the server holds then.

    Raises:
        NotAllowed: ``role_missing`` (the organisation's release roles), ``pin_wrong``, ``pin_locked``.
        Conflict: ``release_not_open`` with ``open`` (every proof in the way, what would change it, when it
            can
            be settled) and ``cannot_tell``; ``job_gone`` once the car was delivered.
    """
    recording.require_role(actor, *(job.organisation.release_roles or _DEFAULT_RELEASE_ROLES))
    statement = values.read_text(entry.statement_version, "statement_version", longest=80)
    pins.check_pin(actor=actor, as_of=as_of, pin=entry.pin)
    with transaction.atomic():
        # Records of this job wait for the lock, so that none slips in between the gate and the signature.
        locked = Job.objects.select_for_update().get(pk=job.pk)
        repeated = SignOff.objects.filter(pk=entry.id, job=job, role="release", person=actor.person).first()
        if repeated is not None:
            return repeated
        if locked.state in _GONE:
            raise Conflict("job_gone", "The car was delivered; it cannot be released any more.")
        return _signed(job, entry.id, statement, actor=actor, as_of=as_of)


def _signed(job: Job, sign_off_id: UUID, statement: str, *, actor: Actor, as_of: datetime) -> SignOff:
    facts = job_facts(job=job, as_of=as_of)
    packs = pack_set(job.organisation)
    judgement = judge.assess(packs, facts, as_of=as_of)
    # Where no pack says what is asked for, nothing was shown, whatever an empty list of findings adds up to.
    if judgement.disposition in ("hold", "none") or not judgement.packs:
        raise not_open(judgement)
    kept = assessment.keep_judgement(job=job, judgement=judgement, packs=packs, facts=facts, as_of=as_of)
    sign_off = signing.keep_sign_off(
        sign_off_id=sign_off_id,
        role="release",
        statement_version=statement,
        facts=facts,
        job=job,
        actor=actor,
        as_of=as_of,
        assessment=kept,
    )
    Job.objects.filter(pk=job.pk).exclude(state__in=_GONE).update(state="released")
    assessment_queue.ask(job=job, actor=actor, as_of=as_of, after=timedelta(0))
    job.refresh_from_db()
    return sign_off


def not_open(judgement: Judgement) -> Conflict:
    """The refusal that lists what stands in the way."""
    opened: list[dict[str, Any]] = [
        {
            "procedure_id": finding.procedure_id,
            "proof_id": finding.proof_id,
            "title": finding.title,
            "verdict": finding.verdict,
            "reasons": list(finding.outcome.reasons),
            "sentence": finding.outcome.sentence,
            "change": finding.outcome.change,
            "settle": finding.outcome.settle,
            "waivable": finding.waivable,
        }
        for finding in open_findings(judgement.findings)
    ]
    unknown = [
        {"procedure_id": item.procedure_id, "reasons": list(item.reasons), "sentence": item.sentence}
        for item in judgement.requirements
        if item.state == "cannot_tell"
    ]
    return Conflict(
        "release_not_open",
        "The car is held: proofs stand open.",
        open=opened,
        cannot_tell=unknown,
    )
