"""Which key is in use: one at a time, opened only as the key that was put on record, retired for a reason."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from jobs.models import Organisation, SigningIdentity, unscoped
from jobs.signing.demo_key import demo_key_file
from jobs.signing.identities import identity_of, open_signer, put_in_use, retire_identity, signer_of
from jobs.signing.key_file import keep_key_file, key_folder, open_key_file
from jobs.signing.key_token import TokenSigner, open_token_key, split_reference
from jobs.signing.signer import SigningKeyUnavailable
from tests.factories import OrganisationFactory
from tests.jobs.rows import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _keys(settings: Any, tmp_path: Path) -> Iterator[None]:
    settings.WM_SIGNING_DIR = str(tmp_path)
    for name in ("one.p12", "two.p12"):
        keep_key_file(name, demo_key_file("Brackwater", NOON))
    with unscoped():
        yield


@pytest.fixture
def owner() -> Organisation:
    return OrganisationFactory.create()


def identity(owner: Organisation, reference: str, **fields: Any) -> SigningIdentity:
    signer = open_key_file(reference if reference.endswith("p12") else "one.p12", "", is_demo=True)
    given: dict[str, Any] = {
        "home": "file", "reference": reference, "certificate": signer.certificate_der,
        "key_sha256": signer.key_sha256, "since": NOON, "is_demo": True,
    } | fields  # fmt: skip
    return SigningIdentity(organisation=owner, **given)


def test_one_key_is_in_use_and_the_one_before_is_retired_at_that_moment(owner: Organisation) -> None:
    other = OrganisationFactory.create(name="Sallowfield")
    assert (identity_of(owner), signer_of(owner)) == (None, None)
    first = put_in_use(identity(owner, "one.p12"), NOON)
    put_in_use(identity(other, "one.p12"), NOON)
    later = NOON + timedelta(days=1)
    second = put_in_use(identity(owner, "two.p12", since=later), later)
    first.refresh_from_db()
    assert (first.retired_at, first.retired_reason) == (later, "Another key came into use.")
    assert identity_of(owner) == second
    signer = signer_of(owner)
    assert signer is not None
    assert signer.key_sha256 == second.key_sha256
    assert SigningIdentity.objects.filter(retired_at__isnull=True).count() == 2
    # However it is written: never two at once.
    with pytest.raises(IntegrityError), transaction.atomic():
        identity(owner, "one.p12").save(force_insert=True)
    assert retire_identity(owner, later, "r" * 300)
    second.refresh_from_db()
    assert second.retired_reason == "r" * 200
    assert not retire_identity(owner, later, "again")
    assert identity_of(owner) is None
    assert identity_of(other) is not None


def test_a_file_with_another_key_or_none_does_not_sign(owner: Organisation) -> None:
    kept = put_in_use(identity(owner, "one.p12"), NOON)
    (key_folder() / "one.p12").write_bytes((key_folder() / "two.p12").read_bytes())
    with pytest.raises(SigningKeyUnavailable) as caught:
        open_signer(kept)
    assert "another key than the one on record" in caught.value.message
    (key_folder() / "one.p12").unlink()
    with pytest.raises(SigningKeyUnavailable):
        signer_of(owner)


def test_a_key_in_a_token_is_opened_without_asking_the_token(owner: Organisation, settings: Any) -> None:
    """Only signing asks; without a module it says so instead of signing with something else."""
    settings.WM_PKCS11_MODULE = ""
    named = identity(owner, "shop/seal", home="token", secret="pin")
    signer = open_signer(put_in_use(named, NOON))
    assert isinstance(signer, TokenSigner)
    assert signer == open_token_key(named)
    assert (signer.token_label, signer.key_label, signer.is_demo) == ("shop", "seal", True)
    with pytest.raises(SigningKeyUnavailable):
        signer.sign(b"data")


@pytest.mark.parametrize(
    ("reference", "parts"),
    [("shop/seal", ("shop", "seal")), ("shop/seal/2", ("shop", "seal/2")), ("shop", None), ("/seal", None),
     ("shop/", None), ("", None), ("/", None)],
)  # fmt: skip
def test_a_reference_names_token_and_key(reference: str, parts: tuple[str, str] | None) -> None:
    if parts is not None:
        assert split_reference(reference) == parts
        return
    with pytest.raises(Exception, match="token_reference"):
        split_reference(reference)
