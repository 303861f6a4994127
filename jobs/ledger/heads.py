"""Heads of the log: the root at one size, signed where there is a key, kept, and tied to the one before."""

from datetime import date, datetime
from typing import Any, Protocol

from jobs.errors import Conflict, Unavailable
from jobs.ledger.entry import instant_text
from jobs.ledger.tree import LogTree
from jobs.models import Organisation, TreeHead, unscoped
from rules.seal import tree_head
from rules.seal.log_proofs import shows_consistency


class HeadSigner(Protocol):
    """What signs a head: RSASSA-PKCS1-v1_5 with SHA-256, and the certificate of its key."""

    @property
    def certificate_der(self) -> bytes: ...

    @property
    def chain_der(self) -> tuple[bytes, ...]: ...

    @property
    def key_sha256(self) -> str: ...

    @property
    def is_demo(self) -> bool: ...

    def sign(self, data: bytes) -> bytes: ...


def sign_head(
    *,
    organisation: Organisation,
    size: int,
    as_of: datetime,
    signer: HeadSigner | None,
    day: date | None = None,
) -> TreeHead:
    """Keeps the head over the first ``size`` entries, tied to the newest daily head; signed where it can be.

    Called in the transaction of what it belongs to, after its entry was appended.

    Args:
        organisation: whose log.
        size: number of entries, the caller's own included.
        as_of: the time the head gives (UTC).
        signer: None where no key is configured; the head is then kept without a signature.
        day: the organisation's local day, for the head that is handed outside that day.

    Raises:
        ValueError: size 0.
        Conflict: ``log_shorter_than_head`` or ``log_differs_from_head``: this is not the log that was handed
            outside; nothing is signed over it.
        Unavailable: ``head_signature_does_not_hold``: key and certificate do not belong together, the key is
            too weak, or the certificate is not valid at ``as_of``.
    """
    tree = LogTree(organisation.pk, size)
    previous = newest_daily(organisation)
    head = tree_head.TreeHead(
        organisation=str(organisation.pk), size=size, root=tree.root().hex(), at=instant_text(as_of)
    )
    row = TreeHead(
        organisation=organisation,
        size=head.size,
        root=head.root,
        at=head.at,
        is_daily=day is not None,
        day=day,
        previous=previous,
        consistency=[] if previous is None else [step.hex() for step in _continues(tree, previous, head)],
    )
    if signer is not None:
        _sign(row, head, signer)
    with unscoped():
        row.save(force_insert=True)
    return row


def newest_daily(organisation: Organisation) -> TreeHead | None:
    """The head handed outside last; None before the first."""
    with unscoped():
        return TreeHead.objects.filter(organisation=organisation, is_daily=True).order_by("-pk").first()


def head_of(row: TreeHead) -> tree_head.TreeHead:
    """What was signed, from the row that keeps it. Raises ``rules.seal.tree_head.HeadError``."""
    return tree_head.TreeHead(organisation=str(row.organisation_id), size=row.size, root=row.root, at=row.at)


def signed_plain(row: TreeHead) -> dict[str, Any]:
    """A head with all that is needed to check it, as plain data; nothing of the record is in it."""
    before = row.previous
    return {
        "head": head_of(row).plain(),
        "head_signature": bytes(row.signature).hex(),
        "key_sha256": row.key_sha256,
        "certificate": bytes(row.certificate).hex(),
        "chain": list(row.chain),
        "is_demo": row.is_demo,
        "before": None if before is None else head_of(before).plain(),
        "consistency": list(row.consistency),
    }


def _continues(tree: LogTree, previous: TreeHead, head: tree_head.TreeHead) -> tuple[bytes, ...]:
    if previous.size > head.size:
        raise Conflict(
            "log_shorter_than_head",
            "The log has fewer entries than the head that was handed outside. Nothing is signed over it.",
            size=head.size,
            handed_outside=previous.size,
        )
    path = tree.consistency(previous.size)
    roots = bytes.fromhex(previous.root), head.root_bytes
    if not shows_consistency(previous.size, head.size, *roots, path):
        raise Conflict(
            "log_differs_from_head",
            "The log is not the one whose head was handed outside. Nothing is signed over it.",
            handed_outside=previous.size,
        )
    return path


def _sign(row: TreeHead, head: tree_head.TreeHead, signer: HeadSigner) -> None:
    row.signature = signer.sign(head.signed_bytes())
    row.certificate, row.key_sha256 = signer.certificate_der, signer.key_sha256
    row.chain, row.is_demo = [one.hex() for one in signer.chain_der], signer.is_demo
    fault = tree_head.head_fault(head, row.signature, row.certificate)
    if fault:
        raise Unavailable(
            "head_signature_does_not_hold",
            "The signature made with the signing key does not hold. Look at key and certificate.",
            fault=fault,
        )
