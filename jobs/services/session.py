"""Sessions: an attempt at a procedure begins, its key events come in, it ends once."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction

from jobs.access import Actor
from jobs.errors import Conflict, VersionConflict
from jobs.models import Device, Job, KeyEvent, RecordedMoment, Session, SessionPart
from jobs.services import assessment_queue, moments, recording, references, values
from jobs.services.values import refused
from rules.vocabulary import SESSION_RESULTS

SESSION_ROLES: Final = ("technician", "guest_calibrator")
MOST_KEY_EVENTS: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionEntry:
    """``device`` is the scan device's tag; ``capture_device`` the one whose clock was read; people
    are logins."""

    id: UUID
    procedure_id: str
    started_at: str
    capture_device: UUID | None = None
    device: str = ""
    bay: str = ""
    observer: str = ""
    performed_by: str = ""
    performer_org: str = ""
    reuses_part_of: UUID | None = None
    evidence: tuple[UUID, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PartEntry:
    """One part (still, road) of a two-part procedure."""

    part: str
    started_at: str
    result: str
    ended_at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionEnd:
    """``results`` maps a place to its result where a procedure asks each; ``version`` is the one
    that was read."""

    version: int
    ended_at: str
    result: str
    result_text: str = ""
    results: Mapping[str, str] = field(default_factory=dict)
    device_software: str = ""
    parts: tuple[PartEntry, ...] = ()
    capture_device: UUID | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyEventEntry:
    at: str
    state: str


@transaction.atomic
def start_session(*, job: Job, actor: Actor, as_of: datetime, entry: SessionEntry) -> Session:
    """Begins an attempt; its number counts the attempts at this procedure on this job.

    Codes: role_missing, text_length, unknown_reference (bay, device, people), and those of moments.
    """
    recording.require_role(actor, *SESSION_ROLES)
    # The row lock makes attempt numbers count without a gap when two tablets start at once.
    Job.objects.select_for_update().get(pk=job.pk)
    procedure_id = values.read_text(entry.procedure_id, "procedure_id", longest=80)
    capture_device = references.device(actor, entry.capture_device, "capture_device")
    bay = references.bay(entry.bay, "bay")
    session = Session(
        id=entry.id,
        procedure_id=procedure_id,
        attempt=Session.objects.filter(job=job, procedure_id=procedure_id).exclude(pk=entry.id).count() + 1,
        location=bay.location if bay is not None else job.location,
        bay=bay,
        performed_by=references.person(actor, entry.performed_by, "performed_by"),
        observer=references.person(actor, entry.observer, "observer") if entry.observer else None,
        performer_org=values.read_text(entry.performer_org, "performer_org", shortest=0, longest=120),
        tool=references.instrument(entry.device, "device"),
        started=moments.read_moment(entry.started_at, field="started_at", device=capture_device, as_of=as_of),
        reuses_part_of=references.session(job, entry.reuses_part_of, "reuses_part_of"),
        device=capture_device,
        evidence=references.evidence(job, entry.evidence),
    )
    return recording.keep(session, job=job, actor=actor, as_of=as_of, what="session.started")


@transaction.atomic
def end_session(*, job: Job, session: Session, actor: Actor, as_of: datetime, entry: SessionEnd) -> Session:
    """Ends an attempt, once.

    Raises:
        Conflict: ``session_ended``.
        VersionConflict: it was changed since it was read.
        Refused: ``bad_choice``, ``times_backwards``, ``part_twice``, and those of moments.
    """
    recording.require_role(actor, *SESSION_ROLES)
    recording.require_not_archived(job)
    if session.result:
        raise Conflict("session_ended", "This session has ended.")
    device = references.device(actor, entry.capture_device, "capture_device") or session.device
    ended = moments.read_moment(entry.ended_at, field="ended_at", device=device, as_of=as_of)
    if ended.clock == session.started.clock and ended.reading < session.started.reading:
        raise refused("times_backwards", "ended_at", "ended_at is earlier than started_at.")
    moved = Session.objects.filter(pk=session.pk, version=entry.version, result="").update(
        ended=ended,
        end_received_at=as_of,
        result=values.read_choice(entry.result, SESSION_RESULTS, "result"),
        result_text=values.read_text(entry.result_text, "result_text", shortest=0),
        results=_results(entry.results),
        device_software=values.read_text(entry.device_software, "device_software", shortest=0, longest=80),
        version=entry.version + 1,
    )
    if moved != 1:
        raise VersionConflict
    _add_parts(session, entry.parts, device=device, actor=actor, as_of=as_of)
    session.refresh_from_db()
    detail = {"session": str(session.pk), "result": session.result, "sha256": recording.content_hash(session)}
    recording.log(actor=actor, as_of=as_of, what="session.ended", job=job, detail=detail)
    assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)
    return session


def _results(results: Mapping[str, str]) -> dict[str, str]:
    return {
        values.read_text(place, "results", longest=40): values.read_choice(
            result, SESSION_RESULTS, f"results.{place}"
        )
        for place, result in results.items()
    }


def _add_parts(
    session: Session,
    entries: tuple[PartEntry, ...],
    *,
    device: Device | None,
    actor: Actor,
    as_of: datetime,
) -> None:
    if len({entry.part for entry in entries}) != len(entries):
        raise refused("part_twice", "parts", "A session has each part once.")
    for place, entry in enumerate(entries):
        path = f"parts[{place}]"
        started = moments.read_moment(
            entry.started_at, field=f"{path}.started_at", device=device, as_of=as_of
        )
        ended = moments.read_optional(entry.ended_at, field=f"{path}.ended_at", device=device, as_of=as_of)
        if ended is not None and ended.reading < started.reading:
            raise refused("times_backwards", f"{path}.ended_at", "A part ends after it starts.")
        SessionPart(
            organisation=actor.organisation,
            session=session,
            part=values.read_choice(entry.part, ("still", "road"), f"{path}.part"),
            started=started,
            ended=ended,
            result=values.read_choice(entry.result, SESSION_RESULTS, f"{path}.result"),
            received_at=as_of,
            created_by=actor.person,
        ).save(force_insert=True)


@transaction.atomic
def add_key_events(
    *,
    job: Job,
    session: Session,
    actor: Actor,
    as_of: datetime,
    events: tuple[KeyEventEntry, ...],
    capture_device: UUID | None = None,
) -> tuple[KeyEvent, ...]:
    """Adds what the key did during a session; an event that is there already is not added twice.

    Raises:
        Refused: ``list_empty``, ``too_many``, ``times_backwards``, ``bad_choice``, and those of moments.
    """
    recording.require_role(actor, *SESSION_ROLES)
    recording.require_not_archived(job)
    if not events:
        raise refused("list_empty", "events", "There are no events.")
    if len(events) > MOST_KEY_EVENTS:
        raise refused("too_many", "events", f"More than {MOST_KEY_EVENTS} events at once.")
    device = references.device(actor, capture_device, "capture_device") or session.device
    read = [_read_event(entry, place, device=device, as_of=as_of) for place, entry in enumerate(events)]
    for place in range(1, len(read)):
        if read[place][0].reading < read[place - 1][0].reading:
            raise refused("times_backwards", f"events[{place}].at", "Events come in order of time.")
    there = {(event.at.reading, event.state) for event in KeyEvent.objects.filter(session=session)}
    new = [
        KeyEvent(
            id=_ordered_id(as_of, place),
            organisation=actor.organisation,
            session=session,
            at=at,
            state=state,
            received_at=as_of,
            created_by=actor.person,
        )
        for place, (at, state) in enumerate(read)
        if (at.reading, state) not in there
    ]
    KeyEvent.objects.bulk_create(new)
    if new:
        detail = {
            "session": str(session.pk),
            "events": [{"at": event.at.text, "state": event.state} for event in new],
        }
        recording.log(actor=actor, as_of=as_of, what="key.recorded", job=job, detail=detail)
        assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)
    return tuple(KeyEvent.objects.filter(session=session).order_by("received_at", "id"))


def _ordered_id(as_of: datetime, place: int) -> UUID:
    """An id that sorts by receipt and place in the list: off and on within one second keep their order."""
    millis = int(as_of.timestamp() * 1000)
    return UUID(int=(millis << 80) | (place << 64) | secrets.randbits(64))


def _read_event(
    entry: KeyEventEntry, place: int, *, device: Device | None, as_of: datetime
) -> tuple[RecordedMoment, str]:
    at = moments.read_moment(entry.at, field=f"events[{place}].at", device=device, as_of=as_of)
    return at, values.read_choice(entry.state, ("on", "off", "crank"), f"events[{place}].state")
