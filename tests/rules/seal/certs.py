"""Keys and certificates for tests, made by the `cryptography` library: a second opinion on our reader."""

from datetime import UTC, datetime
from functools import cache
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import padding, rsa
from cryptography.hazmat.primitives.hashes import SHA256, SHA384, SHA512, HashAlgorithm
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from cryptography.x509.oid import NameOID

HASHES: dict[str, HashAlgorithm] = {"sha256": SHA256(), "sha384": SHA384(), "sha512": SHA512()}
BEGIN = datetime(2026, 1, 1, tzinfo=UTC)
END = datetime(2031, 12, 31, 23, 59, 59, tzinfo=UTC)


@cache
def private_key(bits: int = 2048, exponent: int = 65537, number: int = 0) -> rsa.RSAPrivateKey:
    """Another one for each ``number``; made once in a test run."""
    return rsa.generate_private_key(public_exponent=exponent, key_size=bits)


def spki(key: rsa.RSAPrivateKey) -> bytes:
    return key.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)


def sign(key: rsa.RSAPrivateKey, data: bytes, hash_name: str = "sha256") -> bytes:
    return key.sign(data, padding.PKCS1v15(), HASHES[hash_name])


def name(common: str, organisation: str = "Brackwater Repair Group") -> x509.Name:
    return x509.Name(
        [
            x509.NameAttribute(NameOID.COUNTRY_NAME, "US"),
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, organisation),
            x509.NameAttribute(NameOID.COMMON_NAME, common),
        ]
    )


def certificate(
    key: Any,
    subject: x509.Name | None = None,
    *,
    issuer: tuple[x509.Name, Any] | None = None,
    begin: datetime = BEGIN,
    end: datetime = END,
    authority: bool = False,
    usage: bool = True,
    may_sign: bool = True,
    hash_name: str = "sha256",
) -> bytes:
    """DER of a certificate for ``key``; signed by itself where no issuer (name, key) is given."""
    subject = subject or name("Log key")
    by_name, by_key = issuer or (subject, key)
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(by_name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begin)
        .not_valid_after(end)
        .add_extension(x509.BasicConstraints(ca=authority, path_length=None), critical=True)
    )
    if usage:
        flags = dict.fromkeys(
            (
                "content_commitment", "key_encipherment", "data_encipherment", "key_agreement", "crl_sign",
                "encipher_only", "decipher_only",
            ),
            False,
        )  # fmt: skip
        builder = builder.add_extension(
            x509.KeyUsage(digital_signature=may_sign, key_cert_sign=authority, **flags), critical=True
        )
    return builder.sign(by_key, HASHES[hash_name]).public_bytes(Encoding.DER)
