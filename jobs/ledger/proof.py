"""The proof that one entry is in the log, under a head that is kept; imports no writer."""

from typing import Any

from jobs.ledger.heads import signed_plain
from jobs.ledger.tree import LogTree, entry_of
from jobs.models import LogEntry, Organisation, TreeHead, unscoped
from rules.canonical import canonical_bytes
from rules.seal.log_proofs import entry_leaf, shows_inclusion


class ProofError(RuntimeError):
    """The log no longer gives the root of the head: it or the entry was changed."""


def proof_of_entry(organisation: Organisation, n: int, *, size: int | None = None) -> dict[str, Any]:
    """Entry ``n`` (counted from 1), its leaf, its path, and the head it leads to.

    Args:
        organisation: whose log.
        n: the entry.
        size: of the head; the newest head that holds the entry where left out.

    Raises:
        LookupError: no such entry, or no such head.
        ProofError: the path from the entry does not lead to the head's root.
    """
    with unscoped():
        row = LogEntry.objects.filter(organisation=organisation, n=n).first()
        heads = TreeHead.objects.filter(organisation=organisation)
        heads = heads.filter(size=size) if size is not None else heads.filter(size__gte=n)
        head = heads.order_by("-size", "-pk").first()
    if row is None:
        raise LookupError(f"there is no entry {n}")
    if head is None or head.size < n:
        raise LookupError(f"no head is kept that holds entry {n}")
    content = entry_of(row).content()
    leaf, path = entry_leaf(content), LogTree(organisation.pk, head.size).inclusion(n)
    if not shows_inclusion(leaf, n - 1, head.size, path, bytes.fromhex(head.root)):
        raise ProofError(f"entry {n} does not lead to the root of the head over {head.size} entries")
    return {
        "entry": canonical_bytes(content).decode("utf-8"),
        "n": n,
        "leaf": leaf.hex(),
        "path": [step.hex() for step in path],
        **signed_plain(head),
    }
