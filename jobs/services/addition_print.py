"""The pages of additions: made once, after the addition, and kept beside it."""

import json
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.db import transaction

from jobs import outbox, storage
from jobs.ledger.heads import sign_head
from jobs.ledger.sealing import sealing_of
from jobs.ledger.tree import LogTree, entry_of
from jobs.models import AdditionPrint, LedgerHead, LogEntry, Packet, PacketAddition
from jobs.packets.addition_page import AdditionPage, addition_pdf
from jobs.packets.additions import ADDED, TITLES
from jobs.packets.seal import Seal, seal_pdf
from jobs.signing.identities import signer_of
from jobs.signing.signer import Signer
from rules.canonical import canonical_bytes

# A value longer than this is cut on the page; the attached addition has all of it (project default).
LONGEST_VALUE: Final = 1200


def print_addition(*, addition_id: UUID, as_of: datetime) -> AdditionPrint:
    """Makes the pages of one addition; a second time gives those that are there.

    Signed like a packet where the organisation has a key, with the proof that the addition stands in the log.

    Raises:
        RenderError: the pages could not be made this time; the work is tried again.
        jobs.signing.signer.SigningKeyUnavailable: the key does not answer now.
    """
    joined = ("packet__organisation", "packet__job__location", "printed")
    row = PacketAddition.objects.select_related(*joined).get(pk=addition_id)
    if hasattr(row, "printed"):
        return row.printed
    signer = signer_of(row.packet.organisation)
    body = addition_pdf(_page(row, signer))
    seal = Seal(
        signer=signer, at=as_of, organisation=row.packet.organisation.name, reason="Addition to a packet"
    ) if signer is not None else None  # fmt: skip
    pdf = seal_pdf(body, _proof(row, signer, as_of), dated=row.at, seal=seal)
    return _keep(row, pdf, signer.key_sha256 if signer is not None else "", as_of)


def ensure_printed(*, packet: Packet, as_of: datetime) -> None:
    """Makes the pages of every addition of a packet that has none yet; 1 to 2 s for each."""
    waiting = PacketAddition.objects.filter(packet=packet, printed__isnull=True).order_by("number")
    for addition_id in list(waiting.values_list("pk", flat=True)):
        print_addition(addition_id=addition_id, as_of=as_of)


@transaction.atomic
def _keep(row: PacketAddition, pdf: bytes, key_sha256: str, as_of: datetime) -> AdditionPrint:
    # Of two that printed at once the second waits here and then takes the first one's.
    PacketAddition.objects.select_for_update().get(pk=row.pk)
    there = AdditionPrint.objects.filter(addition=row).first()
    if there is not None:
        return there
    made = AdditionPrint(
        organisation_id=row.organisation_id,
        addition=row,
        sha256=storage.put(pdf),
        size_bytes=len(pdf),
        made_at=as_of,
        key_sha256=key_sha256,
    )
    made.save(force_insert=True)
    outbox.finish_here()
    return made


@transaction.atomic
def _proof(row: PacketAddition, signer: Signer | None, as_of: datetime) -> bytes:
    """What a packet carries of the log, for this addition's entry, under a head over the log as it is now.

    Raises:
        LookupError: the log has no entry of this addition.
    """
    organisation = row.packet.organisation
    size = LedgerHead.objects.select_for_update().get(pk=organisation.pk).n
    about = LogEntry.objects.filter(target=f"packet/{row.packet_id}", what=ADDED)
    entry = next((one for one in about if json.loads(one.detail)["addition"] == str(row.pk)), None)
    if entry is None:
        raise LookupError(f"the log has no entry of addition {row.pk}")
    sign_head(organisation=organisation, size=size, as_of=as_of, signer=signer)
    path = LogTree(organisation.pk, size).inclusion(entry.n)
    own = {
        "entry": canonical_bytes(entry_of(entry).content()).decode("utf-8"),
        "n": entry.n,
        "log_proof": [step.hex() for step in path],
    }
    return canonical_bytes(sealing_of(organisation, size) | own)


def _page(row: PacketAddition, signer: Signer | None) -> AdditionPage:
    packet, organisation = row.packet, row.packet.organisation
    return AdditionPage(
        serial=packet.serial,
        organisation=organisation.name,
        place=packet.job.location.name,
        tz=packet.job.location.tz,
        paper=organisation.page_size,
        number=row.number,
        title=TITLES[row.kind],
        at=row.at,
        text=row.text,
        facts=tuple((_name(name), value_words(value)) for name, value in row.facts.items()),
        root=packet.merkle_root,
        pdf_sha256=packet.pdf_sha256,
        sha256=row.sha256,
        previous=row.previous,
        data=storage.read(row.sha256),
        seal_words=_seal_words(signer),
    )


def _seal_words(signer: Signer | None) -> str:
    """What a reader has to know of the signature; empty where it is an ordinary one."""
    if signer is None:
        return "This page carries no signature: the operator had no signing key when it was made."
    return "Signed with a demonstration key: this page is no evidence." if signer.is_demo else ""


def _name(name: str) -> str:
    plain = name.replace("_", " ")
    return plain[:1].upper() + plain[1:]


def value_words(value: Any) -> str:
    """Plain data as one line: lists with semicolons, objects as ``name value`` pairs, yes and no."""
    words = _words(value) or "none"
    return words if len(words) <= LONGEST_VALUE else f"{words[:LONGEST_VALUE]} … (all of it in addition.json)"


def _words(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return ", ".join(f"{name.replace('_', ' ')} {_words(item)}" for name, item in value.items())
    if isinstance(value, list | tuple):
        return "; ".join(_words(item) for item in value)
    return f"{value:g}" if isinstance(value, float) else "" if value is None else str(value)
