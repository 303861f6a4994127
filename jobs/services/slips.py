"""One-time slip codes: issued by the server for a job, to stand in the picture."""

import hmac
import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Final
from uuid import UUID, uuid4

from django.conf import settings
from django.db import transaction

from jobs.access import Actor
from jobs.models import Job, SlipCode
from jobs.services import recording

# A slip on the table from yesterday shows nothing about today (project default).
VALID_FOR: Final = timedelta(hours=4)


def _mac(text: str) -> str:
    key = hmac.new(settings.SECRET_KEY.encode(), b"slip code", sha256).digest()
    return hmac.new(key, text.encode(), sha256).hexdigest()[:32]


def is_authentic(code: str) -> bool:
    """Whether this code was made here: its last part is the keyed hash of the others."""
    text, _, mac = code.rpartition(".")
    return bool(text) and hmac.compare_digest(mac.encode(), _mac(text).encode())


def seen_slip(texts: Sequence[object]) -> str:
    """The slip code among the texts of a picture's two-dimensional codes; empty where none was made here.

    Of several the one issued last is meant: the picture was made after it. A code of another organisation
    is no slip of ours, and a text that only looks like one proves nothing.
    """
    codes = [text for text in texts if isinstance(text, str) and is_authentic(text)]
    found = SlipCode.objects.filter(code__in=codes).order_by("-issued_at", "code").first()
    return found.code if found is not None else ""


@transaction.atomic
def issue_slip(*, job: Job, actor: Actor, as_of: datetime, slip_id: UUID | None = None) -> SlipCode:
    """A new code: job, a number used once, issue time (POSIX seconds) and keyed hash; expires after
    four hours."""
    recording.require_role(actor, *recording.FLOOR_ROLES)
    recording.require_not_archived(job)
    slip_id = slip_id or uuid4()
    there = SlipCode.objects.filter(pk=slip_id).first()
    if there is not None:
        if (there.job_id, there.issued_to_id) != (job.pk, actor.person.pk):
            raise recording.id_in_use()
        return there
    text = f"{job.pk.hex}.{secrets.token_hex(8)}.{int(as_of.timestamp())}"
    slip = SlipCode(
        id=slip_id,
        organisation=actor.organisation,
        job=job,
        code=f"{text}.{_mac(text)}",
        issued_at=as_of,
        expires_at=as_of + VALID_FOR,
        issued_to=actor.person,
    )
    recording.insert(slip)
    recording.log(actor=actor, as_of=as_of, what="slip.issued", job=job, detail={"slip": str(slip.pk)})
    return slip
