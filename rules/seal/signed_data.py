"""One signature in CMS form (RFC 5652, RFC 5035) read strictly; checked with the standard library alone."""

import hashlib
from dataclasses import dataclass
from typing import Final

from rules.seal.certificates import KEY_USAGE, Certificate, read_certificate
from rules.seal.der import (
    BIT_STRING,
    NULL,
    OCTET_STRING,
    OID,
    SEQUENCE,
    SET,
    DerError,
    Element,
    Parts,
    bits,
    oid_text,
    parts,
    read_one,
    whole_number,
)
from rules.seal.public_keys import KeyRefused, signature_holds

SIGNED_DATA: Final = "1.2.840.113549.1.7.2"
DATA: Final = "1.2.840.113549.1.7.1"
CONTENT_TYPE: Final = "1.2.840.113549.1.9.3"
MESSAGE_DIGEST: Final = "1.2.840.113549.1.9.4"
SIGNING_CERTIFICATE_V2: Final = "1.2.840.113549.1.9.16.2.47"
TIME_STAMP_TOKEN: Final = "1.2.840.113549.1.9.16.2.14"  # noqa: S105 - a name
SHA256: Final = "2.16.840.1.101.3.4.2.1"
# RFC 3370 section 3.2 and RFC 5754 section 3.2: the key alone, or key and hash together.
RSA_NAMES: Final = ("1.2.840.113549.1.1.1", "1.2.840.113549.1.1.11")
_FIRST: Final = 0xA0
_SECOND: Final = 0xA1
MOST_CERTIFICATES: Final = 16


class SignatureFault(ValueError):  # noqa: N818 - says what is wrong with the signature
    """Why a signature does not hold: in plain words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedBy:
    """Whose signature it is. Whether that certificate is one to believe is another question.

    Attributes:
        certificate: of the signer; the signature names it, so it cannot be exchanged.
        others: every other certificate in the signature; nothing of them is signed.
        time_stamp: the token over the signature (DER), not looked into here; empty where there is none.
    """

    certificate: Certificate
    others: tuple[Certificate, ...]
    time_stamp: bytes


@dataclass(frozen=True, slots=True)
class _Signer:
    issuer_der: bytes
    serial: int
    attributes: Element
    signature: bytes
    time_stamp: bytes


def check_signature(der: bytes, digest: bytes) -> SignedBy:
    """Checks a detached signature over bytes that have this SHA-256.

    Raises:
        SignatureFault: not strict DER, another form, or the signature does not hold.
    """
    try:
        return _checked(der, digest)
    except DerError as error:
        raise SignatureFault(f"the signature is not strict DER: {error}") from error
    except KeyRefused as error:
        raise SignatureFault(f"the signer's key is not taken: {error.message}") from error


def _checked(der: bytes, digest: bytes) -> SignedBy:
    certificates, signer = _read(der)
    named = [
        one for one in certificates if (one.issuer_der, one.serial) == (signer.issuer_der, signer.serial)
    ]
    if len(named) != 1:
        raise SignatureFault("the certificate of the signer is not in the signature")
    certificate = named[0]
    values = _attributes(signer.attributes)
    _require_value(values, CONTENT_TYPE, OID, "the kind of what is signed")
    if oid_text(values[CONTENT_TYPE]) != DATA:
        raise SignatureFault("something else than plain bytes is signed")
    _require_value(values, MESSAGE_DIGEST, OCTET_STRING, "the hash of what is signed")
    if values[MESSAGE_DIGEST].content != digest:
        raise SignatureFault("the file is not the one that was signed")
    _require_value(values, SIGNING_CERTIFICATE_V2, SEQUENCE, "the hash of the signer's certificate")
    if _certificate_hash(values[SIGNING_CERTIFICATE_V2]) != hashlib.sha256(certificate.der).digest():
        raise SignatureFault("the signature was made for another certificate")
    _require_may_sign(certificate)
    # Signed is the SET OF, though the tag in the message is another one (RFC 5652 section 5.4).
    signed = bytes([SET]) + signer.attributes.whole[1:]
    if not signature_holds(certificate.key, signer.signature, signed):
        raise SignatureFault("the signature does not hold")
    others = tuple(one for one in certificates if one is not certificate)
    return SignedBy(certificate=certificate, others=others, time_stamp=signer.time_stamp)


def _require_value(values: dict[str, Element], name: str, tag: int, words: str) -> None:
    if name not in values or values[name].tag != tag:
        raise SignatureFault(f"{words} is not signed")


def _require_may_sign(certificate: Certificate) -> None:
    usage = certificate.extension(KEY_USAGE)
    if usage is None:
        return
    # RFC 5280 section 4.2.1.3: digitalSignature, then nonRepudiation.
    if not any(bits(read_one(usage, BIT_STRING))[:2]):
        raise SignatureFault("the certificate does not allow its key to sign")


# ------------------------------------------------------------------ the form


def _read(der: bytes) -> tuple[tuple[Certificate, ...], _Signer]:
    outer = Parts(read_one(der, SEQUENCE))
    if oid_text(outer.take(OID)) != SIGNED_DATA:
        raise SignatureFault("this is no signature")
    tagged = parts(outer.take(_FIRST))
    outer.end()
    if len(tagged) != 1:
        raise SignatureFault("this is no signature")
    fields = Parts(tagged[0])
    if whole_number(fields.take()) not in (1, 3):
        raise SignatureFault("the signature has an unknown version")
    hashes = parts(fields.take(SET))
    if len(hashes) != 1:
        raise SignatureFault("the signature names more than one hash")
    _require_sha256(hashes[0])
    content = Parts(fields.take(SEQUENCE))
    if oid_text(content.take(OID)) != DATA:
        raise SignatureFault("something else than plain bytes is signed")
    # Detached: what is signed stands in the file, not in the signature.
    content.end()
    found = parts(fields.take(_FIRST))
    if not 1 <= len(found) <= MOST_CERTIFICATES:
        raise SignatureFault("the signature has no certificates, or too many")
    certificates = tuple(read_certificate(one.whole) for one in found)
    signers = parts(fields.take(SET))
    fields.end()
    if len(signers) != 1:
        raise SignatureFault("not exactly one signer")
    return certificates, _signer(signers[0])


def _signer(element: Element) -> _Signer:
    fields = Parts(element)
    if whole_number(fields.take()) != 1:
        raise SignatureFault("the signer is named in an unknown way")
    name = Parts(fields.take(SEQUENCE))
    issuer, serial = name.take(SEQUENCE), whole_number(name.take())
    name.end()
    _require_sha256(fields.take(SEQUENCE))
    attributes = fields.take(_FIRST)
    _require_rsa(fields.take(SEQUENCE))
    signature = fields.take(OCTET_STRING).content
    beside = fields.take_if(_SECOND)
    fields.end()
    return _Signer(
        issuer_der=issuer.whole,
        serial=serial,
        attributes=attributes,
        signature=signature,
        time_stamp=b"" if beside is None else _time_stamp(beside),
    )


def _require_sha256(element: Element) -> None:
    fields = Parts(element)
    name = oid_text(fields.take(OID))
    _no_parameters(fields)
    if name != SHA256:
        raise SignatureFault("another hash than SHA-256")


def _require_rsa(element: Element) -> None:
    fields = Parts(element)
    name = oid_text(fields.take(OID))
    _no_parameters(fields)
    if name not in RSA_NAMES:
        raise SignatureFault("another kind of signature than RSA with SHA-256")


def _no_parameters(fields: Parts) -> None:
    """NULL or nothing (RFC 5754 section 2)."""
    empty = fields.take_if(NULL)
    fields.end()
    if empty is not None and empty.content:
        raise SignatureFault("a NULL with contents")


def _attributes(tagged: Element) -> dict[str, Element]:
    """Each attribute once, with its one value, in the order that DER gives a set (X.690 section 11.6)."""
    found: dict[str, Element] = {}
    encodings = [one.whole for one in parts(tagged)]
    if encodings != sorted(encodings):
        raise SignatureFault("the attributes are not in their order")
    for one in parts(tagged):
        fields = Parts(one)
        name = oid_text(fields.take(OID))
        values = parts(fields.take(SET))
        fields.end()
        if name in found or len(values) != 1:
            raise SignatureFault("an attribute stands twice, or has not exactly one value")
        found[name] = values[0]
    return found


def _certificate_hash(value: Element) -> bytes:
    """Hash of the signer's certificate in a SigningCertificateV2 (RFC 5035 section 3).

    SHA-256 is the hash where none is named; naming it all the same is not DER (X.690 section 11.5).
    """
    first = Parts(parts(Parts(value).take(SEQUENCE))[0])
    return first.take(OCTET_STRING).content


def _time_stamp(tagged: Element) -> bytes:
    """The time stamp beside the signature; nothing else may stand there, since nothing of it is signed."""
    values = _attributes(tagged)
    if set(values) != {TIME_STAMP_TOKEN}:
        raise SignatureFault("something beside the signature is no time stamp")
    return values[TIME_STAMP_TOKEN].whole
