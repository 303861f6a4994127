"""The facts a judgement rests on, kept beside it: a verdict can be reached again without the live record."""

import zlib
from collections.abc import Iterable
from datetime import datetime
from typing import Final
from uuid import UUID

from jobs.errors import Conflict
from jobs.models import Assessment, FactsOnFile, Job
from rules.canonical import sha256_hex
from rules.facts import JobFacts, facts_held_at
from rules.reading_back import StoredFormError, facts_bytes, read_facts
from rules.result import Assessment as Judgement

# Far above any job's facts, whatever a damaged row may claim to unpack to (project default).
MOST_BYTES: Final = 200_000_000


def keep_facts(*, job: Job, facts: JobFacts, judgement: Judgement, as_of: datetime) -> None:
    """Keeps the facts of a judgement once per job and hash; in the caller's transaction."""
    if FactsOnFile.objects.filter(job=job, sha256=judgement.facts_sha256).exists():
        return
    data = facts_bytes(facts_held_at(facts, judgement.gate_at))
    if sha256_hex(data) != judgement.facts_sha256:
        raise RuntimeError("these are not the facts that were judged")
    FactsOnFile(
        organisation_id=job.organisation_id,
        job=job,
        sha256=judgement.facts_sha256,
        data=zlib.compress(data, 6),
        size_bytes=len(data),
        stored_at=as_of,
    ).save(force_insert=True)


def kept_facts(assessment: Assessment) -> JobFacts:
    """The facts that this judgement rests on.

    Raises:
        Conflict: ``facts_not_kept`` (judged before facts were kept), ``facts_damaged``.
    """
    row = FactsOnFile.objects.filter(job_id=assessment.job_id, sha256=assessment.facts_sha256).first()
    return unpacked(row)


def facts_rows(assessments: Iterable[Assessment]) -> dict[tuple[UUID, str], FactsOnFile]:
    """The rows of many judgements by (job, hash), in one query."""
    wanted = {(item.job_id, item.facts_sha256) for item in assessments}
    rows = FactsOnFile.objects.filter(
        job_id__in={job_id for job_id, _ in wanted}, sha256__in={sha256 for _, sha256 in wanted}
    )
    return {(row.job_id, row.sha256): row for row in rows}


def unpacked(row: FactsOnFile | None) -> JobFacts:
    """The facts of one row, its hash compared; raises as :func:`kept_facts`."""
    if row is None:
        raise Conflict("facts_not_kept", "No facts are kept with this judgement.")
    try:
        unpacker = zlib.decompressobj()
        data = unpacker.decompress(bytes(row.data), MOST_BYTES)
        return read_facts(data, sha256=row.sha256)
    except (zlib.error, StoredFormError) as error:
        raise Conflict("facts_damaged", f"The kept facts cannot be read: {error}") from error
