"""A job whose car was handed over, with files of every kind, for tests of retention."""

import os
import secrets
from datetime import datetime
from typing import Any

from jobs import storage
from jobs.models import Evidence, Job, PictureCopy, RecordedMoment
from tests.jobs.shop import Shop

# Long before any test: so that no file looks as if it had just arrived.
LONG_AGO_S = 1_000_000_000


def aged() -> None:
    """Every stored file as if it had been kept long ago."""
    for sha256 in storage.walk():
        os.utime(storage.path(sha256), (LONG_AGO_S, LONG_AGO_S))


def delivered(job: Job, at: datetime) -> Job:
    Job.objects.filter(pk=job.pk).update(state="delivered", delivered_at=at)
    job.refresh_from_db()
    return job


def kept_file(shop: Shop, job: Job | None, data: bytes, kind: str = "photo", **fields: Any) -> Evidence:
    """One file of the job, stored and on record, old enough to be deleted."""
    number = job.evidences.count() + 1 if job is not None else None
    at = shop.at("09:00")
    given: dict[str, Any] = {
        "kind": kind, "stage": "intake", "sha256": storage.put(data), "size_bytes": len(data),
        "media_type": "image/jpeg", "captured_how": "device", "captured": RecordedMoment.exact(at),
        "captured_by": shop.people["itolvaar"], "received_at": at, "created_by": shop.people["itolvaar"],
        "content_sha256": secrets.token_hex(32), "number": number,
    } | fields  # fmt: skip
    made = Evidence.objects.create(**({"organisation": shop.organisation, "job": job} | given))
    aged()
    return made


def copy_of(shop: Shop, row: Evidence, use: str = "small") -> PictureCopy:
    """A stored copy of a picture, as pages use it."""
    data = f"{use} copy of {row.sha256}".encode()
    made = PictureCopy.objects.create(
        organisation=shop.organisation, of_sha256=row.sha256, use=use, scale=2, sha256=storage.put(data),
        size_bytes=len(data), width=800, height=600, made_at=shop.at("09:00"),
    )  # fmt: skip
    aged()
    return made
