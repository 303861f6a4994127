"""Which instrument served which record: written by the program when a record names one, never by hand."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from jobs.models import Equipment, EquipmentUse, Job, Session


def note_uses(
    *,
    job: Job,
    session: Session | None,
    kind: str,
    uses: Sequence[tuple[Equipment | None, UUID, datetime]],
) -> None:
    """One row per instrument and record, with the local day at the place of use; repeated rows change
    nothing.

    Args:
        kind: reading, scan or evidence.
        uses: (instrument, record id, time as its clock showed it).
    """
    zone = ZoneInfo((session.location if session is not None else job.location).tz)
    EquipmentUse.objects.bulk_create(
        [
            EquipmentUse(
                organisation_id=job.organisation_id,
                equipment=instrument,
                job=job,
                session=session,
                record_kind=kind,
                record_id=record_id,
                used_at=used_at,
                used_on=used_at.astimezone(zone).date(),
            )
            for instrument, record_id, used_at in uses
            if instrument is not None
        ],
        ignore_conflicts=True,
    )
