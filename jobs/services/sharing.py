"""Packets shown to people outside: granted for a while, every download noted, taken back at any time."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.models import F, Q

from jobs.access import Actor
from jobs.errors import Conflict, Gone, NotFound
from jobs.ledger.append import append
from jobs.models import AccessGrant, Packet, PacketDownload, Person
from jobs.services import recording, values
from jobs.services.values import refused
from rules.canonical import sha256_hex

GRANTERS: Final = ("location_manager", "quality_manager", "operations_manager")
PURPOSES: Final = ("insurer_audit", "owner_copy", "discovery", "sublet", "internal")
# A grant ends; only discovery may ask for longer (project default).
LONGEST_GRANT: Final = timedelta(days=90)
MOST_SECTIONS: Final = 40
# Those who look from outside, with the roles that such people have.
OUTSIDE_ROLES: Final = ("auditor", "counsel", "guest_calibrator")


@dataclass(frozen=True, slots=True, kw_only=True)
class GrantEntry:
    """``to_person`` is a login, of this or another organisation; ``sections`` empty means the whole
    packet."""

    id: UUID
    to_person: str
    purpose: str
    until: str
    sections: tuple[str, ...] = ()
    max_downloads: int | None = None


@transaction.atomic
def grant_access(*, packet: Packet, actor: Actor, as_of: datetime, entry: GrantEntry) -> AccessGrant:
    """Shows one sealed packet to one person until a day.

    Raises:
        Conflict: ``packet_not_sealed``, ``id_in_use``.
        Refused: ``unknown_reference``, ``bad_choice``, ``grant_too_long`` (90 days, save for discovery),
            ``until_in_the_past``, ``bad_number``, and those of values.
    """
    recording.require_role(actor, *GRANTERS)
    if not packet.pdf_sha256:
        raise Conflict("packet_not_sealed", "This packet is not sealed yet.")
    grant = AccessGrant(
        id=entry.id,
        organisation=actor.organisation,
        packet=packet,
        job=packet.job,
        to_person=_receiver(actor, entry.to_person),
        purpose=values.read_choice(entry.purpose, PURPOSES, "purpose"),
        sections=_sections(entry.sections),
        valid_from=as_of,
        until=_until(entry, as_of),
        max_downloads=_most_downloads(entry.max_downloads),
        granted_at=as_of,
        granted_by=actor.person,
    )
    there = AccessGrant.objects.filter(pk=entry.id).first()
    if there is not None:
        same = (there.packet_id, there.to_person_id, there.until) == (
            packet.pk,
            grant.to_person_id,
            grant.until,
        )
        if not same:
            raise recording.id_in_use()
        return there
    recording.insert(grant)
    recording.log_about(
        actor=actor,
        as_of=as_of,
        what="access.granted",
        target=f"packet/{packet.pk}",
        detail={
            "grant": str(grant.pk),
            "packet": packet.serial,
            "to": entry.to_person.lower(),
            "purpose": grant.purpose,
            "until": grant.until.isoformat(),
        },
    )
    return grant


def _receiver(actor: Actor, login: str) -> Person:
    """A colleague, or somebody who looks from outside. Others' staff are not told apart from nobody."""
    person = Person.objects.filter(login=login.lower(), is_active=True).first()
    is_colleague = person is not None and person.organisation_id == actor.organisation_id
    if person is None or not (is_colleague or person.has_role(*OUTSIDE_ROLES)):
        raise refused("unknown_reference", "to_person", "to_person names nobody who can be given access.")
    return person


def _until(entry: GrantEntry, as_of: datetime) -> datetime:
    until = values.read_instant(entry.until, "until")
    if until <= as_of:
        raise refused("until_in_the_past", "until", "until lies in the past.")
    if entry.purpose != "discovery" and until > as_of + LONGEST_GRANT:
        raise refused("grant_too_long", "until", f"Access ends within {LONGEST_GRANT.days} days.")
    return until


def _sections(sections: tuple[str, ...]) -> list[str]:
    if len(sections) > MOST_SECTIONS:
        raise refused("too_many", "sections", f"sections has more than {MOST_SECTIONS} names.")
    return [values.read_text(name, "sections", longest=60) for name in dict.fromkeys(sections)]


def _most_downloads(value: int | None) -> int | None:
    if value is not None and not 1 <= value <= 1000:
        raise refused("bad_number", "max_downloads", "max_downloads lies between 1 and 1000.")
    return value


@transaction.atomic
def revoke_grant(*, grant: AccessGrant, actor: Actor, as_of: datetime) -> AccessGrant:
    """Takes access back at once. ``Conflict`` ``already_revoked``."""
    recording.require_role(actor, *GRANTERS)
    moved = AccessGrant.objects.filter(pk=grant.pk, revoked_at__isnull=True).update(
        revoked_at=as_of, revoked_by=actor.person
    )
    if moved != 1:
        raise Conflict("already_revoked", "This access was taken back before.")
    grant.refresh_from_db()
    recording.log_about(
        actor=actor,
        as_of=as_of,
        what="access.revoked",
        target=f"packet/{grant.packet_id}",
        detail={"grant": str(grant.pk)},
    )
    return grant


@transaction.atomic
def note_download(
    *,
    packet: Packet,
    actor: Actor,
    as_of: datetime,
    grant: AccessGrant | None,
    data: bytes,
    request_id: str = "",
) -> PacketDownload:
    """Counts and logs a download, in the log of the packet's own organisation.

    Call it before giving the bytes.

    Raises:
        NotFound: no grant and not the actor's organisation.
        Gone: ``grant_over``: run out, taken back, or used up; decided in the same statement that counts, so
            two downloads at once cannot both be the last one.
    """
    if grant is None and packet.organisation_id != actor.organisation_id:
        raise NotFound
    if grant is not None:
        left = Q(max_downloads__isnull=True) | Q(downloads__lt=F("max_downloads"))
        moved = AccessGrant.objects.filter(
            left, pk=grant.pk, to_person=actor.person, revoked_at__isnull=True, until__gt=as_of
        ).update(downloads=F("downloads") + 1)
        if moved != 1:
            raise Gone("grant_over", "This access has ended.")
    download = PacketDownload(
        organisation_id=packet.organisation_id,
        packet=packet,
        grant=grant,
        person=actor.person,
        downloaded_at=as_of,
        sha256=sha256_hex(data),
        size_bytes=len(data),
        request_id=request_id[:64],
    )
    download.save(force_insert=True)
    append(
        organisation=packet.organisation,
        at=as_of,
        who=actor.person.login,
        device=str(actor.device.pk) if actor.device is not None else "",
        what="packet.downloaded",
        target=f"packet/{packet.pk}",
        detail={
            "packet": packet.serial,
            "grant": str(grant.pk) if grant is not None else "",
            "sha256": download.sha256,
            "bytes": download.size_bytes,
        },
    )
    return download
