"""A file comes in from the shop floor: kept as evidence, and as the record that it tells of."""

from datetime import datetime
from typing import BinaryIO

from jobs.access import Actor
from jobs.models import Evidence, Job
from jobs.services.evidence_intake import Upload, take_in
from jobs.services.scan import take_in_scan


def file_evidence(
    *, job: Job, actor: Actor, as_of: datetime, upload: Upload, source: BinaryIO
) -> tuple[Evidence, bool]:
    """Takes one file; a scan summary becomes a scan as well. The second value tells whether it is new.

    Raises:
        Refused, Conflict, NotAllowed: those of ``take_in`` and, for scan summaries, of ``record_scan``.
    """
    take = take_in_scan if upload.kind == "scan_summary" else take_in
    return take(job=job, actor=actor, as_of=as_of, upload=upload, source=source)
