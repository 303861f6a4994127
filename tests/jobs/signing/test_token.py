"""A key in a PKCS#11 token (SoftHSM) signs there; while it is away a packet waits and is not made half."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pkcs11
import pytest
from django.conf import settings as django_settings

from jobs.errors import Refused
from jobs.models import Organisation, SigningIdentity, unscoped
from jobs.services import signing_keys
from jobs.signing.identities import signer_of
from jobs.signing.signer import Signer, SigningKeyUnavailable
from rules.seal.certificates import read_certificate
from rules.seal.public_keys import signature_holds
from tests.factories import OrganisationFactory
from tests.jobs.rows import NOON
from tests.jobs.signing.softhsm import PIN, Token, new_token
from tests.rules.seal.certs import certificate, private_key

pytestmark = [pytest.mark.django_db, pytest.mark.slow]


@pytest.fixture(scope="module")
def token(tmp_path_factory: pytest.TempPathFactory) -> Token:
    return new_token(tmp_path_factory.mktemp("hsm"))


@pytest.fixture(autouse=True)
def secrets(settings: Any, tmp_path: Path, token: Token) -> Iterator[Path]:
    settings.WM_PKCS11_MODULE = token.module
    settings.WM_SIGNING_SECRETS_DIR = str(tmp_path)
    (tmp_path / "pin").write_text(PIN + "\n")
    with unscoped():
        yield tmp_path


@pytest.fixture
def shop() -> Organisation:
    return OrganisationFactory.create()


def named(shop: Organisation, token: Token, **more: Any) -> SigningIdentity:
    fields: dict[str, Any] = {"reference": "shop/seal", "secret": "pin", "certificate": token.certificate}
    return signing_keys.name_token_key(organisation=shop, as_of=NOON, **{**fields, **more})


def test_the_token_signs_and_the_key_stays_in_it(shop: Organisation, token: Token) -> None:
    identity = named(shop, token)
    signer = signer_of(shop)
    assert signer is not None
    signature = signer.sign(b"a head of the log")
    assert signature_holds(read_certificate(token.certificate).key, signature, b"a head of the log")
    assert identity.home == "token"
    assert not hasattr(signer, "key")


def test_what_is_not_taken(shop: Organisation, token: Token, secrets: Path, settings: Any) -> None:
    for wrong in ("shop", "/seal", "shop/"):
        with pytest.raises(Refused) as caught:
            named(shop, token, reference=wrong)
        assert caught.value.code == "token_reference"
    for wrong in ("shop/other", "nowhere/seal"):
        with pytest.raises(SigningKeyUnavailable):
            named(shop, token, reference=wrong)
    with pytest.raises(Refused) as caught:
        named(shop, token, certificate=certificate(private_key(number=12)))
    assert caught.value.code == "signing_key_unfit"
    (secrets / "wrong").write_text("0000")
    with pytest.raises(SigningKeyUnavailable):
        named(shop, token, secret="wrong")
    settings.WM_PKCS11_MODULE = ""
    with pytest.raises(SigningKeyUnavailable):
        named(shop, token)
    assert SigningIdentity.objects.count() == 0


def test_a_token_that_is_away_and_comes_back(shop: Organisation, token: Token) -> None:
    named(shop, token)
    signer = signer_of(shop)
    assert signer is not None
    token.unplug()
    try:
        # SoftHSM keeps what it has read; a fresh look at the list of tokens shows that it is gone.
        with pytest.raises(SigningKeyUnavailable):
            _look_anew_and_sign(signer)
    finally:
        token.plug_in()
    _look_anew()
    assert signature_holds(read_certificate(token.certificate).key, signer.sign(b"x"), b"x")
    signing_keys.retire_key(organisation=shop, reason="Lost.", as_of=NOON + timedelta(days=1))


def _look_anew() -> None:
    pkcs11.lib(django_settings.WM_PKCS11_MODULE).reinitialize()


def _look_anew_and_sign(signer: Signer) -> bytes:
    _look_anew()
    return signer.sign(b"x")
