"""What a packet carries of the log: its own entry, the proof that it is in the log, and the signed head."""

from typing import Any, Final

from jobs.ledger.heads import head_of
from jobs.ledger.tree import LogTree, entry_of
from jobs.models import LogEntry, Organisation, TreeHead, unscoped
from rules.canonical import canonical_bytes
from rules.seal.log_proofs import entry_leaf, shows_inclusion

FORMAT: Final = "sealing 1"


def sealing_of(organisation: Organisation, n: int) -> dict[str, Any]:
    """Entry ``n`` with its proof in the log of exactly ``n`` entries, the head kept for that size, and the
    newest daily head before it. The same every time it is asked.

    Returns:
        Plain data: format, entry (canonical text), n, log_proof (hex), head, head_signature (hex, empty where
        no key was configured), certificate (hex DER), chain (hex DER each), is_demo, and earlier: null or
        head, head_signature, certificate, consistency.

    Raises:
        LookupError: no such entry, no head kept for that size, or the log no longer gives that head's root.
    """
    with unscoped():
        row = LogEntry.objects.filter(organisation=organisation, n=n).first()
        kept = (
            TreeHead.objects.filter(organisation=organisation, size=n)
            .select_related("previous")
            .order_by("is_daily", "pk")
            .first()
        )
    if row is None or kept is None:
        raise LookupError(f"entry {n} or its head is not there")
    entry = entry_of(row)
    path = LogTree(organisation.pk, n).inclusion(n)
    # From the entry itself: a tile would not notice that it was changed.
    if not shows_inclusion(entry_leaf(entry.content()), n - 1, n, path, bytes.fromhex(kept.root)):
        raise LookupError(f"the log no longer gives the root of head {n}")
    return {
        "format": FORMAT,
        "entry": canonical_bytes(entry.content()).decode("utf-8"),
        "n": n,
        "log_proof": [step.hex() for step in path],
        **_signed(kept),
        "chain": list(kept.chain),
        "is_demo": kept.is_demo,
        "earlier": None
        if kept.previous is None
        else {**_signed(kept.previous), "consistency": list(kept.consistency)},
    }


def _signed(row: TreeHead) -> dict[str, Any]:
    return {
        "head": head_of(row).plain(),
        "head_signature": bytes(row.signature).hex(),
        "certificate": bytes(row.certificate).hex(),
    }
