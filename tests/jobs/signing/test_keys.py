"""Keys in files: put in use, opened, refused, retired; what the command says; what a deployment is told."""

import stat
from collections.abc import Iterator
from datetime import datetime, timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    NoEncryption,
    PublicFormat,
    pkcs12,
)
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction

from jobs.deploy_checks import check_signing_keys
from jobs.errors import NotFound, Refused
from jobs.models import LogEntry, Organisation, SigningIdentity, unscoped
from jobs.services import signing_keys
from jobs.signing.identities import signer_of
from jobs.signing.signer import SigningKeyUnavailable
from rules.seal.public_keys import read_public_key, signature_holds
from tests.factories import OrganisationFactory
from tests.jobs.rows import NOON
from tests.rules.seal.certs import BEGIN, END, certificate, name, private_key

pytestmark = pytest.mark.django_db
PASS_PHRASE = "a pass phrase of the tests"


@pytest.fixture(autouse=True)
def folders(settings: Any, tmp_path: Path) -> Iterator[Path]:
    settings.WM_SIGNING_DIR = str(tmp_path / "keys")
    settings.WM_SIGNING_SECRETS_DIR = str(tmp_path / "secrets")
    (tmp_path / "keys").mkdir()
    (tmp_path / "secrets").mkdir()
    (tmp_path / "secrets" / "seal").write_text(PASS_PHRASE + "\n")
    with unscoped():
        yield tmp_path


@pytest.fixture
def shop() -> Organisation:
    return OrganisationFactory.create(name="Brackwater Repair Group", kind="repair_group")


def key_file(
    folders: Path,
    file: str = "seal.p12",
    *,
    key: Any = None,
    der: bytes | None = None,
    secret: str = PASS_PHRASE,
) -> Path:
    key = private_key() if key is None else key
    own = x509.load_der_x509_certificate(certificate(key) if der is None else der)
    protection = BestAvailableEncryption(secret.encode()) if secret else NoEncryption()
    path = folders / "keys" / file
    path.write_bytes(pkcs12.serialize_key_and_certificates(b"seal", key, own, None, protection))
    return path


def add(shop: Organisation, at: datetime = NOON, **more: str) -> SigningIdentity:
    return signing_keys.add_key_file(
        organisation=shop,
        reference=more.get("reference", "seal.p12"),
        secret=more.get("secret", "seal"),
        as_of=at,
    )


def test_a_key_in_a_file_signs_what_three_readers_verify(folders: Path, shop: Organisation) -> None:
    key_file(folders)
    identity = add(shop)
    signer = signer_of(shop)
    assert signer is not None
    assert (signer.key_sha256, signer.is_demo) == (identity.key_sha256, False)
    signature = signer.sign(b"a head of the log")
    public = x509.load_der_x509_certificate(signer.certificate_der).public_key()
    assert isinstance(public, RSAPublicKey)
    public.verify(signature, b"a head of the log", PKCS1v15(), SHA256())
    with pytest.raises(InvalidSignature):
        public.verify(signature, b"another head", PKCS1v15(), SHA256())
    from_rules = read_public_key(public.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo))
    assert from_rules.sha256 == signer.key_sha256
    assert signature_holds(from_rules, signature, b"a head of the log")
    assert PASS_PHRASE not in repr(signer)


def test_neither_key_nor_secret_is_in_the_database_or_the_log(folders: Path, shop: Organisation) -> None:
    key_file(folders)
    add(shop)
    number = private_key().private_numbers().d.to_bytes(256, "big")
    row = SigningIdentity.objects.get()
    kept = b"".join(str(getattr(row, field.attname)).encode() for field in row._meta.concrete_fields)
    kept += bytes(row.certificate) + b"".join(entry.detail.encode() for entry in LogEntry.objects.all())
    assert PASS_PHRASE.encode() not in kept
    assert number not in kept
    assert number.hex().encode() not in kept
    assert LogEntry.objects.get().what == "signing_key.put_in_use"


def test_what_is_no_key_to_sign_with(folders: Path, shop: Organisation) -> None:
    def code(**more: str) -> str:
        with pytest.raises((Refused, SigningKeyUnavailable)) as caught:
            add(shop, **more)
        return caught.value.code

    assert code() == "signing_key_unavailable"
    key_file(folders, secret="another pass phrase")
    assert code() == "signing_key_unavailable"
    assert code(secret="absent") == "signing_key_unavailable"
    assert code(secret="../seal") == "secret_name"
    assert code(reference="../keys/seal.p12") == "key_file_name"
    key_file(folders, der=certificate(private_key(number=2)), key=private_key(number=2))
    (folders / "keys" / "seal.p12").write_bytes(b"no key")
    assert code() == "signing_key_unavailable"
    short = private_key(bits=1024)
    key_file(folders, key=short, der=certificate(short))
    assert code() == "signing_key_unfit"
    curve = ec.generate_private_key(ec.SECP256R1())
    key_file(folders, key=curve, der=_curve_certificate(curve))
    assert code() == "signing_key_unfit"
    key_file(folders)
    with pytest.raises(Refused) as caught:
        add(shop, at=END + timedelta(seconds=1))
    assert caught.value.code == "signing_key_out_of_date"
    assert SigningIdentity.objects.count() == 0
    assert add(shop, at=END).retired_at is None


def _curve_certificate(key: ec.EllipticCurvePrivateKey) -> bytes:
    builder = (
        x509.CertificateBuilder().subject_name(name("Curve")).issuer_name(name("Curve"))
        .public_key(key.public_key()).serial_number(7).not_valid_before(BEGIN).not_valid_after(END)
    )  # fmt: skip
    made = builder.sign(key, SHA256())
    return made.public_bytes(Encoding.DER)


def test_one_key_is_in_use_and_the_file_must_stay_the_same(folders: Path, shop: Organisation) -> None:
    key_file(folders)
    first = add(shop)
    key_file(folders, "new.p12", key=private_key(number=3))
    second = add(shop, at=NOON + timedelta(days=1), reference="new.p12")
    first.refresh_from_db()
    assert (first.retired_at, second.retired_at) == (second.since, None)
    key_file(folders, "new.p12", key=private_key(number=4))
    with pytest.raises(SigningKeyUnavailable, match="another key"):
        signer_of(shop)
    signing_keys.retire_key(organisation=shop, reason="Lost.", as_of=NOON + timedelta(days=2))
    assert signer_of(shop) is None
    with pytest.raises(NotFound):
        signing_keys.retire_key(organisation=shop, reason="Lost.", as_of=NOON + timedelta(days=2))
    with pytest.raises(NotFound):
        signing_keys.try_key(organisation=shop)
    other = OrganisationFactory.create()
    assert signer_of(other) is None


def test_a_demonstration_key_says_so_and_is_not_for_production(
    settings: Any, folders: Path, shop: Organisation
) -> None:
    identity = signing_keys.make_demo_key(organisation=shop, as_of=NOON)
    own = x509.load_der_x509_certificate(bytes(identity.certificate))
    key = own.public_key()
    assert isinstance(key, RSAPublicKey)
    assert key.key_size == 3072
    assert "DEMONSTRATION KEY - not for evidence" in own.subject.rfc4514_string()
    assert identity.is_demo
    mode = stat.S_IMODE((folders / "keys" / identity.reference).stat().st_mode)
    assert mode == 0o600
    settings.WM_MODE = "production"
    with pytest.raises(Refused) as caught:
        signing_keys.make_demo_key(organisation=shop, as_of=NOON + timedelta(days=1))
    assert caught.value.code == "demo_key_in_production"


def test_the_database_keeps_identities_as_they_were(folders: Path, shop: Organisation) -> None:
    key_file(folders)
    row = add(shop)
    kept = SigningIdentity.objects.filter(pk=row.pk)

    def refused(**change: object) -> bool:
        try:
            with transaction.atomic():
                kept.update(**change)
        except IntegrityError:
            return True
        return False

    assert refused(key_sha256="0" * 64)
    assert refused(certificate=b"x")
    assert refused(is_demo=True)
    with pytest.raises(IntegrityError), transaction.atomic():
        kept.delete()
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM jobs_signingidentity")
    assert not refused(retired_at=NOON + timedelta(days=1), retired_reason="Lost.")
    assert refused(retired_at=None)
    assert refused(retired_reason="Found.")


# ------------------------------------------------------------------ the command, the check


def run(*arguments: str) -> str:
    out = StringIO()
    call_command("signing_key", *arguments, stdout=out)
    return out.getvalue()


def test_the_command_from_adding_to_retiring(folders: Path, shop: Organisation) -> None:
    key_file(folders)
    assert "in use" in run("add", shop.name, "seal.p12", "--secret", "seal")
    assert "signs" in run("try", str(shop.pk))
    told = run("demo", shop.name)
    assert "DEMONSTRATION" in told
    listed = run("list")
    assert (listed.count("retired"), listed.count("in use")) == (1, 1)
    assert PASS_PHRASE not in listed
    assert "retired" in run("retire", shop.name, "--reason", "Lost.")
    for wrong in (("add", "Nobody", "seal.p12"), ("add", shop.name, "absent.p12"), ("try", shop.name)):
        with pytest.raises(CommandError):
            run(*wrong)
    with pytest.raises(CommandError):
        run("token", shop.name, "a/b", "--secret", "seal", "--certificate", str(folders / "none.pem"))


def test_a_deployment_is_told_who_has_no_key(folders: Path, shop: Organisation, settings: Any) -> None:
    OrganisationFactory.create(name="Harrowmere Mutual", kind="insurer")
    told = check_signing_keys(None)
    assert [message.id for message in told] == ["jobs.W001"]
    assert shop.name in told[0].msg
    own = private_key(number=5)
    soon = datetime.now(tz=BEGIN.tzinfo) + timedelta(days=30)
    key_file(folders, key=own, der=certificate(own, end=soon))
    add(shop, at=BEGIN + timedelta(days=1))
    assert [message.id for message in check_signing_keys(None)] == ["jobs.W002"]
    key_file(folders, "long.p12")
    add(shop, at=BEGIN + timedelta(days=2), reference="long.p12")
    assert check_signing_keys(None) == []
