"""Adding to a sealed packet: one dated piece after the other, chained and logged; the sealed file stays."""

from datetime import datetime
from typing import Any, Final

from django.db import transaction

from jobs import outbox, storage
from jobs.errors import Conflict, Refused
from jobs.ledger.append import append
from jobs.models import Packet, PacketAddition
from jobs.packets.additions import ADDED, addition_bytes
from jobs.services import values
from rules.canonical import canonical_bytes, sha256_hex

PRINT_TASK: Final = "jobs.print_addition"
# One edition may concern thousands of packets at once: their pages are made when somebody asks for them.
PRINTED_WHEN_ASKED: Final = ("rule_change",)


def add_to_packet(  # noqa: PLR0913 - what one addition says; a dataclass would only repeat the names
    *,
    packet: Packet,
    kind: str,
    text: str,
    facts: dict[str, Any],
    as_of: datetime,
    who: str,
    key: str = "",
) -> PacketAddition:
    """Adds one dated piece to a sealed packet; the same event a second time gives the piece that is there.

    Args:
        kind: one of ``PacketAddition.KINDS``.
        text: plain words for a stranger who holds the sealed file.
        facts: JSON-able; what the words rest on. Nothing of other people's cars or businesses belongs in it.
        who: login, or the name of the program's own part.
        key: what makes the event the same event, within this packet; empty: kind and facts together.

    Raises:
        Conflict: ``packet_not_sealed``.
        Refused: ``bad_choice``, ``text_length``, ``text_signs``.
        rules.canonical.CanonicalError: ``facts`` has no canonical form.
    """
    values.read_choice(kind, PacketAddition.KINDS, "kind")
    words = values.read_text(text, "text", longest=4000)
    used = key or f"{kind}/{sha256_hex(canonical_bytes(facts))}"
    if len(used) > 200:
        raise Refused("text_length", "The key of an addition has at most 200 characters.", field="key")
    with transaction.atomic():
        # Of two additions at once the second waits here and then sees the first one's number.
        locked = (
            Packet.objects.select_for_update(of=("self",)).select_related("organisation").get(pk=packet.pk)
        )
        if locked.state != "sealed" or not locked.pdf_sha256:
            raise Conflict("packet_not_sealed", "This packet is not sealed yet.")
        there = PacketAddition.objects.filter(packet=locked, key=used).first()
        return there or _append(locked, kind, words, facts, as_of, who, used)


def _append(  # noqa: PLR0913, PLR0917 - as above
    packet: Packet, kind: str, text: str, facts: dict[str, Any], as_of: datetime, who: str, key: str
) -> PacketAddition:
    last = PacketAddition.objects.filter(packet=packet).order_by("-number").first()
    number, previous = (last.number + 1, last.sha256) if last is not None else (1, "")
    data = addition_bytes(
        packet=packet, number=number, kind=kind, at=as_of, text=text, facts=facts, previous=previous
    )
    row = PacketAddition(
        organisation=packet.organisation,
        packet=packet,
        number=number,
        kind=kind,
        key=key,
        at=as_of,
        who=who[:120],
        text=text,
        facts=facts,
        # Stored before the row: a row never names bytes that are not there.
        sha256=storage.put(data),
        size_bytes=len(data),
        previous=previous,
    )
    row.save(force_insert=True)
    if kind not in PRINTED_WHEN_ASKED:
        outbox.enqueue(
            organisation=packet.organisation,
            task=PRINT_TASK,
            arguments={"addition_id": str(row.pk)},
            key=f"addition/{row.pk}",
            at=as_of,
        )
    append(
        organisation=packet.organisation,
        at=as_of,
        who=row.who,
        device="",
        what=ADDED,
        target=f"packet/{packet.pk}",
        detail={
            "packet": packet.serial,
            "addition": str(row.pk),
            "number": number,
            "kind": kind,
            "sha256": row.sha256,
            "previous": previous,
        },
    )
    return row
