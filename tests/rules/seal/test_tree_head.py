"""Signed heads: what is signed byte for byte, what is no head, and each fault of a signature by its name."""

import json
import shutil
import subprocess
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from rules.seal.tree_head import HeadError, TreeHead, head_fault, read_head
from tests.rules.seal.certs import BEGIN, END, certificate, private_key, sign

ORGANISATION = "8f14e45f-ceea-467a-9af0-5a6b4f0e7a11"
GOOD: dict[str, Any] = {
    "organisation": ORGANISATION,
    "size": 812,
    "root": "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
    "at": "2026-05-12T05:00:11.000250Z",
}


def test_the_signed_bytes_are_canonical_json() -> None:
    head = TreeHead(**GOOD)
    assert head.signed_bytes() == (
        b'{"at":"2026-05-12T05:00:11.000250Z","format":"tree head 1",'
        b'"organisation":"8f14e45f-ceea-467a-9af0-5a6b4f0e7a11",'
        b'"root":"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328","size":812}'
    )
    # The reference library of RFC 8785.
    assert head.signed_bytes() == rfc8785.dumps(head.plain())
    assert read_head(json.loads(head.signed_bytes())) == head
    assert head.instant == datetime(2026, 5, 12, 5, 0, 11, 250, tzinfo=UTC)
    assert head.root_bytes.hex() == head.root


@pytest.mark.parametrize(
    "change",
    [
        {"size": 0}, {"size": -1}, {"size": True}, {"size": 1.0}, {"size": "1"}, {"size": 2**53},
        {"root": ""}, {"root": "5D" * 32}, {"root": "5d" * 31}, {"root": None}, {"root": "zz" * 32},
        {"organisation": ORGANISATION.upper()}, {"organisation": ORGANISATION.replace("-", "")},
        {"organisation": 1}, {"organisation": ""},
        {"at": "2026-05-12T05:00:11"}, {"at": "2026-05-12T05:00:11+00:00"}, {"at": "2026-05-12 05:00:11Z"},
        {"at": "2026-13-12T05:00:11Z"}, {"at": "2026-05-12T05:00:11.1234567Z"}, {"at": "2026-05-12T05:00Z"},
        {"at": None}, {"at": "2026-05-12T24:01:00Z"}, {"at": "٢٠٢٦-05-12T05:00:11Z"},
    ],
    ids=str,
)  # fmt: skip
def test_what_is_no_head(change: dict[str, Any]) -> None:
    with pytest.raises(HeadError):
        TreeHead(**(GOOD | change))
    with pytest.raises(HeadError):
        read_head({"format": "tree head 1", **GOOD, **change})


def test_sizes_at_the_edges() -> None:
    for size in (1, 2**53 - 1):
        assert TreeHead(**(GOOD | {"size": size})).size == size


@pytest.mark.parametrize(
    "data",
    [None, [], {}, GOOD, {**GOOD, "format": "tree head 2"}, {**GOOD, "format": "tree head 1", "more": 1}],
    ids=["none", "list", "empty", "no format", "other format", "more"],
)
def test_data_of_another_form_is_no_head(data: object) -> None:
    with pytest.raises(HeadError):
        read_head(data)


def test_each_fault_of_a_signature_has_its_name() -> None:
    key = private_key()
    head, cert = TreeHead(**GOOD), certificate(key)
    good = sign(key, head.signed_bytes())
    assert head_fault(head, good, cert) == ""
    assert head_fault(head, good[:-1] + bytes([good[-1] ^ 1]), cert) == "bad_signature"
    assert head_fault(head, b"", cert) == "bad_signature"
    assert head_fault(head, sign(key, head.signed_bytes(), "sha512"), cert) == "bad_signature"
    for change in ({"size": 813}, {"at": "2026-05-12T05:00:12Z"}, {"root": "00" * 32}):
        assert head_fault(TreeHead(**(GOOD | change)), good, cert) == "bad_signature", change
    assert head_fault(head, good, certificate(private_key(number=1))) == "bad_signature"
    assert head_fault(head, good, cert[:-1]) == "bad_certificate"
    assert head_fault(head, good, b"") == "bad_certificate"
    assert head_fault(head, good, certificate(ec.generate_private_key(ec.SECP256R1()))) == "bad_key"
    short = private_key(1024)
    assert head_fault(head, sign(short, head.signed_bytes()), certificate(short)) == "bad_key"


@pytest.mark.parametrize(
    ("at", "fault"),
    [
        ("2025-12-31T23:59:59.999999Z", "outside_validity"),
        ("2026-01-01T00:00:00Z", ""),
        ("2031-12-31T23:59:59Z", ""),
        ("2031-12-31T23:59:59.000001Z", "outside_validity"),
    ],
)
def test_the_certificate_was_valid_when_the_head_was_made(at: str, fault: str) -> None:
    key = private_key()
    head = TreeHead(**(GOOD | {"at": at}))
    assert (BEGIN.year, END.year) == (2026, 2031)
    assert head_fault(head, sign(key, head.signed_bytes()), certificate(key)) == fault


def test_openssl_checks_a_head_with_nothing_of_ours(tmp_path: Path) -> None:
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("no openssl program")
    key = private_key()
    head = TreeHead(**GOOD)
    (tmp_path / "head.json").write_bytes(head.signed_bytes())
    (tmp_path / "sig").write_bytes(sign(key, head.signed_bytes()))
    public = x509.load_der_x509_certificate(certificate(key)).public_key()
    (tmp_path / "key.pem").write_bytes(public.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo))
    command = [openssl, "dgst", "-sha256", "-verify", "key.pem", "-signature", "sig", "head.json"]
    assert subprocess.run(command, cwd=tmp_path, check=False, capture_output=True, timeout=60).returncode == 0
    (tmp_path / "head.json").write_bytes(head.signed_bytes() + b"\n")
    assert subprocess.run(command, cwd=tmp_path, check=False, capture_output=True, timeout=60).returncode != 0
