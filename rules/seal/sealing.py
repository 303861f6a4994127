"""sealing.json of a packet: its own log entry, the proof that it is in the log, the signed head over it."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from rules.canonical import CanonicalError, canonical_bytes
from rules.seal.certificates import Certificate, read_certificate
from rules.seal.der import DerError
from rules.seal.enclosed import SEALING_NAME, PartError, read_canonical
from rules.seal.public_keys import KeyRefused
from rules.seal.tree_head import HeadError, TreeHead, read_head

FORMAT: Final = "sealing 1"
# The first words of a demonstration certificate's name.
DEMO_MARK: Final = b"DEMONSTRATION KEY"
_NAMES: Final = frozenset(
    {
        "format", "entry", "n", "log_proof", "head", "head_signature", "certificate", "chain", "is_demo",
        "earlier",
    }
)  # fmt: skip
_EARLIER: Final = frozenset({"head", "head_signature", "certificate", "consistency"})


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedHead:
    """A head with its signature and the certificate it was made by; both empty where no key was there."""

    head: TreeHead
    signature: bytes
    certificate_der: bytes

    @property
    def is_signed(self) -> bool:
        return bool(self.signature or self.certificate_der)

    def certificate(self) -> Certificate | None:
        """None where there is none, or none that can be read."""
        try:
            return read_certificate(self.certificate_der) if self.certificate_der else None
        except DerError:
            return None

    @property
    def key_sha256(self) -> str:
        """Fingerprint of the key; empty where there is none that counts."""
        certificate = self.certificate()
        try:
            return certificate.key.sha256 if certificate is not None else ""
        except KeyRefused:
            return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sealing:
    """What sealing.json says; nothing of it is believed here beyond its form.

    ``entry`` is the canonical text of the log entry and ``content`` the same parsed; ``consistency`` leads
    from ``earlier`` to ``sealed``.
    """

    n: int
    entry: str
    content: Mapping[str, Any]
    log_proof: tuple[bytes, ...]
    sealed: SignedHead
    chain: tuple[bytes, ...]
    is_demo: bool
    earlier: SignedHead | None
    consistency: tuple[bytes, ...]

    @property
    def detail(self) -> Mapping[str, Any]:
        """What the entry says of the packet; empty where it has another form."""
        found = self.content.get("detail")
        return found if isinstance(found, Mapping) else {}


def read_sealing(data: bytes) -> Sealing:
    """Reads sealing.json strictly.

    Raises:
        PartError: not canonical JSON, or a field missing, unknown or of another form.
    """
    plain = read_canonical(data, SEALING_NAME)
    if set(plain) != _NAMES or plain["format"] != FORMAT or type(plain["is_demo"]) is not bool:
        raise PartError(f"{SEALING_NAME} has another form")
    earlier = plain["earlier"]
    if earlier is not None and (not isinstance(earlier, dict) or set(earlier) != _EARLIER):
        raise PartError(f"{SEALING_NAME} has another form")
    content = entry_content(plain["entry"])
    if type(plain["n"]) is not int or content.get("n") != plain["n"]:
        raise PartError(f"{SEALING_NAME} gives its entry another number")
    sealed = read_signed_head(plain)
    return Sealing(
        n=plain["n"],
        entry=plain["entry"],
        content=content,
        log_proof=read_hashes(plain["log_proof"]),
        sealed=sealed,
        chain=tuple(_hex(one) for one in _list(plain["chain"])),
        # A demonstration key's certificate says so in its name, whatever the file around it claims.
        is_demo=plain["is_demo"] or DEMO_MARK in sealed.certificate_der,
        earlier=None if earlier is None else read_signed_head(earlier),
        consistency=() if earlier is None else read_hashes(earlier["consistency"]),
    )


def entry_content(text: object) -> dict[str, Any]:
    """A log entry from its canonical text. Raises ``PartError`` for any other text."""
    try:
        content = json.loads(text) if isinstance(text, str) else None
        canonical = canonical_bytes(content).decode("utf-8")
    except (ValueError, RecursionError, CanonicalError) as error:
        raise PartError(f"a log entry cannot be read: {error}") from error
    if not isinstance(content, dict) or canonical != text:
        raise PartError("a log entry is not in canonical form")
    return content


def read_signed_head(plain: Mapping[str, Any]) -> SignedHead:
    """From an object with head, head_signature and certificate. Raises ``PartError``."""
    try:
        head = read_head(plain["head"])
    except (HeadError, KeyError) as error:
        raise PartError(f"the head of the log has another form: {error}") from error
    signature, certificate = _hex(plain.get("head_signature")), _hex(plain.get("certificate"))
    if bool(signature) != bool(certificate):
        raise PartError("a signature without certificate, or a certificate without signature")
    return SignedHead(head=head, signature=signature, certificate_der=certificate)


def read_hashes(value: object) -> tuple[bytes, ...]:
    """A list of SHA-256 values in hex. Raises ``PartError``."""
    found = tuple(_hex(one) for one in _list(value))
    if any(len(one) != 32 for one in found):
        raise PartError("a hash of a proof has not 32 bytes")
    return found


def _list(value: object) -> list[object]:
    if not isinstance(value, list):
        raise PartError("a list is missing")
    return value


def _hex(value: object) -> bytes:
    """Bytes from lower-case hex, the one way to write them."""
    try:
        found = bytes.fromhex(value) if isinstance(value, str) else None
    except ValueError:
        found = None
    if found is None or found.hex() != value:
        raise PartError("a value is not written in hex")
    return found
