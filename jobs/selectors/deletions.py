"""What was deleted, in words, for wherever it would show: the bytes are gone, the hash remains."""

from collections.abc import Iterable
from datetime import date
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from jobs.errors import Gone
from jobs.models import Deletion, Evidence, Job
from rules.seal.deleted import deleted_words


def removed() -> QuerySet[Deletion]:
    """Deletions that are done, of the open scope."""
    rows = Deletion.objects.filter(removed_at__isnull=False)
    return rows.select_related("job__location", "organisation").order_by("removed_at", "subject")


def words_of(row: Deletion) -> str:
    """``deleted under the retention policy on 5 May 2036; its SHA-256 remains``."""
    return deleted_words(row.why, local_day_of(row), has_hash=bool(row.sha256))


def local_day_of(row: Deletion) -> date:
    """The day of the deletion where the job was, or where the organisation is."""
    tz = row.job.location.tz if row.job is not None else row.organisation.default_tz
    return (row.removed_at or row.decided_at).astimezone(ZoneInfo(tz)).date()


def deleted_note(sha256: str) -> str:
    """Why the bytes with this hash are no longer stored, in words; empty where nothing was deleted."""
    row = removed().filter(sha256=sha256).last() if sha256 else None
    return words_of(row) if row is not None else ""


def deleted_notes(hashes: Iterable[str]) -> dict[str, str]:
    """``deleted_note`` for many, in one query; only those that were deleted."""
    return {row.sha256: words_of(row) for row in removed().filter(sha256__in=list(hashes))}


def note_of_evidence(evidence_id: UUID) -> str:
    """Why this evidence file is not given any more, even where another record keeps the same bytes."""
    row = removed().filter(subject=f"evidence/{evidence_id}/sha256").last()
    return words_of(row) if row is not None else ""


def require_kept(evidence: Evidence) -> None:
    """Raises ``Gone`` ``evidence_deleted`` for a file that was deleted, in words and with its day."""
    note = note_of_evidence(evidence.pk)
    if note:
        raise Gone("evidence_deleted", f"This file was {note}.")


def note_of_packet(packet_id: UUID) -> str:
    """Why this sealed file is not given any more; empty where it is."""
    row = removed().filter(subject=f"packet/{packet_id}/pdf_sha256").last()
    return words_of(row) if row is not None else ""


def deletions_of_job(job: Job) -> tuple[Deletion, ...]:
    """Everything of a job that was deleted, the oldest first."""
    return tuple(removed().filter(job=job))
