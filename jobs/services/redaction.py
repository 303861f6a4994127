"""Redacted packets: asked for by choosing what to withhold, refused while it still stands somewhere else."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.db import transaction

from jobs import outbox, storage
from jobs.access import Actor
from jobs.errors import Conflict, NotFound, Refused
from jobs.models import Job, Packet, PacketRedaction
from jobs.packets.enclosed import read_packet
from jobs.packets.entry_names import EntryNames, NamedEntry, choosable, may_be_withheld
from jobs.packets.following import Sealed, following
from jobs.packets.freeze import signer_card
from jobs.packets.neighbours import of_others
from jobs.packets.outside import belongs_to_others, kind_in_bytes
from jobs.packets.redacting import (
    NotThisPacketError,
    Painted,
    Wanted,
    redacted_source,
)
from jobs.packets.redaction_search import Hit, Term, found_in, hits, terms_of
from jobs.packets.source import EnclosedFile, PacketSource, WithheldItem
from jobs.packets.strangers import Known, has_vin_of_another, strings_in
from jobs.services import painting, recording, values
from jobs.services.packet import TASK, sealed_bytes
from jobs.services.painting import PictureChoice
from jobs.services.values import refused
from rules.canonical import PlainError
from rules.record_names import RecordNames
from rules.seal.entries import EntryError
from rules.seal.redaction_check import KINDS

REDACTORS: Final = ("quality_manager", "operations_manager")
SHORTEST_WHY: Final = 10
LONGEST_WHY: Final = 300
MOST_CHOICES: Final = 500
ANOTHERS_WHY: Final = "It belongs to another vehicle, customer or job."
TEXT_TYPES: Final = ("text/", "application/json", "application/xml", "application/gpx+xml")


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldChoice:
    """An entry to withhold, by its path; ``kind`` of ``KINDS``; ``why`` for the reader."""

    path: str
    kind: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftChoice:
    """An entry in which something withheld was found and which is shipped all the same."""

    path: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RedactionEntry:
    id: UUID
    fields: tuple[FieldChoice, ...] = ()
    pictures: tuple[PictureChoice, ...] = ()
    left: tuple[LeftChoice, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What would be withheld: the chosen, what follows from them, and where it still stands."""

    items: tuple[WithheldItem, ...]
    hits: tuple[Hit, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ready:
    opened: Sealed
    items: tuple[WithheldItem, ...]
    painted: tuple[Painted, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What a person may choose from."""

    entries: tuple[NamedEntry, ...]
    pictures: tuple[EnclosedFile, ...]


# ------------------------------------------------------------------ what there is to choose


def choices_of(*, packet: Packet, actor: Actor) -> Choices:
    """Entries with words, and pictures, of a sealed packet of the actor's own organisation.

    Raises:
        NotAllowed: ``role_missing``. NotFound: not the actor's organisation.
        Conflict: ``packet_not_sealed``, ``packet_of_an_earlier_form``.
    """
    opened = _opened(packet, actor)
    names = _names(opened.source)
    pictures = tuple(file for file in opened.source.shipped_files() if file.copy_sha256)
    return Choices(entries=choosable(opened.shown, names), pictures=pictures)


def picture_of(*, packet: Packet, actor: Actor, number: int) -> bytes:
    """The large page copy of one picture of the packet, without metadata. Raises as ``choices_of``."""
    for file in choices_of(packet=packet, actor=actor).pictures:
        if file.number == number:
            return storage.read(file.large_sha256 or file.copy_sha256)
    raise NotFound()


def plan_of(*, packet: Packet, actor: Actor, entry: RedactionEntry) -> Plan:
    """What ``request_redaction`` would withhold and what it would refuse for; nothing is kept.

    Raises:
        Refused, Conflict, NotAllowed, NotFound: as ``request_redaction``, save for hits.
    """
    return _plan(_opened(packet, actor), packet, entry)


# ------------------------------------------------------------------ asked for


def request_redaction(*, packet: Packet, actor: Actor, as_of: datetime, entry: RedactionEntry) -> Packet:
    """A packet of kind ``redacted`` derived from a sealed one: same tree, same root; built by the worker.

    Raises:
        NotAllowed: ``role_missing``.
        NotFound: the packet is not of the actor's organisation.
        Conflict: ``packet_not_sealed``, ``packet_of_an_earlier_form``, ``packet_changed``, ``id_in_use``.
        Refused: ``nothing_to_withhold``, ``unknown_entry``, ``unknown_picture``, ``bad_region``,
            ``bad_choice``, ``text_length``, ``chosen_twice``, and ``redaction_leaves_hits``: something
            withheld still stands elsewhere; ``hits`` lists path, where, kind and the words around.
    """
    opened = _opened(packet, actor)
    there = Packet.objects.filter(pk=entry.id).first()
    if there is not None:
        if there.kind != "redacted" or there.job_id != packet.job_id:
            raise recording.id_in_use()
        return there
    plan = _plan(opened, packet, entry)
    if plan.hits:
        raise _leaves(plan.hits)
    painted = painting.paint_pictures(
        organisation=packet.organisation, source=opened.source, pictures=entry.pictures, as_of=as_of
    )
    return _keep(packet, actor, as_of, entry, _Ready(opened=opened, items=plan.items, painted=painted))


def _leaves(found: tuple[Hit, ...]) -> Refused:
    return Refused(
        "redaction_leaves_hits",
        f"What you withhold still stands in {len(found)} other places. Withhold them too, or decide for each "
        "that it may stay.",
        hits=[
            {"path": hit.path, "where": hit.where, "kind": hit.kind, "around": hit.around} for hit in found
        ],
    )


@transaction.atomic
def _keep(packet: Packet, actor: Actor, as_of: datetime, entry: RedactionEntry, ready: _Ready) -> Packet:
    job = Job.objects.select_for_update().select_related("organisation").get(pk=packet.job_id)
    number = job.packet_count + 1
    serial = f"{job.number}/P{number}"
    wanted = Wanted(
        serial=serial, made_at=as_of, made_by=actor.person.login, items=ready.items, painted=ready.painted
    )
    source = _derived(ready.opened, wanted, packet)
    made = Packet(
        id=entry.id,
        organisation=job.organisation,
        job=job,
        number=number,
        serial=serial,
        kind="redacted",
        requested_at=as_of,
        requested_by=actor.person,
        as_of=packet.as_of,
        assessment=packet.assessment,
        source_sha256=storage.put(source.to_bytes()),
        log_head=source.log_head,
        salt_key=bytes(packet.salt_key),
    )
    Job.objects.filter(pk=job.pk).update(packet_count=number)
    recording.insert(made)
    text = source.redaction.text if source.redaction is not None else ""
    row = PacketRedaction(
        packet=made,
        organisation=job.organisation,
        of=packet,
        sha256=storage.put(text.encode()),
        made_at=as_of,
        made_by=actor.person,
        left=[[item.path, item.why] for item in entry.left],
    )
    row.save(force_insert=True)
    outbox.enqueue(
        organisation=made.organisation,
        task=TASK,
        arguments={"packet_id": str(made.pk)},
        key=f"packet/{made.pk}",
        at=as_of,
    )
    detail = {
        "packet": serial,
        "kind": "redacted",
        "id": str(made.pk),
        "of": packet.serial,
        "withheld": len(source.withheld),
        "redaction_sha256": row.sha256,
    }
    recording.log(actor=actor, as_of=as_of, what="packet.requested", job=job, detail=detail)
    return made


def _derived(opened: Sealed, wanted: Wanted, packet: Packet) -> PacketSource:
    try:
        source = redacted_source(opened, wanted, signer=signer_card(packet.organisation))
    except NotThisPacketError:
        raise Conflict(
            "packet_changed",
            "The sealed packet's entries do not lead to its root; nothing is derived from it.",
        ) from None
    except (PlainError, EntryError) as error:
        raise Refused(
            "cannot_be_left_out", f"Without what you withhold no packet can be made: {error}."
        ) from None
    return source


# ------------------------------------------------------------------ opened, named, planned


def _opened(packet: Packet, actor: Actor) -> Sealed:
    recording.require_role(actor, *REDACTORS)
    if packet.organisation_id != actor.organisation_id or actor.is_outsider:
        raise NotFound()
    source = PacketSource.from_bytes(storage.read(packet.source_sha256)) if packet.source_sha256 else None
    data = sealed_bytes(packet)
    if source is None or source.form < 2:
        raise Conflict(
            "packet_of_an_earlier_form", "This packet is of an earlier form. Seal a new one and redact that."
        )
    enclosed = read_packet(data)
    return Sealed(source=source, root=packet.merkle_root, entries=tuple(enclosed.entries))


def _names(source: PacketSource) -> EntryNames:
    return EntryNames(
        RecordNames(source.facts),
        {person.id: person.name for person in source.facts.people},
        {file.name: file.number for file in source.files},
    )


def _plan(opened: Sealed, packet: Packet, entry: RedactionEntry) -> Plan:
    names, shown = _names(opened.source), opened.shown
    chosen = _chosen(entry, shown, names)
    painted = {f"files/{choice.file}" for choice in entry.pictures}
    if not chosen and not painted:
        raise refused("nothing_to_withhold", "fields", "Choose at least one field or picture.")
    painting.check_choices(opened.source, entry.pictures)
    others = _of_others(opened, packet, names, {item.path for item in chosen} | painted)
    items = [*chosen, *others]
    follows = following(opened, [*(item.path for item in items), *painted])
    kinds = {item.path: item.kind for item in items}
    items += [
        WithheldItem(path=path, where=names.where(path), kind=kinds.get(path, "other"), why=why, follows=True)
        for path, why in sorted(follows.items())
        if path not in painted
    ]
    gone = {item.path for item in items} | painted | {item.path for item in entry.left}
    terms = tuple(dict.fromkeys(term for item in chosen for term in terms_of(shown[item.path], item.kind)))
    left = {path: value for path, value in shown.items() if path not in gone}
    where = {path: names.where(path) for path in left}
    found = [*hits(left, terms, where), *_hits_in_files(opened.source, terms, gone, names)]
    return Plan(items=tuple(items), hits=tuple(found))


def _chosen(entry: RedactionEntry, shown: Mapping[str, Any], names: EntryNames) -> list[WithheldItem]:
    if len(entry.fields) + len(entry.pictures) + len(entry.left) > MOST_CHOICES:
        raise refused("too_many", "fields", f"At most {MOST_CHOICES} choices.")
    seen: set[str] = set()
    found = []
    for choice in entry.fields:
        if choice.path in seen:
            raise refused("chosen_twice", "fields", f"{choice.path} is chosen twice.")
        if choice.path not in shown or not may_be_withheld(choice.path):
            raise refused("unknown_entry", "fields", f"{choice.path} is nothing that can be withheld here.")
        seen.add(choice.path)
        kind = values.read_choice(choice.kind, tuple(KINDS), "kind")
        why = values.read_text(choice.why, "why", shortest=SHORTEST_WHY, longest=LONGEST_WHY)
        found.append(WithheldItem(path=choice.path, where=names.where(choice.path), kind=kind, why=why))
    for left in entry.left:
        if left.path not in shown:
            raise refused("unknown_entry", "left", f"{left.path} is nothing of this packet.")
        values.read_text(left.why, "why", shortest=SHORTEST_WHY, longest=LONGEST_WHY)
    return found


def _of_others(opened: Sealed, packet: Packet, names: EntryNames, gone: set[str]) -> list[WithheldItem]:
    """Entries that hold another's car, name or number, and originals that show them: always withheld."""
    source, shown = opened.source, opened.shown
    texts = {
        path: [text for text in strings_in(value) if len(text) > 3]
        for path, value in shown.items()
        if not path.startswith(("packs/", "packet/"))
    }
    vin = _vin(opened)
    known = Known(vin=vin, job_id=source.facts.job_id, others=of_others(packet.job))
    paths = [
        path
        for path, found in texts.items()
        if any(has_vin_of_another(text, vin) or known.said_in(text) for text in found)
    ]
    paths += [
        f"files/{file.name}"
        for file in source.shipped_files()
        if belongs_to_others(source, file) or kind_in_bytes(_bytes(file), file.media_type, known)
    ]
    return [
        WithheldItem(path=path, where=names.where(path), kind="anothers_data", why=ANOTHERS_WHY, follows=True)
        for path in dict.fromkeys(paths)
        if path not in gone and path in shown
    ]


def _vin(opened: Sealed) -> str:
    return str(opened.shown.get("facts/vehicle/vin", opened.source.facts.vehicle.vin))


def _bytes(file: EnclosedFile) -> bytes:
    try:
        return storage.read(file.sha256)
    except (storage.StoredBytesMissingError, storage.StoredBytesChangedError):
        return b""


def _hits_in_files(
    source: PacketSource, terms: tuple[Term, ...], gone: set[str], names: EntryNames
) -> list[Hit]:
    """Originals with words in them that hold something withheld: they travel beside the packet."""
    found = []
    for file in source.shipped_files():
        path = f"files/{file.name}"
        if path in gone or not file.media_type.startswith(TEXT_TYPES):
            continue
        term = found_in(_bytes(file).decode("utf-8", "replace"), terms)
        if term is not None:
            found.append(Hit(path=path, where=names.where(path), kind=term.kind, around="in the file itself"))
    return found
