"""Legal holds: placed by one person at once, lifted by two; nothing they cover is deleted meanwhile."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.db import transaction

from jobs.access import Actor, get_job_for, locations_for
from jobs.errors import Conflict, NotAllowed, NotFound
from jobs.models import Job, LegalHold, Organisation
from jobs.selectors.holds import covered_jobs, held_jobs, holds_for
from jobs.services import recording, values
from jobs.services.values import refused
from rules.science import vin as vins

HOLD_ROLES: Final = ("location_manager", "quality_manager", "operations_manager")
MOST_JOBS: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldQuery:
    """What a hold covers besides the jobs it names; each field narrows it. ``locations`` are codes, days
    local."""

    vin: str = ""
    claim_number: str = ""
    locations: tuple[str, ...] = ()
    opened_from: str = ""
    opened_to: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldEntry:
    """A hold over ``jobs``, over what fits ``query``, or over both."""

    id: UUID
    matter: str
    jobs: tuple[UUID, ...] = ()
    query: HoldQuery | None = None


@transaction.atomic
def place_hold(*, actor: Actor, as_of: datetime, entry: HoldEntry) -> LegalHold:
    """Places a hold; it counts from the moment this commits, also against a deletion that is under way.

    Somebody who is set up for some locations holds what is theirs.

    Raises:
        NotAllowed: ``role_missing``.
        NotFound: a job that is not the actor's.
        Refused: ``text_length``, ``hold_of_nothing``, ``too_many``, ``unknown_reference``, ``bad_date``,
            ``dates_backwards``, ``vin_length``.
        Conflict: ``id_in_use``.
    """
    recording.require_role(actor, *HOLD_ROLES)
    matter = values.read_text(entry.matter, "matter", shortest=5, longest=2000)
    jobs = _jobs(actor, entry.jobs)
    query = _query(actor, entry.query)
    if not jobs and not query:
        raise refused("hold_of_nothing", "jobs", "A hold names jobs, or says which ones it means.")
    lock_against_deletion(actor.organisation)
    there = LegalHold.objects.filter(pk=entry.id).first()
    if there is not None:
        if (there.matter, there.query) != (matter, query):
            raise recording.id_in_use()
        return there
    hold = LegalHold(
        id=entry.id,
        organisation=actor.organisation,
        query=query,
        matter=matter,
        placed_at=as_of,
        placed_by=actor.person,
    )
    recording.insert(hold)
    hold.jobs.add(*jobs)
    covered_jobs(hold).update(legal_hold=True)
    detail = {"jobs": sorted(job.number for job in jobs), "query": query, "matter": matter}
    _log(actor, as_of, "hold.placed", hold, detail)
    return hold


def lock_against_deletion(organisation: Organisation) -> None:
    """Holds and deletions of one organisation queue here, so that each sees what the other has done."""
    Organisation.objects.select_for_update().get(pk=organisation.pk)


def _jobs(actor: Actor, ids: tuple[UUID, ...]) -> list[Job]:
    if len(ids) > MOST_JOBS:
        raise refused("too_many", "jobs", f"A hold names at most {MOST_JOBS} jobs; use its query for more.")
    return [get_job_for(actor, job_id) for job_id in dict.fromkeys(ids)]


def _query(actor: Actor, asked: HoldQuery | None) -> dict[str, Any]:
    if asked is None or asked == HoldQuery():
        return {}
    found: dict[str, Any] = {}
    if asked.vin:
        found["vin"] = _vin(asked.vin)
    if asked.claim_number:
        found["claim_number"] = values.read_text(asked.claim_number, "query.claim_number", longest=60)
    for name, text in (("opened_from", asked.opened_from), ("opened_to", asked.opened_to)):
        if text:
            found[name] = values.read_day(text, f"query.{name}").isoformat()
    if found.get("opened_from", "") > found.get("opened_to", "9999"):
        raise refused("dates_backwards", "query.opened_to", "opened_to lies before opened_from.")
    places = _places(actor, asked.locations)
    return found | ({"locations": places} if places else {})


def _vin(text: str) -> str:
    plain = vins.normalise(text)
    if len(plain) != vins.LENGTH:
        raise refused("vin_length", "query.vin", f"A VIN has 17 characters; this has {len(plain)}.")
    return plain


def _places(actor: Actor, asked: tuple[str, ...]) -> list[str]:
    own = set(locations_for(actor).values_list("code", flat=True))
    if not set(asked) <= own:
        raise refused("unknown_reference", "query.locations", "query.locations names no location of yours.")
    if asked:
        return sorted(set(asked))
    return [] if actor.location_ids is None else sorted(own)


def get_hold_for(actor: Actor, hold_id: UUID) -> LegalHold:
    """A hold that the actor may see. Raises ``NotFound``."""
    found = next((hold for hold in holds_for(actor) if hold.pk == hold_id), None)
    if found is None:
        raise NotFound
    return found


@transaction.atomic
def ask_to_lift(*, hold: LegalHold, actor: Actor, as_of: datetime, reason: str) -> LegalHold:
    """The first of two people who lift a hold; it stands until the second one agrees.

    Raises:
        NotAllowed: ``role_missing``, ``outside_own_locations``.
        Refused: ``text_length``.
        Conflict: ``already_lifted``; ``lift_asked_before`` by somebody else.
    """
    text = values.read_text(reason, "reason", shortest=10, longest=2000)
    row = _to_lift(hold, actor)
    if row.lift_asked_by_id not in (None, actor.person.pk):
        raise Conflict("lift_asked_before", "Somebody asked before; agree, or leave the hold as it is.")
    if row.lift_asked_by_id is not None:
        return row
    row.lift_asked_at, row.lift_asked_by, row.lift_reason = as_of, actor.person, text
    row.save(update_fields=("lift_asked_at", "lift_asked_by", "lift_reason"))
    _log(actor, as_of, "hold.lift_asked", row, {"reason": text})
    return row


@transaction.atomic
def lift_hold(*, hold: LegalHold, actor: Actor, as_of: datetime) -> LegalHold:
    """The second person agrees, and the hold ends.

    Raises:
        NotAllowed: ``role_missing``, ``outside_own_locations``; ``same_person`` who asked.
        Conflict: ``already_lifted``; ``lift_not_asked``.
    """
    row = _to_lift(hold, actor)
    if row.lift_asked_by_id is None or row.lift_asked_by is None:
        raise Conflict("lift_not_asked", "Two people lift a hold: somebody asks first.")
    if row.lift_asked_by_id == actor.person.pk:
        raise NotAllowed("same_person", "Somebody else agrees to what you asked for.")
    row.released_at, row.released_by = as_of, actor.person
    row.save(update_fields=("released_at", "released_by"))
    still_held = held_jobs(row.organisation)
    covered_jobs(row).exclude(pk__in=still_held).update(legal_hold=False)
    _log(actor, as_of, "hold.lifted", row, {"asked_by": row.lift_asked_by.login, "reason": row.lift_reason})
    return row


def _to_lift(hold: LegalHold, actor: Actor) -> LegalHold:
    recording.require_role(actor, *HOLD_ROLES)
    lock_against_deletion(actor.organisation)
    row = (
        LegalHold.objects.select_for_update(of=("self",))
        .select_related("organisation", "lift_asked_by")
        .get(pk=hold.pk)
    )
    if (
        actor.location_ids is not None
        and covered_jobs(row).exclude(location_id__in=actor.location_ids).exists()
    ):
        raise NotAllowed("outside_own_locations", "This hold covers jobs of locations that are not yours.")
    if row.released_at is not None:
        raise Conflict("already_lifted", "This hold was lifted before.")
    return row


def mark_held(*, organisation: Organisation) -> int:
    """Repeats on each job whether a hold covers it, for lists; returns how many changed. Holds decide by
    themselves."""
    held = list(held_jobs(organisation))
    rows = Job.objects.filter(organisation=organisation)
    return rows.filter(pk__in=held, legal_hold=False).update(legal_hold=True) + rows.filter(
        legal_hold=True
    ).exclude(pk__in=held).update(legal_hold=False)


def _log(actor: Actor, as_of: datetime, what: str, hold: LegalHold, detail: dict[str, Any]) -> None:
    recording.log_about(
        actor=actor, as_of=as_of, what=what, target=f"hold/{hold.pk}", detail={"hold": str(hold.pk), **detail}
    )
