"""Key files: names that lead nowhere else, secrets from their folder alone, what opens and what does not."""

import stat
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, NoEncryption, pkcs12

from jobs.errors import DomainError, Refused
from jobs.signing.demo_key import DEMO_TITLE, demo_key_file
from jobs.signing.key_file import keep_key_file, key_folder, open_key_file, secret_of
from jobs.signing.signer import SigningKeyUnavailable, key_sha256_of, require_fit
from rules.seal.certificates import read_certificate
from rules.seal.public_keys import signature_holds
from tests.jobs.rows import NOON
from tests.rules.seal.certs import certificate, private_key

PASS_PHRASE = "a pass phrase of the tests"


@pytest.fixture(autouse=True)
def folders(settings: Any, tmp_path: Path) -> Path:
    settings.WM_SIGNING_DIR = str(tmp_path / "keys")
    settings.WM_SIGNING_SECRETS_DIR = str(tmp_path / "secrets")
    for name in ("keys", "secrets"):
        (tmp_path / name).mkdir()
    (tmp_path / "secrets" / "seal").write_text(PASS_PHRASE + "\n")
    (tmp_path / "elsewhere").write_text("what lies outside the folder")
    return tmp_path


def packed(key: Any, der: bytes | None, secret: str = "") -> bytes:
    own = None if der is None else x509.load_der_x509_certificate(der)
    protection = BestAvailableEncryption(secret.encode()) if secret else NoEncryption()
    return pkcs12.serialize_key_and_certificates(b"seal", key, own, None, protection)


def test_a_kept_file_opens_signs_and_is_this_users_alone(folders: Path) -> None:
    der = certificate(private_key())
    keep_key_file("seal.p12", packed(private_key(), der, PASS_PHRASE))
    file = key_folder() / "seal.p12"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    signer = open_key_file("seal.p12", "seal", is_demo=False)
    assert (signer.certificate_der, signer.chain_der, signer.is_demo) == (der, (), False)
    assert signer.key_sha256 == key_sha256_of(der) == read_certificate(der).key.sha256
    assert signature_holds(read_certificate(der).key, signer.sign(b"data"), b"data")
    assert not signature_holds(read_certificate(der).key, signer.sign(b"data"), b"datb")
    # A key never comes out with what is printed of it.
    assert repr(signer) == f"KeyFileSigner({signer.key_sha256})"
    before = file.read_bytes()
    with pytest.raises(Refused) as caught:
        keep_key_file("seal.p12", b"another")
    assert (caught.value.code, file.read_bytes()) == ("key_file_exists", before)


@pytest.mark.parametrize(
    "name", ["", ".", "..", "../elsewhere", "a/b.p12", "/etc/passwd", ".p12", "a\0b", "x" * 121]
)
def test_no_name_leads_out_of_the_folder(name: str) -> None:
    for act in (lambda: open_key_file(name, "", is_demo=False), lambda: keep_key_file(name, b"x")):
        with pytest.raises(Refused) as caught:
            act()
        assert caught.value.code == "key_file_name"


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("seal", ""), ("absent", "signing_key_unavailable"), ("../elsewhere", "secret_name"),
        ("", "secret_name"), ("Seal", "secret_name"), ("seal\n", "secret_name"), ("x" * 41, "secret_name"),
    ],
)  # fmt: skip
def test_a_secret_is_read_from_its_folder_alone(name: str, code: str) -> None:
    if not code:
        assert secret_of(name) == PASS_PHRASE
        return
    with pytest.raises(DomainError) as caught:
        secret_of(name)
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("kept", "secret"),
    [("two\n", "two"), ("two\r\n", "two"), (" two \n", " two "), ("two\n\n", "two\n"), ("", "")],
)
def test_only_the_end_of_the_line_is_taken_off_a_secret(folders: Path, kept: str, secret: str) -> None:
    (folders / "secrets" / "two").write_bytes(kept.encode())
    assert secret_of("two") == secret


def test_without_a_folder_of_secrets_there_is_none(settings: Any) -> None:
    settings.WM_SIGNING_SECRETS_DIR = ""
    with pytest.raises(SigningKeyUnavailable):
        secret_of("seal")


def test_what_does_not_open_or_may_not_sign(folders: Path) -> None:
    other = certificate(private_key(number=1))
    curve = ec.generate_private_key(ec.SECP256R1())
    cases: list[tuple[bytes | None, str, str]] = [
        (None, "", "signing_key_unavailable"),
        (b"no PKCS#12", "", "signing_key_unavailable"),
        (
            packed(private_key(), certificate(private_key()), "another phrase"),
            "seal",
            "signing_key_unavailable",
        ),
        (packed(private_key(), certificate(private_key()), PASS_PHRASE), "", "signing_key_unavailable"),
        (packed(private_key(), None), "", "signing_key_unfit"),
        (packed(curve, None), "", "signing_key_unfit"),
    ]
    for number, (data, secret, code) in enumerate(cases):
        file = folders / "keys" / f"{number}.p12"
        if data is not None:
            file.write_bytes(data)
        with pytest.raises(DomainError) as caught:
            open_key_file(file.name, secret, is_demo=False)
        assert caught.value.code == code, number
    assert require_fit(x509.load_der_x509_certificate(other)).key_size >= 2048


def test_a_demonstration_key_says_what_it_is_and_lasts_the_demonstration() -> None:
    keep_key_file("demo.p12", demo_key_file("B" * 100, NOON))
    signer = open_key_file("demo.p12", "", is_demo=True)
    own = x509.load_der_x509_certificate(signer.certificate_der)
    assert DEMO_TITLE in own.subject.rfc4514_string()
    assert "B" * 64 in own.subject.rfc4514_string()
    assert own.subject == own.issuer
    assert (NOON - own.not_valid_before_utc).days == 400
    assert (own.not_valid_after_utc - NOON).days == 3653
    assert own.public_key().key_size == 3072  # type: ignore[union-attr]
    assert demo_key_file("B", NOON) != demo_key_file("B", NOON)
