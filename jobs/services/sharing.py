"""Packets shown to people outside: granted for a while to a person or by link, taken back at any time."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import ip_address, ip_network
from typing import Final
from uuid import UUID

from django.db import transaction

from jobs.access import Actor
from jobs.errors import Conflict, NotFound
from jobs.link_access import link_sha256, new_link_text
from jobs.models import AccessGrant, Packet, Person, ShareLink
from jobs.models.grant import PURPOSES, SECTIONS
from jobs.services import recording, values
from jobs.services.passphrases import hash_passphrase
from jobs.services.values import refused

GRANTERS: Final = ("location_manager", "quality_manager", "operations_manager")
# Two weeks if nothing else is said; only discovery may ask for more than 90 days (project default).
USUAL_GRANT: Final = timedelta(days=14)
LONGEST_GRANT: Final = timedelta(days=90)
MOST_SECTIONS: Final = 40
MOST_PACKETS: Final = 400
MOST_DOWNLOADS: Final = 1000
ENDS: Final = ("superseded", "sharer_leaves", "evidence_flagged")
# Those who look from outside, with the roles that such people have.
OUTSIDE_ROLES: Final = ("auditor", "counsel", "guest_calibrator")


@dataclass(frozen=True, slots=True, kw_only=True)
class GrantEntry:
    """``to_person`` is a login, of this or another organisation; ``sections`` empty means the whole packet.

    ``until`` empty: two weeks. ``ends_when``: what ends it before that, of ``ENDS``.
    """

    id: UUID
    to_person: str
    purpose: str
    until: str = ""
    sections: tuple[str, ...] = ()
    max_downloads: int | None = None
    ends_when: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkEntry:
    """A link for somebody without a sign-in; the rest as in ``GrantEntry``."""

    id: UUID
    to_name: str
    to_company: str
    purpose: str
    until: str = ""
    sections: tuple[str, ...] = ()
    max_downloads: int | None = None
    ends_when: tuple[str, ...] = ()
    passphrase: str = ""


@transaction.atomic
def grant_access(*, packet: Packet, actor: Actor, as_of: datetime, entry: GrantEntry) -> AccessGrant:
    """Shows one sealed packet to one person until a day.

    Raises:
        NotFound: the packet is another organisation's: what was granted to somebody is not theirs to pass on.
        Conflict: ``packet_not_sealed``, ``id_in_use``.
        Refused: ``unknown_reference``, ``bad_choice``, ``grant_too_long`` (90 days, save for discovery),
            ``until_in_the_past``, ``bad_number``, and those of values.
    """
    recording.require_role(actor, *GRANTERS)
    _require_own_and_sealed(packet, actor)
    grant = _grant(packet, actor, as_of, entry)
    grant.pk, grant.to_person = entry.id, receiver(actor, entry.to_person)
    there = AccessGrant.objects.filter(pk=entry.id).first()
    if there is not None:
        same = (there.packet_id, there.to_person_id) == (packet.pk, grant.to_person_id)
        if not same or (entry.until and there.until != grant.until):
            raise recording.id_in_use()
        return there
    recording.insert(grant)
    recording.log_about(
        actor=actor,
        as_of=as_of,
        what="access.granted",
        target=f"packet/{packet.pk}",
        detail={"to": entry.to_person.lower(), **_told(grant, packet)},
    )
    return grant


@transaction.atomic
def share_by_link(
    *, packets: Sequence[Packet], actor: Actor, as_of: datetime, entry: LinkEntry
) -> tuple[ShareLink, str]:
    """Makes a link that opens these sealed packets, and nothing else, until a day.

    Returns:
        The link and its token, which is given this once and stored nowhere.

    Raises:
        NotFound: a packet is another organisation's.
        Conflict: ``packet_not_sealed``; ``link_made_before``: the same id again, a token is told once.
        Refused: ``list_empty``, ``too_many``, ``passphrase_short``, and those of ``grant_access``.
    """
    recording.require_role(actor, *GRANTERS)
    listed = list({packet.pk: packet for packet in packets}.values())
    if not listed:
        raise refused("list_empty", "packets", "A link needs at least one packet.")
    if len(listed) > MOST_PACKETS:
        raise refused("too_many", "packets", f"A link opens at most {MOST_PACKETS} packets.")
    for packet in listed:
        _require_own_and_sealed(packet, actor)
    if ShareLink.objects.filter(pk=entry.id).exists():
        raise Conflict(
            "link_made_before", "This link was made before. Its address was shown once; make another."
        )
    text = new_link_text()
    link = ShareLink(
        id=entry.id,
        organisation=actor.organisation,
        token_sha256=link_sha256(text),
        to_name=values.read_text(entry.to_name, "to_name", longest=80),
        to_company=values.read_text(entry.to_company, "to_company", longest=80),
        purpose=values.read_choice(entry.purpose, PURPOSES, "purpose"),
        valid_from=as_of,
        until=_until(entry, as_of),
        passphrase_hash=hash_passphrase(entry.passphrase) if entry.passphrase else "",
        made_at=as_of,
        made_by=actor.person,
    )
    recording.insert(link)
    grants = [_grant(packet, actor, as_of, entry) for packet in listed]
    for grant in grants:
        grant.link = link
        grant.save(force_insert=True)
    told = [_told(grant, packet) for grant, packet in zip(grants, listed, strict=True)]
    recording.log_about(
        actor=actor,
        as_of=as_of,
        what="link.made",
        target=f"link/{link.pk}",
        detail={"until": link.until.isoformat(), "passphrase": bool(link.passphrase_hash), "packets": told},
    )
    return link, text


def _require_own_and_sealed(packet: Packet, actor: Actor) -> None:
    if packet.organisation_id != actor.organisation_id:
        raise NotFound()
    if packet.state != "sealed" or not packet.pdf_sha256:
        raise Conflict("packet_not_sealed", "This packet is not sealed yet.")


def _grant(packet: Packet, actor: Actor, as_of: datetime, entry: GrantEntry | LinkEntry) -> AccessGrant:
    """One packet's grant, to nobody yet."""
    ends = values.read_choices(list(dict.fromkeys(entry.ends_when)), ENDS, "ends_when")
    return AccessGrant(
        organisation=actor.organisation,
        packet=packet,
        job=packet.job,
        purpose=values.read_choice(entry.purpose, PURPOSES, "purpose"),
        sections=_sections(entry.sections),
        valid_from=as_of,
        until=_until(entry, as_of),
        max_downloads=_most_downloads(entry.max_downloads),
        ends_when_superseded="superseded" in ends,
        ends_when_sharer_leaves="sharer_leaves" in ends,
        ends_when_evidence_flagged="evidence_flagged" in ends,
        granted_at=as_of,
        granted_by=actor.person,
    )


def _told(grant: AccessGrant, packet: Packet) -> dict[str, str]:
    return {
        "grant": str(grant.pk),
        "packet": packet.serial,
        "purpose": grant.purpose,
        "until": grant.until.isoformat(),
    }


def receiver(actor: Actor, login: str) -> Person:
    """A colleague, or somebody who looks from outside. Others' staff are not told apart from nobody."""
    person = Person.objects.filter(login=login.lower(), is_active=True).first()
    is_colleague = person is not None and person.organisation_id == actor.organisation_id
    if person is None or not (is_colleague or person.has_role(*OUTSIDE_ROLES)):
        raise refused("unknown_reference", "to_person", "to_person names nobody who can be given access.")
    return person


def _until(entry: GrantEntry | LinkEntry, as_of: datetime) -> datetime:
    if not entry.until:
        return as_of + USUAL_GRANT
    until = values.read_instant(entry.until, "until")
    if until <= as_of:
        raise refused("until_in_the_past", "until", "until lies in the past.")
    if entry.purpose != "discovery" and until > as_of + LONGEST_GRANT:
        raise refused("grant_too_long", "until", f"Access ends within {LONGEST_GRANT.days} days.")
    return until


def _sections(sections: tuple[str, ...]) -> list[str]:
    if len(sections) > MOST_SECTIONS:
        raise refused("too_many", "sections", f"sections has more than {MOST_SECTIONS} names.")
    return values.read_choices(list(dict.fromkeys(sections)), SECTIONS, "sections")


def _most_downloads(value: int | None) -> int | None:
    if value is not None and not 1 <= value <= MOST_DOWNLOADS:
        raise refused("bad_number", "max_downloads", f"max_downloads lies between 1 and {MOST_DOWNLOADS}.")
    return value


@transaction.atomic
def revoke_grant(*, grant: AccessGrant, actor: Actor, as_of: datetime) -> AccessGrant:
    """Takes access to one packet back at once. ``Conflict`` ``already_revoked``."""
    recording.require_role(actor, *GRANTERS)
    moved = AccessGrant.objects.filter(
        pk=grant.pk, organisation=actor.organisation, revoked_at__isnull=True
    ).update(revoked_at=as_of, revoked_by=actor.person, revoked_why="asked")
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
def revoke_link(*, link: ShareLink, actor: Actor, as_of: datetime) -> ShareLink:
    """Takes a link back at once, with everything it opens. ``Conflict`` ``already_revoked``."""
    recording.require_role(actor, *GRANTERS)
    ended = {"revoked_at": as_of, "revoked_by": actor.person, "revoked_why": "asked"}
    own = {"organisation": actor.organisation, "revoked_at__isnull": True}
    if ShareLink.objects.filter(pk=link.pk, **own).update(**ended) != 1:
        raise Conflict("already_revoked", "This link was taken back before.")
    AccessGrant.objects.filter(link=link.pk, **own).update(**ended)
    link.refresh_from_db()
    detail = {"link": str(link.pk)}
    recording.log_about(
        actor=actor, as_of=as_of, what="link.revoked", target=f"link/{link.pk}", detail=detail
    )
    return link


def shorten(ip: str) -> str:
    """An address without the part that tells one caller from the next: the network of 24 bits, of IPv6 48."""
    bits = 24 if ip_address(ip).version == 4 else 48
    return str(ip_network(f"{ip}/{bits}", strict=False).network_address)
