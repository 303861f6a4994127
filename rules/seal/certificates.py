"""X.509 certificates read strictly (RFC 5280): whose key, valid from when to when, signed by which other."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from rules.seal.der import (
    BIT_STRING,
    BOOLEAN,
    NULL,
    OCTET_STRING,
    OID,
    SEQUENCE,
    DerError,
    Element,
    Parts,
    bits,
    oid_text,
    parts,
    read_one,
    truth,
    whole_number,
    whole_octets,
)
from rules.seal.names import name_text
from rules.seal.public_keys import RsaKey, read_public_key, signature_holds

_VERSION: Final = 0xA0
_ISSUER_ID: Final = 0x81
_SUBJECT_ID: Final = 0x82
_EXTENSIONS: Final = 0xA3
_UTC_TIME: Final = 0x17
_GENERALIZED_TIME: Final = 0x18

BASIC_CONSTRAINTS: Final = "2.5.29.19"
KEY_USAGE: Final = "2.5.29.15"
EXTENDED_KEY_USAGE: Final = "2.5.29.37"
# RFC 8017 appendix C.
SIGNED_WITH: Final = {
    "1.2.840.113549.1.1.11": "sha256",
    "1.2.840.113549.1.1.12": "sha384",
    "1.2.840.113549.1.1.13": "sha512",
}
_CERT_SIGN: Final = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """What a certificate says; nothing of it is believed before its signature and issuer are.

    ``subject`` and ``issuer`` are text as in RFC 4514, ``subject_der`` and ``issuer_der`` the encoded names;
    ``spki_der`` is the SubjectPublicKeyInfo; ``extensions`` are (identifier, critical, value as DER).
    """

    der: bytes
    signed: bytes
    serial: int
    issuer: str
    issuer_der: bytes
    subject: str
    subject_der: bytes
    not_before: datetime
    not_after: datetime
    spki_der: bytes
    extensions: tuple[tuple[str, bool, bytes], ...]
    signature_oid: str
    signature: bytes

    @property
    def key(self) -> RsaKey:
        """The subject's key. Raises ``rules.seal.public_keys.KeyRefused``."""
        return read_public_key(self.spki_der)

    @property
    def is_self_issued(self) -> bool:
        return self.subject_der == self.issuer_der

    def covers(self, at: datetime) -> bool:
        """Whether the certificate is valid at this instant; both ends are included (RFC 5280 4.1.2.5)."""
        return self.not_before <= at <= self.not_after

    def extension(self, identifier: str) -> bytes | None:
        """Value of an extension as DER; None where it has none of that kind."""
        for name, _, value in self.extensions:
            if name == identifier:
                return value
        return None

    def may_issue(self) -> bool:
        """Whether it says of itself that it may sign other certificates (RFC 5280 4.2.1.9 and 4.2.1.3).

        Raises:
            DerError: an extension that says so is not DER.
        """
        constraints, usage = self.extension(BASIC_CONSTRAINTS), self.extension(KEY_USAGE)
        if constraints is None:
            return False
        first = Parts(read_one(constraints, SEQUENCE)).take_if(BOOLEAN)
        if first is None or not truth(first):
            return False
        if usage is None:
            return True
        named = bits(read_one(usage, BIT_STRING))
        return len(named) > _CERT_SIGN and named[_CERT_SIGN]


def read_certificate(der: bytes) -> Certificate:
    """Reads one certificate.

    Raises:
        DerError: not strict DER, or not a certificate.
    """
    outer = Parts(read_one(der, SEQUENCE))
    body = outer.take(SEQUENCE)
    algorithm = outer.take(SEQUENCE)
    signature = whole_octets(outer.take(BIT_STRING))
    outer.end()
    fields = Parts(body)
    version = _version(fields.take_if(_VERSION))
    serial = whole_number(fields.take())
    if fields.take(SEQUENCE).whole != algorithm.whole:
        raise DerError("the certificate names two kinds of signature")
    issuer = fields.take(SEQUENCE)
    validity = Parts(fields.take(SEQUENCE))
    not_before, not_after = _instant(validity.take()), _instant(validity.take())
    validity.end()
    subject, key = fields.take(SEQUENCE), fields.take(SEQUENCE)
    fields.take_if(_ISSUER_ID)
    fields.take_if(_SUBJECT_ID)
    extensions = _extensions(fields.take_if(_EXTENSIONS), version)
    fields.end()
    return Certificate(
        der=der,
        signed=body.whole,
        serial=serial,
        issuer=name_text(issuer),
        issuer_der=issuer.whole,
        subject=name_text(subject),
        subject_der=subject.whole,
        not_before=not_before,
        not_after=not_after,
        spki_der=key.whole,
        extensions=extensions,
        signature_oid=_algorithm(algorithm),
        signature=signature,
    )


def is_signed_by(certificate: Certificate, issuer: Certificate) -> bool:
    """Whether the issuer's key signed this certificate, its names agree and it may issue at all.

    A certificate that signed itself is asked for its signature only. Other signatures than RSASSA-PKCS1-v1_5
    with SHA-256, SHA-384 or SHA-512 are none.

    Raises:
        rules.seal.public_keys.KeyRefused: the issuer's key is not taken.
        DerError: the issuer's extensions are not DER.
    """
    hash_name = SIGNED_WITH.get(certificate.signature_oid)
    if hash_name is None or certificate.issuer_der != issuer.subject_der:
        return False
    if certificate.der != issuer.der and not issuer.may_issue():
        return False
    return signature_holds(issuer.key, certificate.signature, certificate.signed, hash_name)


def _version(tagged: Element | None) -> int:
    if tagged is None:
        return 0
    inner = parts(tagged)
    if len(inner) != 1 or whole_number(inner[0]) not in (1, 2):
        raise DerError("an unknown version of certificate")
    return whole_number(inner[0])


def _algorithm(sequence: Element) -> str:
    fields = Parts(sequence)
    name = oid_text(fields.take(OID))
    if name in SIGNED_WITH and fields.take(NULL).content:
        raise DerError("a NULL with contents")
    if name in SIGNED_WITH:
        fields.end()
    return name


def _instant(element: Element) -> datetime:
    """UTCTime until 2049, GeneralizedTime from 2050, in seconds and with Z (RFC 5280 section 4.1.2.5)."""
    text = element.content.decode("ascii", "replace")
    length = {_UTC_TIME: 13, _GENERALIZED_TIME: 15}.get(element.tag, 0)
    digits = text[:-1]
    if len(text) != length or text[-1:] != "Z" or not (digits.isascii() and digits.isdigit()):
        raise DerError("not a time of a certificate")
    if element.tag == _UTC_TIME:
        digits = ("19" if digits[:2] >= "50" else "20") + digits
    numbers = [int(digits[:4]), *(int(digits[at : at + 2]) for at in range(4, 14, 2))]
    try:
        return datetime(*numbers, tzinfo=UTC)  # type: ignore[arg-type,misc]  # six whole numbers
    except ValueError as error:
        raise DerError(f"not a time of a certificate: {error}") from error


def _extensions(tagged: Element | None, version: int) -> tuple[tuple[str, bool, bytes], ...]:
    if tagged is None:
        return ()
    if version != 2:
        raise DerError("extensions stand in certificates of version 3 only")
    inner = parts(tagged)
    if len(inner) != 1 or inner[0].tag != SEQUENCE:
        raise DerError("not a list of extensions")
    found = tuple(_extension(one) for one in parts(inner[0]))
    names = [name for name, _, _ in found]
    if not found or len(set(names)) != len(names):
        raise DerError("an extension stands there twice, or none does")
    return found


def _extension(sequence: Element) -> tuple[str, bool, bytes]:
    fields = Parts(sequence)
    name = oid_text(fields.take(OID))
    flag = fields.take_if(BOOLEAN)
    value = fields.take(OCTET_STRING).content
    fields.end()
    if flag is not None and not truth(flag):
        # X.690 section 11.5: what is so by default is not written.
        raise DerError("an extension says that it is not critical")
    return name, flag is not None, value
