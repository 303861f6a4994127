"""log-extract.json of a bundle: what the log says of the packet since its freezing, under a later head."""

import json
from typing import Any, Final

from jobs.ledger.heads import head_of
from jobs.ledger.tree import LogTree, entry_of
from jobs.models import LogEntry, Packet, PacketRedaction, TreeHead
from rules.canonical import canonical_bytes
from rules.seal.log_extract import ADDED, FORMAT, SIGNED, UNSIGNED
from rules.seal.sealing_check import SEALED


def extract_of(packet: Packet) -> bytes | None:
    """The extract as canonical JSON; None for a packet whose log has no head (sealed before there were any).

    Its head is the newest one kept: a head that was signed after the last addition proves that too. The
    scope of the packet's organisation is open.
    """
    rows = _entries(packet)
    sealed_n = next((row.n for row in rows if row.what == SEALED), None)
    rows = sorted((*rows, *_of_the_origin(packet)), key=lambda row: row.n)
    head = TreeHead.objects.filter(organisation_id=packet.organisation_id).order_by("-size", "-pk").first()
    if sealed_n is None or head is None or head.size < sealed_n:
        return None
    tree = LogTree(packet.organisation_id, head.size)
    plain = {
        "format": FORMAT,
        "packet": packet.serial,
        "entries": [_plain(row, tree, head.size) for row in rows],
        "head": head_of(head).plain(),
        "head_signature": bytes(head.signature).hex(),
        "certificate": bytes(head.certificate).hex(),
        "is_demo": head.is_demo,
        "consistency": [step.hex() for step in tree.consistency(sealed_n)],
    }
    return canonical_bytes(plain)


WHAT: Final = (SEALED, SIGNED, UNSIGNED, ADDED)


def _entries(packet: Packet) -> list[LogEntry]:
    rows = LogEntry.objects.filter(
        organisation_id=packet.organisation_id,
        what__in=WHAT,
        target__in=(f"job/{packet.job_id}", f"packet/{packet.pk}"),
    ).order_by("n")
    return [row for row in rows if json.loads(row.detail).get("packet") == packet.serial]


def _of_the_origin(packet: Packet) -> list[LogEntry]:
    """The sealing of the packet that a redacted one was derived from, at the end of the row of derivations.

    Of the earlier form it stays out: that held a bare hash of everything that the packet withholds.
    """
    made = PacketRedaction.objects.filter(packet=packet).select_related("of").first()
    if made is None:
        return []
    origin = made.of
    while (before := PacketRedaction.objects.filter(packet=origin).select_related("of").first()) is not None:
        origin = before.of
    rows = LogEntry.objects.filter(
        organisation_id=packet.organisation_id, what=SEALED, target=f"job/{packet.job_id}"
    ).order_by("n")
    told = [(row, json.loads(row.detail)) for row in rows]
    return [
        row for row, detail in told if detail.get("packet") == origin.serial and "source_sha256" not in detail
    ]


def _plain(row: LogEntry, tree: LogTree, size: int) -> dict[str, Any]:
    proof = tree.inclusion(row.n) if row.n <= size else ()
    return {
        "n": row.n,
        "entry": canonical_bytes(entry_of(row).content()).decode("utf-8"),
        "prev": row.prev,
        "hash": row.hash,
        "proof": [step.hex() for step in proof],
    }
