"""A head of the log: how many entries there were, the root over them, when; and its signature checked."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from rules.canonical import MAX_INT, canonical_bytes
from rules.seal.certificates import Certificate, read_certificate
from rules.seal.der import DerError
from rules.seal.public_keys import KeyRefused, signature_holds

FORMAT: Final = "tree head 1"
_NAMES: Final = frozenset({"format", "organisation", "size", "root", "at"})
_HEX: Final = frozenset("0123456789abcdef")
_UUID_PARTS: Final = [8, 4, 4, 4, 12]
# RFC 3339 in UTC, to the microsecond at most.
_INSTANT: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?Z")


class HeadError(ValueError):
    """Data that is no head of a log."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TreeHead:
    """The log of ``organisation`` (UUID as text) had ``size`` entries and this ``root`` (64 hex digits).

    ``at``, when it was made, is RFC 3339 text in UTC with ``Z``.

    Raises:
        HeadError: anything else, size 0 included.
    """

    organisation: str
    size: int
    root: str
    at: str

    def __post_init__(self) -> None:
        if not _is_uuid(self.organisation):
            raise HeadError("the organisation is not an id")
        if not isinstance(self.size, int) or isinstance(self.size, bool) or not 1 <= self.size <= MAX_INT:
            raise HeadError("a head is of one entry or more")
        if not _is_hex(self.root, 64):
            raise HeadError("the root is not 64 hex digits")
        if _instant(self.at) is None:
            raise HeadError("the time is not one in UTC")

    @property
    def instant(self) -> datetime:
        """When the head was made (UTC)."""
        at = _instant(self.at)
        if at is None:  # pragma: no cover - refused when it was made
            raise HeadError("the time is not one in UTC")
        return at

    @property
    def root_bytes(self) -> bytes:
        return bytes.fromhex(self.root)

    def plain(self) -> dict[str, Any]:
        """As it stands in files: what is signed, as plain data."""
        return {
            "format": FORMAT,
            "organisation": self.organisation,
            "size": self.size,
            "root": self.root,
            "at": self.at,
        }

    def signed_bytes(self) -> bytes:
        """The bytes a signature covers: canonical JSON (RFC 8785) of ``plain()``."""
        return canonical_bytes(self.plain())


def read_head(data: object) -> TreeHead:
    """The head that plain data (parsed JSON) says. Raises ``HeadError`` for missing, more or odd fields."""
    if not isinstance(data, Mapping) or set(data) != _NAMES or data["format"] != FORMAT:
        raise HeadError("not a head of this form")
    return TreeHead(organisation=data["organisation"], size=data["size"], root=data["root"], at=data["at"])


def head_fault(head: TreeHead, signature: bytes, certificate_der: bytes) -> str:
    """What is wrong with a signed head, or an empty text.

    Whether the certificate is one to believe is another question: compare its key with the one you know.

    Returns:
        ``bad_certificate`` (not readable), ``bad_key`` (not RSA, or too short), ``bad_signature``,
        ``outside_validity`` (the certificate was not valid at the head's time), or empty.
    """
    try:
        certificate = read_certificate(certificate_der)
    except DerError:
        return "bad_certificate"
    return head_fault_by(head, signature, certificate)


def head_fault_by(head: TreeHead, signature: bytes, certificate: Certificate) -> str:
    """The same for a certificate that was read already."""
    try:
        key = certificate.key
    except KeyRefused:
        return "bad_key"
    if not signature_holds(key, signature, head.signed_bytes()):
        return "bad_signature"
    return "" if certificate.covers(head.instant) else "outside_validity"


def _instant(text: object) -> datetime | None:
    if not isinstance(text, str) or not _INSTANT.fullmatch(text):
        return None
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


def _is_hex(value: object, length: int) -> bool:
    return isinstance(value, str) and len(value) == length and _HEX.issuperset(value)


def _is_uuid(value: object) -> bool:
    if not isinstance(value, str):
        return False
    pieces = value.split("-")
    return [len(piece) for piece in pieces] == _UUID_PARTS and _HEX.issuperset("".join(pieces))
