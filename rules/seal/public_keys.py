"""RSA public keys as they stand in certificates, and signatures of RSASSA-PKCS1-v1_5 checked (RFC 8017).

A signature is checked by writing down the one padded message it must open to and comparing all of it: nothing
of the padding is read from the signature, so none of it can be forged.
"""

import hashlib
from dataclasses import dataclass
from typing import Final

from rules.seal.der import (
    BIT_STRING,
    NULL,
    OID,
    SEQUENCE,
    DerError,
    Parts,
    oid_text,
    read_one,
    whole_number,
    whole_octets,
)

RSA: Final = "1.2.840.113549.1.1.1"
# Bits of the modulus. Below: NIST SP 800-131A table 2; above: a limit of this program, against slow numbers.
MIN_BITS: Final = 2048
MAX_BITS: Final = 16384
# FIPS 186-5 section A.1.1: the public exponent is smaller than 2^256.
MAX_EXPONENT_BITS: Final = 256

# DigestInfo up to the digest itself (RFC 8017 section 9.2, note 1).
DIGEST_INFO: Final = {
    "sha256": bytes.fromhex("3031300d060960864801650304020105000420"),
    "sha384": bytes.fromhex("3041300d060960864801650304020205000430"),
    "sha512": bytes.fromhex("3051300d060960864801650304020305000440"),
}


class KeyRefused(ValueError):  # noqa: N818 - says what happened to the key
    """A key that is not taken; ``code`` is not_der, not_rsa, too_short, too_long or bad_numbers."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(f"{code}: {message}")
        self.code = code
        self.message = message


@dataclass(frozen=True, slots=True)
class RsaKey:
    """An RSA public key: modulus and exponent, and the SubjectPublicKeyInfo it stands in (DER)."""

    modulus: int
    exponent: int
    spki_der: bytes

    @property
    def bits(self) -> int:
        return self.modulus.bit_length()

    @property
    def sha256(self) -> str:
        """SHA-256 over the SubjectPublicKeyInfo, 64 hex digits: the key's name."""
        return hashlib.sha256(self.spki_der).hexdigest()


def read_public_key(spki_der: bytes) -> RsaKey:
    """Reads a SubjectPublicKeyInfo (RFC 5280 section 4.1.2.7) with an RSA key of 2048 bits or more.

    Raises:
        KeyRefused: not strict DER, another kind of key, too short or too long, or impossible numbers.
    """
    try:
        modulus, exponent = _numbers(spki_der)
    except DerError as error:
        raise KeyRefused("not_der", str(error)) from error
    if modulus.bit_length() < MIN_BITS:
        raise KeyRefused("too_short", f"the key has fewer than {MIN_BITS} bits")
    if modulus.bit_length() > MAX_BITS or exponent.bit_length() > MAX_EXPONENT_BITS:
        raise KeyRefused("too_long", "the key is larger than this program reckons with")
    if modulus % 2 == 0 or exponent % 2 == 0 or exponent < 3:
        raise KeyRefused("bad_numbers", "modulus and exponent are odd, and the exponent at least 3")
    return RsaKey(modulus, exponent, spki_der)


def signature_holds(key: RsaKey, signature: bytes, data: bytes, hash_name: str = "sha256") -> bool:
    """Whether ``signature`` is one over ``data`` (RSASSA-PKCS1-v1_5, RFC 8017 section 8.2.2).

    Args:
        key: whose signature it should be.
        signature: exactly as many bytes as the modulus has.
        data: the signed bytes; hashed here.
        hash_name: sha256, sha384 or sha512.

    Raises:
        KeyError: another hash.
    """
    prefix = DIGEST_INFO[hash_name]
    length = (key.bits + 7) // 8
    if len(signature) != length:
        return False
    value = int.from_bytes(signature, "big")
    if value >= key.modulus:
        return False
    opened = pow(value, key.exponent, key.modulus).to_bytes(length, "big")
    told = prefix + hashlib.new(hash_name, data).digest()
    expected = b"\x00\x01" + b"\xff" * (length - len(told) - 3) + b"\x00" + told
    return opened == expected


def _numbers(spki_der: bytes) -> tuple[int, int]:
    outer = Parts(read_one(spki_der, SEQUENCE))
    algorithm = Parts(outer.take(SEQUENCE))
    name = oid_text(algorithm.take(OID))
    if name != RSA:
        raise KeyRefused("not_rsa", f"a key of kind {name}, not RSA")
    # RFC 3279 section 2.3.1: the parameters are NULL and present.
    if algorithm.take(NULL).content:
        raise DerError("a NULL with contents")
    algorithm.end()
    numbers = Parts(read_one(whole_octets(outer.take(BIT_STRING)), SEQUENCE))
    outer.end()
    modulus, exponent = whole_number(numbers.take()), whole_number(numbers.take())
    numbers.end()
    if modulus <= 0 or exponent <= 0:
        raise KeyRefused("bad_numbers", "a key of negative numbers")
    return modulus, exponent
