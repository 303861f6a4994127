"""A key for demonstrations and tests: made on the spot, and its certificate says that it is no evidence."""

from datetime import datetime, timedelta
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import NoEncryption, pkcs12
from cryptography.x509.oid import NameOID

DEMO_TITLE: Final = "DEMONSTRATION KEY - not for evidence"
DEMO_BITS: Final = 3072
# RFC 5280 (appendix A.1): the upper bound of an organisation's and of a common name.
LONGEST_NAME: Final = 64
LASTS: Final = timedelta(days=3653)
BEGINS_BEFORE: Final = timedelta(days=400)


def demo_key_file(organisation_name: str, as_of: datetime) -> bytes:
    """A fresh RSA key with a self-signed certificate as PKCS#12 without a pass phrase.

    Args:
        organisation_name: goes into the subject beside the plain words that this is a demonstration key.
        as_of: the certificate begins 400 days before it, since a demonstration moves its clock.
    """
    key = rsa.generate_private_key(public_exponent=65537, key_size=DEMO_BITS)
    subject = x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, organisation_name[:LONGEST_NAME]),
            x509.NameAttribute(NameOID.COMMON_NAME, DEMO_TITLE),
        ]
    )
    usage = x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(as_of - BEGINS_BEFORE)
        .not_valid_after(as_of + LASTS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, SHA256())
    )
    return pkcs12.serialize_key_and_certificates(DEMO_TITLE.encode(), key, certificate, None, NoEncryption())
