"""Capture devices, and what is learned of their clocks."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core import signing
from django.db import transaction

from jobs.access import Actor
from jobs.errors import Conflict
from jobs.facts.clocks import read_local
from jobs.models import ClockObservation, Device, Equipment, Evidence, Job
from jobs.services import assessment_queue, moments, recording, references, values
from jobs.services.values import refused
from rules.science.clocks import answered_offset, screen_offset

ENROLLERS: Final = ("location_manager", "operations_manager", "quality_manager")
KINDS: Final = ("tablet", "phone", "camera", "computer")
_SALT: Final = "clock ticket"
# A ticket says what the time was; an old one says too little (project default).
TICKET_LIFE: Final = timedelta(minutes=10)


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceEntry:
    id: UUID
    name: str
    location: str
    kind: str = "tablet"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockEntry:
    """One exchange: what the device's clock showed when it asked for the ticket and when it had the
    answer."""

    id: UUID
    ticket: str
    device_sent_at: str
    device_received_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenEntry:
    """A display was read at ``seen_at`` by the clock of ``device``: it ``shows`` local text to
    minute or second."""

    id: UUID
    shows: str
    seen_at: str
    device: UUID
    evidence: UUID | None = None


@transaction.atomic
def enrol_device(*, actor: Actor, as_of: datetime, entry: DeviceEntry) -> Device:
    """Puts a capture device on file. Codes: role_missing, unknown_reference, bad_choice, id_in_use."""
    recording.require_role(actor, *ENROLLERS)
    location = references.location(actor, entry.location, "location")
    there = Device.objects.filter(pk=entry.id).first()
    if there is not None:
        if (there.name, there.location_id) != (entry.name, location.pk):
            raise recording.id_in_use()
        return there
    device = Device(
        id=entry.id,
        organisation=actor.organisation,
        location=location,
        name=values.read_text(entry.name, "name", longest=120),
        kind=values.read_choice(entry.kind, KINDS, "kind"),
        enrolled_at=as_of,
        enrolled_by=actor.person,
    )
    recording.insert(device)
    _log(actor, as_of, "device.enrolled", device)
    return device


@transaction.atomic
def revoke_device(*, device: Device, actor: Actor, as_of: datetime) -> Device:
    """A lost device: its tokens stop working with its next request. ``Conflict`` ``already_revoked``."""
    recording.require_role(actor, *ENROLLERS)
    if Device.objects.filter(pk=device.pk, revoked_at__isnull=True).update(revoked_at=as_of) != 1:
        raise Conflict("already_revoked", "This device was taken out before.")
    device.refresh_from_db()
    _log(actor, as_of, "device.revoked", device)
    return device


def _log(actor: Actor, as_of: datetime, what: str, device: Device) -> None:
    recording.log_about(
        actor=actor, as_of=as_of, what=what, target=f"device/{device.pk}", detail={"name": device.name}
    )


def issue_clock_ticket(*, as_of: datetime) -> str:
    """The server's instant, signed, so that a device cannot make up what the server said."""
    return signing.dumps(as_of.isoformat(), salt=_SALT)


def _ticket_instant(ticket: str, as_of: datetime) -> datetime:
    try:
        instant = datetime.fromisoformat(signing.loads(ticket, salt=_SALT))
    except (signing.BadSignature, ValueError, TypeError) as error:
        raise refused("bad_ticket", "ticket", "This ticket was not made here.") from error
    if not instant <= as_of <= instant + TICKET_LIFE:
        raise refused("ticket_expired", "ticket", "The ticket is too old; read the clock again.")
    return instant


@transaction.atomic
def observe_clock(*, device: Device, actor: Actor, as_of: datetime, entry: ClockEntry) -> ClockObservation:
    """Device minus true lies in [device_sent - at, device_received - at], ``at`` being the server's instant.

    The answer left the server after the device had sent and before it received; nothing is assumed about
    which way took longer (RFC 5905 gives the same interval by offset and half delay).

    Raises:
        Refused: ``bad_ticket``, ``ticket_expired``, ``times_backwards``, ``bad_instant``.
        Conflict: ``other_device`` where the token is bound to another one.
    """
    if actor.device is not None and actor.device.pk != device.pk:
        raise Conflict("other_device", "This token belongs to another device.")
    sent = values.read_instant(entry.device_sent_at, "device_sent_at")
    received = values.read_instant(entry.device_received_at, "device_received_at")
    if received < sent:
        raise refused(
            "times_backwards", "device_received_at", "The answer cannot arrive before the question."
        )
    there = ClockObservation.objects.filter(pk=entry.id, device=device).first()
    if there is not None:
        return there
    at = _ticket_instant(entry.ticket, as_of)
    offset = answered_offset(device_sent=sent, server_at=at, device_received=received)
    return _kept(
        ClockObservation(
            id=entry.id,
            device=device,
            device_reads=received,
            true_low=at,
            true_high=at + (received - sent),
            offset_low_s=offset.low.total_seconds(),
            offset_high_s=offset.high.total_seconds(),
            how="network_exchange",
            exchange={
                "server_at": at.isoformat(),
                "device_sent_at": entry.device_sent_at,
                "device_received_at": entry.device_received_at,
            },
        ),
        actor=actor,
        as_of=as_of,
    )


@transaction.atomic
def observe_screen(
    *, job: Job, equipment: Equipment, actor: Actor, as_of: datetime, entry: ScreenEntry
) -> ClockObservation:
    """The display of an instrument with a clock, read (or photographed) by a device whose clock is known.

    A display to the minute that shows 13:11 stands for the whole minute. The reading device's own uncertainty
    widens the interval.

    Raises:
        Conflict: ``no_clock`` where the instrument has none on file.
        Refused: ``bad_clock_text``, ``unknown_device``, ``unknown_reference``, and those of moments.
    """
    recording.require_role(actor, *recording.FLOOR_ROLES)
    own = Device.objects.filter(equipment=equipment).order_by("enrolled_at").first()
    if own is None:
        raise Conflict("no_clock", f"{equipment.tag} has no clock on file.")
    there = ClockObservation.objects.filter(pk=entry.id, device=own).first()
    if there is not None:
        return there
    seen = moments.read_moment(
        entry.seen_at,
        field="seen_at",
        device=references.device(actor, entry.device, "device"),
        as_of=as_of,
    )
    shown = _shown(entry.shows, ZoneInfo(job.location.tz))
    photo = _photo(job, entry.evidence)
    offset = screen_offset(
        shows=shown[0], resolution=shown[1] - shown[0], seen_low=seen.low, seen_high=seen.high
    )
    kept = _kept(
        ClockObservation(
            id=entry.id,
            device=own,
            device_reads=shown[0],
            true_low=seen.low,
            true_high=seen.high,
            offset_low_s=offset.low.total_seconds(),
            offset_high_s=offset.high.total_seconds(),
            how="photo_of_screen",
            evidence=photo,
            exchange={"shows": entry.shows, "seen_at": entry.seen_at},
        ),
        actor=actor,
        as_of=as_of,
    )
    assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)
    return kept


def _shown(text: str, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """First and last instant that the display's text can stand for."""
    try:
        wall = datetime.fromisoformat(text)
    except ValueError as error:
        raise refused("bad_clock_text", "shows", "shows must look like 2026-05-05T14:05.") from error
    if wall.tzinfo is not None:
        raise refused("bad_clock_text", "shows", "Type what the display shows, without an offset.")
    step_s = 60.0 if len(text) == len("2026-05-05T14:05") else 1.0
    reading = read_local(wall, zone, resolution_s=step_s)
    return reading.reading, reading.reading + timedelta(seconds=reading.resolution_s)


def _photo(job: Job, evidence_id: UUID | None) -> Evidence | None:
    return references.evidence_file(job, evidence_id, "evidence", kind="photo")


def _kept(row: ClockObservation, *, actor: Actor, as_of: datetime) -> ClockObservation:
    row.organisation = actor.organisation
    row.received_at = as_of
    row.created_by = actor.person
    recording.insert(row)
    recording.log_about(
        actor=actor,
        as_of=as_of,
        what="clock.observed",
        target=f"device/{row.device_id}",
        detail={
            "observation": str(row.pk),
            "how": row.how,
            "offset_low_s": row.offset_low_s,
            "offset_high_s": row.offset_high_s,
        },
    )
    return row
