"""What anybody may ask of a log whose head was handed outside: heads and proofs. Hashes only, no entry."""

from dataclasses import dataclass
from datetime import date
from typing import Any, Final
from uuid import UUID

from jobs.errors import NotFound, Refused, Unavailable
from jobs.ledger.heads import head_of, signed_plain
from jobs.ledger.tree import LogTree
from jobs.selectors.heads import daily_heads, published_size
from rules.canonical import sha256_hex
from rules.seal.tree_head import TreeHead

FEED: Final = "heads of a log 1"
CONSISTENCY: Final = "consistency of a log 1"
INCLUSION: Final = "inclusion in a log 1"


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedHead:
    """One head as it was handed outside on ``day``; ``signature_sha256`` is empty where it is not signed."""

    id: int
    day: date
    head: TreeHead
    signature_sha256: str
    plain: dict[str, Any]


def published_heads(organisation_id: UUID) -> tuple[PublishedHead, ...]:
    """The last daily heads, the newest first. Raises ``NotFound`` where none was handed outside."""
    rows = daily_heads(organisation_id)
    if not rows:
        raise NotFound()
    return tuple(
        PublishedHead(
            id=row.pk,
            day=row.day,
            head=head_of(row),
            signature_sha256=sha256_hex(bytes(row.signature)) if row.signature else "",
            plain=signed_plain(row),
        )
        for row in rows
        if row.day is not None
    )


def heads_told(organisation_id: UUID, heads: tuple[PublishedHead, ...]) -> dict[str, Any]:
    """Heads as plain data, each with its signature and the proof that it continues the one before."""
    return {
        "format": FEED,
        "organisation": str(organisation_id),
        "heads": [head.plain for head in heads],
    }


def consistency(organisation_id: UUID, first: int, second: int) -> dict[str, Any]:
    """The proof that the log of ``first`` entries is the beginning of the log of ``second``.

    Raises:
        NotFound: no head was handed outside, or ``second`` is beyond the newest one.
        Refused: ``sizes_out_of_order``: first is 0, or larger than second.
        Unavailable: ``log_has_a_gap``.
    """
    tree = _tree(organisation_id, second)
    if not 1 <= first <= second:
        raise Refused("sizes_out_of_order", "The first size is at least 1 and not larger than the second.")
    try:
        return {
            "format": CONSISTENCY,
            "organisation": str(organisation_id),
            "first": first,
            "second": second,
            "first_root": tree.root(first).hex(),
            "second_root": tree.root(second).hex(),
            "path": [step.hex() for step in tree.consistency(first, second)],
        }
    except LookupError as error:
        raise _gap() from error


def inclusion(organisation_id: UUID, n: int, size: int) -> dict[str, Any]:
    """The path from entry ``n`` (counted from 1) to the root of the log of ``size`` entries.

    Whoever holds the entry works its leaf out; it is not told here.

    Raises:
        NotFound: no head was handed outside, ``size`` is beyond the newest one, or there is no such entry.
        Unavailable: ``log_has_a_gap``.
    """
    tree = _tree(organisation_id, size)
    if not 1 <= n <= size:
        raise NotFound()
    try:
        return {
            "format": INCLUSION,
            "organisation": str(organisation_id),
            "n": n,
            "size": size,
            "root": tree.root(size).hex(),
            "path": [step.hex() for step in tree.inclusion(n, size)],
        }
    except LookupError as error:
        raise _gap() from error


def _tree(organisation_id: UUID, size: int) -> LogTree:
    """The tree that was handed outside, where it holds so many entries."""
    published = published_size(organisation_id)
    if size > published:
        raise NotFound()
    return LogTree(organisation_id, published)


def _gap() -> Unavailable:
    return Unavailable("log_has_a_gap", "An entry of this log is missing; no proof can be made.")
