"""The hash chain: each entry's hash covers the hash before it and its own canonical bytes."""

import hashlib
from collections.abc import Mapping
from typing import Any, Final

from rules.canonical import canonical_bytes

# Before the first entry stand 32 zero bytes.
START: Final = "00" * 32


def link(prev: str, content: Mapping[str, Any]) -> str:
    """SHA-256 (FIPS 180-4) over the previous hash as 32 raw bytes and the entry's canonical JSON (RFC 8785).

    Args:
        prev: previous hash, 64 hex digits.
        content: the entry without ``prev`` and ``hash``.

    Returns:
        The entry's hash as 64 hex digits.
    """
    return link_bytes(prev, canonical_bytes(dict(content)))


def link_bytes(prev: str, canonical: bytes) -> str:
    """The same where the canonical JSON is at hand."""
    return hashlib.sha256(bytes.fromhex(prev) + canonical).hexdigest()
