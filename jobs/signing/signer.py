"""What a key can do, whatever it lies in: sign bytes, and say whose key it is."""

import hashlib
from typing import Protocol

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from jobs.errors import Refused, Unavailable

# NIST SP 800-131A: shorter RSA keys make no new signatures.
SHORTEST_BITS = 2048


class SigningKeyUnavailable(Unavailable):
    """The key is named but cannot be used now: file, secret or token is away. Trying later may help."""

    default_code = "signing_key_unavailable"
    default_message = "The signing key does not answer."


class Signer(Protocol):
    """A key that is ready to sign.

    Attributes:
        certificate_der: the certificate of the key, DER.
        chain_der: further certificates up to a root, DER, without the first.
        key_sha256: SHA-256 of the certificate's SubjectPublicKeyInfo (DER), 64 hex digits.
        is_demo: the key belongs to a demonstration; what it signs is no evidence.
    """

    @property
    def certificate_der(self) -> bytes: ...
    @property
    def chain_der(self) -> tuple[bytes, ...]: ...
    @property
    def key_sha256(self) -> str: ...
    @property
    def is_demo(self) -> bool: ...

    def sign(self, data: bytes) -> bytes:
        """RSASSA-PKCS1-v1_5 with SHA-256 (RFC 8017, 8.2) over ``data``.

        Raises:
            SigningKeyUnavailable: the key does not answer.
        """
        ...


def key_sha256_of(certificate_der: bytes) -> str:
    """SHA-256 of the SubjectPublicKeyInfo of a certificate, 64 hex digits."""
    key = x509.load_der_x509_certificate(certificate_der).public_key()
    return hashlib.sha256(key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)).hexdigest()


def require_fit(certificate: x509.Certificate) -> RSAPublicKey:
    """The certificate's key, if it may sign here.

    Raises:
        Refused: ``signing_key_unfit``: not RSA, below 2048 bits, or its certificate forbids signing.
    """
    key = certificate.public_key()
    if not isinstance(key, RSAPublicKey):
        raise Refused("signing_key_unfit", "Only RSA keys sign packets.")
    if key.key_size < SHORTEST_BITS:
        raise Refused(
            "signing_key_unfit", f"The key has {key.key_size} bits; at least {SHORTEST_BITS} are needed."
        )
    try:
        usage = certificate.extensions.get_extension_for_class(x509.KeyUsage).value
    except x509.ExtensionNotFound:
        return key
    if not (usage.digital_signature or usage.content_commitment):
        raise Refused("signing_key_unfit", "The certificate does not allow its key to sign.")
    return key
