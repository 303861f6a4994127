"""Outside names (logins, tags, ids) inside an entry, turned into rows of the same organisation and job."""

from collections.abc import Sequence
from uuid import UUID

from jobs.access import Actor
from jobs.errors import Refused
from jobs.models import Bay, Device, Equipment, Evidence, Job, Location, Person, Session
from jobs.services.values import refused


def _unknown(field: str, what: str) -> Refused:
    return refused("unknown_reference", field, f"{field} names no {what} here.")


def person(actor: Actor, login: str, field: str) -> Person:
    """The active person with this login in the actor's organisation; an empty login is the actor."""
    if not login:
        return actor.person
    found = Person.objects.filter(
        organisation=actor.organisation, login=login.lower(), is_active=True
    ).first()
    if found is None:
        raise _unknown(field, "person")
    return found


def location(actor: Actor, code: str, field: str) -> Location:
    """A location of the organisation that the actor may work at."""
    found = Location.objects.filter(code=code).first()
    if found is None or (actor.location_ids is not None and found.pk not in actor.location_ids):
        raise _unknown(field, "location")
    return found


def device(actor: Actor, device_id: UUID | None, field: str) -> Device | None:
    """The enrolled capture device; where none is named, the one that the token is bound to."""
    if device_id is None:
        return actor.device
    found = Device.objects.filter(pk=device_id, revoked_at__isnull=True).first()
    if found is None:
        raise refused("unknown_device", field, f"{field} names no enrolled device.")
    return found


def instrument(tag: str, field: str) -> Equipment | None:
    """The instrument or tool with this tag; an empty tag is none."""
    if not tag:
        return None
    found = Equipment.objects.filter(tag=tag).first()
    if found is None:
        raise _unknown(field, "instrument")
    return found


def bay(code: str, field: str) -> Bay | None:
    if not code:
        return None
    found = Bay.objects.filter(code=code).select_related("location").first()
    if found is None:
        raise _unknown(field, "bay")
    return found


def session(job: Job, session_id: UUID | None, field: str) -> Session | None:
    if session_id is None:
        return None
    found = Session.objects.filter(job=job, pk=session_id).first()
    if found is None:
        raise _unknown(field, "session of this job")
    return found


def sessions(job: Job, session_ids: Sequence[UUID], field: str) -> list[str]:
    """The ids as text, in the order given; all must be sessions of this job."""
    known = set(Session.objects.filter(job=job, pk__in=session_ids).values_list("pk", flat=True))
    if not known >= set(session_ids):
        raise _unknown(field, "session of this job")
    return [str(session_id) for session_id in dict.fromkeys(session_ids)]


def evidence(job: Job, evidence_ids: Sequence[UUID], field: str = "evidence") -> list[str]:
    """The ids as text, in the order given; all must be evidence of this job that was not set aside."""
    known = set(
        Evidence.objects.filter(job=job, pk__in=evidence_ids, ended_at__isnull=True).values_list(
            "pk", flat=True
        )
    )
    if not known >= set(evidence_ids):
        raise _unknown(field, "evidence of this job")
    return [str(evidence_id) for evidence_id in dict.fromkeys(evidence_ids)]


def evidence_file(job: Job, evidence_id: UUID | None, field: str, *, kind: str) -> Evidence | None:
    """One evidence file of this job and kind."""
    if evidence_id is None:
        return None
    found = Evidence.objects.filter(job=job, pk=evidence_id, kind=kind, ended_at__isnull=True).first()
    if found is None:
        raise _unknown(field, f"{kind} of this job")
    return found
