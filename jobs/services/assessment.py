"""Judging a job: asked for, carried out once per inputs, kept with its findings, repeated on the
job for boards."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from jobs import outbox
from jobs.access import Actor
from jobs.facts import job_facts, pack_set_for
from jobs.ledger.append import append
from jobs.models import Assessment, AssessmentRun, FindingRow, Job
from jobs.services import assessment_queue, facts_on_file, job_state, recording
from rules import ENGINE_VERSION
from rules import assess as judge
from rules.canonical import canonical_bytes, sha256_hex, to_plain
from rules.facts import JobFacts
from rules.gate import open_findings
from rules.packs.model import PackSet
from rules.result import Assessment as Judgement
from rules.verdict import Finding

PROGRAM = "assessment"


def gate_instant(*, as_of: datetime) -> datetime:
    """The moment the gate is computed for: now. A release computes it at the time of its own signature."""
    return as_of


def packs_hash(packs: PackSet) -> str:
    """One hash over every edition on file and its withdrawal: what the judgement can have rested on."""
    listed = [
        [
            item.pack,
            item.edition,
            item.sha256,
            str(packs.withdrawn_on.get((item.pack, item.edition), "")),
        ]
        for item in packs.editions
    ]
    return sha256_hex(canonical_bytes(sorted(listed, key=str)))


@transaction.atomic
def request_assessment(*, job: Job, actor: Actor, as_of: datetime) -> AssessmentRun:
    """Asks for a judgement now; one that waits already is joined."""
    recording.require_role(actor, *recording.FLOOR_ROLES, "integration")
    return assessment_queue.ask(job=job, actor=actor, as_of=as_of, after=timedelta(0))


def perform_assessment(*, run_id: UUID, as_of: datetime) -> AssessmentRun:
    """Judges the job of one run. Repeating a finished run changes nothing; the same inputs give the same row.

    Three steps, so that the slow middle holds no lock: the run begins (gate instant fixed), the judgement is
    computed, the result is written together with the run's end.
    """
    run = _begin(run_id, as_of)
    if run.state != "running" or run.gate_at is None:
        return run
    facts = job_facts(job=run.job, as_of=run.gate_at)
    packs = pack_set_for(run.organisation, facts, run.gate_at)
    AssessmentRun.objects.filter(pk=run.pk, state="running").update(progress=40)
    judgement = judge.assess(packs, facts, as_of=run.gate_at)
    AssessmentRun.objects.filter(pk=run.pk, state="running").update(progress=80)
    with transaction.atomic():
        assessment = keep_judgement(job=run.job, judgement=judgement, packs=packs, facts=facts, as_of=as_of)
        AssessmentRun.objects.filter(pk=run.pk, state="running").update(
            state="done",
            progress=100,
            finished_at=as_of,
            assessment=assessment,
            facts_sha256=assessment.facts_sha256,
            packs_sha256=assessment.packs_sha256,
            engine_version=ENGINE_VERSION,
            last_error="",
        )
        outbox.finish_here()
    run.refresh_from_db()
    return run


@transaction.atomic
def _begin(run_id: UUID, as_of: datetime) -> AssessmentRun:
    """Moves a waiting run to running; one that a lost worker left running goes on with its own gate instant.

    The row lock waits for every record that joined this run: their work is then seen.
    """
    run = AssessmentRun.objects.select_for_update().get(pk=run_id)
    if run.state in ("done", "dead"):
        return run
    if run.gate_at is None:
        # Never before the last record that asked for this run, even where two machines' clocks differ a
        # little.
        run.gate_at = max(gate_instant(as_of=as_of), run.requested_at)
        run.started_at = as_of
    run.state = "running"
    run.attempts += 1
    run.progress = 10
    run.save(update_fields=("state", "gate_at", "started_at", "attempts", "progress"))
    return run


@transaction.atomic
def bury_run(*, run_id: UUID, error: str, as_of: datetime) -> None:
    """Marks a run dead after its last attempt and holds the job: its record was not judged."""
    open_run = Q(state="waiting") | Q(state="running")
    run = AssessmentRun.objects.select_for_update().filter(open_run, pk=run_id).first()
    if run is None:
        return
    AssessmentRun.objects.filter(pk=run_id).update(state="dead", finished_at=as_of, last_error=error[:2000])
    Job.objects.filter(pk=run.job_id).update(
        verdict="not_shown",
        disposition="hold",
        hold_reason="judging_failed",
        held_because=["The record could not be judged. It is kept; support has to look at it."],
    )


def keep_judgement(
    *, job: Job, judgement: Judgement, packs: PackSet, facts: JobFacts, as_of: datetime
) -> Assessment:
    """Writes a judgement and its findings once per inputs, and repeats it on the job; caller's
    transaction."""
    text = canonical_bytes(to_plain(judgement)).decode()
    key = {
        "job": job,
        "facts_sha256": judgement.facts_sha256,
        "packs_sha256": packs_hash(packs),
        "engine_version": judgement.engine_version,
        "gate_at": judgement.gate_at,
    }
    # Two workers with the same inputs queue here: the second finds the first one's row.
    Job.objects.select_for_update().get(pk=job.pk)
    kept = Assessment.objects.filter(**key).first()
    if kept is None:
        kept = Assessment(
            organisation_id=job.organisation_id,
            packs=[list(item) for item in judgement.packs],
            result=text,
            result_sha256=sha256_hex(text.encode()),
            verdict=judgement.verdict,
            disposition=judgement.disposition,
            statement=judgement.statement,
            left_against_hold=judgement.left_against_hold,
            computed_at=as_of,
            **key,
        )
        kept.save(force_insert=True)
        facts_on_file.keep_facts(job=job, facts=facts, judgement=judgement, as_of=as_of)
        FindingRow.objects.bulk_create(_finding_rows(kept, judgement.findings, as_of))
    _repeat_on_job(job, kept, judgement, facts)
    _log_verdict(job, kept, as_of)
    return kept


def _log_verdict(job: Job, kept: Assessment, as_of: datetime) -> None:
    append(
        organisation=job.organisation,
        at=as_of,
        who=PROGRAM,
        device="",
        what="verdict.computed",
        target=f"job/{job.pk}",
        detail={
            "job": job.number,
            "assessment": str(kept.pk),
            "sha256": kept.result_sha256,
            "facts": kept.facts_sha256,
            "verdict": kept.verdict,
            "disposition": kept.disposition,
            "gate_at": kept.gate_at.isoformat(),
            "engine": kept.engine_version,
        },
    )


def _finding_rows(kept: Assessment, findings: Sequence[Finding], as_of: datetime) -> list[FindingRow]:
    return [
        FindingRow(
            organisation_id=kept.organisation_id,
            assessment=kept,
            job_id=kept.job_id,
            place=place,
            procedure_id=finding.procedure_id,
            proof_id=finding.proof_id,
            check_name=finding.check,
            title=finding.title[:200],
            verdict=finding.verdict,
            reasons=list(finding.outcome.reasons),
            numbers=to_plain(finding.outcome.numbers),
            sentence=finding.outcome.sentence,
            change=finding.outcome.change,
            settle=finding.outcome.settle,
            evidence=list(finding.outcome.evidence),
            instruments=list(finding.outcome.instruments),
            notes=list(finding.outcome.notes),
            pack=finding.pack,
            edition=finding.edition,
            citation=finding.citation[:300],
            waivable=finding.waivable,
            waive_role=finding.waive_role or "",
            waived_by=finding.waived_by or "",
            counts=finding.counts,
            session_id=finding.session_id,
            computed_at=as_of,
        )
        for place, finding in enumerate(findings)
    ]


def _repeat_on_job(job: Job, kept: Assessment, judgement: Judgement, facts: JobFacts) -> None:
    """Boards read the job's own columns.

    A judgement of an earlier gate instant never replaces a later one.
    """
    opened = open_findings(judgement.findings)
    reasons = [reason for finding in opened for reason in finding.outcome.reasons]
    unknown = [reason for item in judgement.requirements for reason in item.reasons]
    is_hold = judgement.disposition == "hold"
    newer = Q(current_assessment__isnull=True) | Q(current_assessment__gate_at__lte=kept.gate_at)
    moved = Job.objects.filter(newer, pk=job.pk).update(
        current_assessment=kept,
        verdict=judgement.verdict,
        disposition=judgement.disposition,
        held_because=list(judgement.held_because),
        hold_reason=next(iter([*reasons, *unknown]), "")[:80] if is_hold else "",
        ready_at=judgement.ready.ready_cautious if judgement.ready is not None else None,
    )
    if not moved:
        return
    if judgement.left_against_hold:
        # True for ever: nothing in this program sets it back.
        Job.objects.filter(pk=job.pk).update(left_against_hold=True)
    job_state.settle(job, judgement=judgement, facts=facts)
