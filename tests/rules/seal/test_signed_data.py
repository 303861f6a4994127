"""CMS signatures: what openssl makes is read, and each part that could be forged or left out is missed.

Outside sources: RFC 5652 (signed data), RFC 5035 (signing certificate), openssl as maker.
"""

import hashlib
import subprocess
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from asn1crypto import algos, cms, core, tsp, x509
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from rules.seal.signed_data import SignatureFault, check_signature
from tests.rules.seal.certs import certificate, private_key, sign
from tests.sealed_pdf import demo_signer

CONTENT = b"what is signed"
DIGEST = hashlib.sha256(CONTENT).digest()


@cache
def own() -> bytes:
    return certificate(private_key())


def attribute(name: str, value: object) -> cms.CMSAttribute:
    return cms.CMSAttribute({"type": name, "values": [value]})


def signing_certificate(der: bytes, **more: object) -> cms.CMSAttribute:
    told = tsp.ESSCertIDv2({"cert_hash": hashlib.sha256(der).digest(), **more})
    return attribute("signing_certificate_v2", tsp.SigningCertificateV2({"certs": [told]}))


def attributes(der: bytes) -> list[cms.CMSAttribute]:
    return [
        attribute("content_type", "data"),
        attribute("message_digest", DIGEST),
        signing_certificate(der),
    ]


def made(  # type: ignore[no-untyped-def]
    change: Callable[[cms.SignerInfo, cms.SignedData], None] | None = None,
    told=None,
    der: bytes | None = None,
    key=None,
) -> bytes:
    """A signature in our form, changed before it is written; signed over the attributes as they are given."""
    der = own() if der is None else der
    signer = x509.Certificate.load(der)
    given = attributes(der) if told is None else told
    body = b"".join(sorted(one.dump() for one in given))
    signed = core.SetOf(spec=cms.CMSAttribute)
    signed.contents = body
    whole = signed.dump()
    info = cms.SignerInfo(
        {
            "version": "v1",
            "sid": cms.SignerIdentifier(
                {
                    "issuer_and_serial_number": cms.IssuerAndSerialNumber(
                        {"issuer": signer.issuer, "serial_number": signer.serial_number}
                    )
                }
            ),
            "digest_algorithm": algos.DigestAlgorithm({"algorithm": "sha256"}),
            "signed_attrs": cms.CMSAttributes.load(whole),
            "signature_algorithm": algos.SignedDigestAlgorithm({"algorithm": "sha256_rsa"}),
            "signature": sign(private_key() if key is None else key, whole),
        }
    )
    data = cms.SignedData(
        {
            "version": "v1",
            "digest_algorithms": [algos.DigestAlgorithm({"algorithm": "sha256"})],
            "encap_content_info": {"content_type": "data"},
            "certificates": [signer],
            "signer_infos": [info],
        }
    )
    if change is not None:
        change(info, data)
        data["signer_infos"] = [info]
    return bytes(cms.ContentInfo({"content_type": "signed_data", "content": data}).dump(force=True))


def test_the_form_made_here_holds() -> None:
    found = check_signature(made(), DIGEST)
    assert found.certificate.der == own()
    assert (found.others, found.time_stamp) == ((), b"")


def test_what_openssl_signs_is_read(tmp_path: Path) -> None:
    key = private_key()
    pem = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    (tmp_path / "key.pem").write_bytes(pem)
    (tmp_path / "cert.der").write_bytes(own())
    (tmp_path / "content").write_bytes(CONTENT)
    subprocess.run(
        ["openssl", "x509", "-inform", "DER", "-in", "cert.der", "-out", "c.pem"], cwd=tmp_path, check=True
    )
    for extra, wanted in ((["-cades"], ""), ([], "certificate is not signed")):
        subprocess.run(
            ["openssl", "cms", "-sign", "-binary", "-in", "content", "-signer", "c.pem", "-inkey", "key.pem",
             "-md", "sha256", "-outform", "DER", "-out", "sig.der", *extra],
            cwd=tmp_path, check=True, capture_output=True,
        )  # fmt: skip
        der = (tmp_path / "sig.der").read_bytes()
        if not wanted:
            assert check_signature(der, DIGEST).certificate.der == own()
            with pytest.raises(SignatureFault, match="not the one that was signed"):
                check_signature(der, hashlib.sha256(b"other").digest())
            continue
        with pytest.raises(SignatureFault, match=wanted):
            check_signature(der, DIGEST)


def check_refused(der: bytes, words: str) -> None:
    with pytest.raises(SignatureFault, match=words):
        check_signature(der, DIGEST)


def test_attributes_left_out_twice_or_out_of_order() -> None:
    kind, digest, named = attributes(own())
    check_refused(made(told=[digest, named]), "kind of what is signed is not signed")
    check_refused(made(told=[kind, named]), "hash of what is signed is not signed")
    check_refused(made(told=[kind, digest]), "certificate is not signed")
    check_refused(made(told=[kind, digest, digest, named]), "stands twice")
    encodings = sorted(one.dump() for one in attributes(own()))
    whole = made()
    assert b"".join(encodings) in whole
    check_refused(whole.replace(b"".join(encodings), b"".join(reversed(encodings))), "not in their order")
    two = cms.CMSAttribute({"type": "message_digest", "values": [b"x" * 32, DIGEST]})
    check_refused(made(told=[kind, two, named]), "exactly one value")


def test_a_certificate_cannot_be_exchanged() -> None:
    """Same name, number and key, another certificate: its hash is signed (RFC 5035)."""
    first, second = own(), certificate(private_key(), usage=False)
    kind, digest, _ = attributes(first)
    check_refused(made(told=[kind, digest, signing_certificate(second)]), "made for another certificate")
    explicit = {"hash_algorithm": algos.DigestAlgorithm({"algorithm": "sha256"})}
    weak = {"hash_algorithm": algos.DigestAlgorithm({"algorithm": "sha1"})}
    for named in (explicit, weak):
        made_with = made(told=[kind, digest, signing_certificate(first, **named)])
        if named is weak:
            check_refused(made_with, "not strict DER")


def test_signatures_of_another_key_or_over_something_else() -> None:
    check_refused(made(key=private_key(number=1)), "does not hold")

    def other_digest(info: cms.SignerInfo, data: cms.SignedData) -> None:
        info["signature"] = bytes(256)

    check_refused(made(other_digest), "does not hold")


def test_other_algorithms_and_counts() -> None:
    def weak_hash(info: cms.SignerInfo, data: cms.SignedData) -> None:
        info["digest_algorithm"] = algos.DigestAlgorithm({"algorithm": "sha1"})

    def other_signature(info: cms.SignerInfo, data: cms.SignedData) -> None:
        info["signature_algorithm"] = algos.SignedDigestAlgorithm({"algorithm": "sha1_rsa"})

    def content_inside(info: cms.SignerInfo, data: cms.SignedData) -> None:
        data["encap_content_info"] = {"content_type": "data", "content": b"other"}

    def no_certificates(info: cms.SignerInfo, data: cms.SignedData) -> None:
        data["certificates"] = [x509.Certificate.load(demo_signer().certificate_der)]

    def something_beside(info: cms.SignerInfo, data: cms.SignedData) -> None:
        info["unsigned_attrs"] = cms.CMSAttributes([attribute("message_digest", b"x" * 32)])

    check_refused(made(weak_hash), "another hash than SHA-256")
    check_refused(made(other_signature), "another kind of signature")
    check_refused(made(content_inside), "not strict DER|something else")
    check_refused(made(no_certificates), "certificate of the signer is not in the signature")
    check_refused(made(something_beside), "beside the signature is no time stamp")


def test_a_key_that_may_not_sign() -> None:
    """Key usage of another kind (RFC 5280 section 4.2.1.3)."""
    other = certificate(private_key(), authority=True, may_sign=False)
    allowed = x509.Certificate.load(other).key_usage_value
    assert allowed is not None
    assert "digital_signature" not in allowed.native
    check_refused(made(der=other), "does not allow its key to sign")
    check_signature(made(der=certificate(private_key(), authority=True)), DIGEST)


def test_no_signature_at_all() -> None:
    for der in (b"", b"\x30\x00", b"\x04\x02hi", made()[:-1], made() + b"\x00", b"\x30\x80\x00\x00"):
        with pytest.raises(SignatureFault):
            check_signature(der, DIGEST)
