"""Signing keys of an organisation: put in use, named in a token, made for a demonstration, retired."""

from datetime import datetime
from functools import lru_cache
from secrets import token_hex
from typing import Final

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey
from cryptography.hazmat.primitives.hashes import SHA256
from django.conf import settings
from django.db import transaction

from jobs.errors import NotFound, Refused
from jobs.ledger.append import append
from jobs.models import Organisation, SigningIdentity, scope
from jobs.signing.demo_key import demo_key_file
from jobs.signing.identities import identity_of, open_signer, put_in_use, retire_identity
from jobs.signing.key_file import keep_key_file, open_key_file
from jobs.signing.key_token import split_reference
from jobs.signing.signer import Signer, key_sha256_of, require_fit

OPERATOR: Final = "operator"
_TRIAL: Final = b"a trial of the key, not a signature of anything"


def add_key_file(
    *, organisation: Organisation, reference: str, secret: str, as_of: datetime, who: str = OPERATOR
) -> SigningIdentity:
    """Puts a PKCS#12 file of the key folder in use; the key that was in use is retired.

    Raises:
        Refused: ``signing_key_unfit``, ``signing_key_out_of_date``, ``key_file_name``, ``secret_name``.
        SigningKeyUnavailable: the file or its secret cannot be read.
    """
    signer = open_key_file(reference, secret, is_demo=False)
    identity = _identity_of_file(organisation, signer, reference, secret, as_of)
    return _put_in_use(identity, signer, as_of, who)


def name_token_key(  # noqa: PLR0913 - what names a key in a token
    *,
    organisation: Organisation,
    reference: str,
    secret: str,
    certificate: bytes,
    chain: tuple[bytes, ...] = (),
    as_of: datetime,
    who: str = OPERATOR,
) -> SigningIdentity:
    """Puts a key of a PKCS#11 token in use, after the token has signed with it once for a trial.

    Args:
        reference: token label / key label.
        secret: name of the file that holds the PIN.
        certificate: of the key, DER; the token need not hold it.

    Raises:
        Refused: ``token_reference``, ``signing_key_unfit``, ``signing_key_out_of_date``.
        SigningKeyUnavailable: the token does not sign.
    """
    split_reference(reference)
    identity = SigningIdentity(
        organisation=organisation,
        home="token",
        reference=reference,
        secret=secret,
        certificate=certificate,
        chain=[one.hex() for one in chain],
        key_sha256=key_sha256_of(certificate),
        since=as_of,
    )
    return _put_in_use(identity, open_signer(identity), as_of, who)


def make_demo_key(*, organisation: Organisation, as_of: datetime, who: str = OPERATOR) -> SigningIdentity:
    """Makes a demonstration key and puts it in use; its certificate says that it is no evidence.

    Raises:
        Refused: ``demo_key_in_production``.
    """
    if settings.WM_MODE == "production":
        raise Refused("demo_key_in_production", "A demonstration key signs nothing in production.")
    make = _remembered_demo_key if settings.WM_MODE == "test" else demo_key_file
    # A world may be loaded again at the same instant after its rows were undone; files are never undone.
    reference = f"demonstration-{organisation.pk}-{as_of:%Y%m%dT%H%M%S%f}-{token_hex(4)}.p12"
    keep_key_file(reference, make(organisation.name, as_of))
    signer = open_key_file(reference, "", is_demo=True)
    return _put_in_use(_identity_of_file(organisation, signer, reference, "", as_of), signer, as_of, who)


@lru_cache(maxsize=16)
def _remembered_demo_key(organisation_name: str, as_of: datetime) -> bytes:
    """Hundreds of tests make the same organisation anew; its key may be the same each time."""
    return demo_key_file(organisation_name, as_of)


def try_key(*, organisation: Organisation) -> SigningIdentity:
    """Signs something with the key in use, keeps nothing, and gives the identity.

    Raises:
        NotFound: the organisation has no key in use.
        Refused: ``signing_key_unfit``: key and certificate do not belong together.
        SigningKeyUnavailable: the key does not answer.
    """
    identity = identity_of(organisation)
    if identity is None:
        raise NotFound()
    signer = open_signer(identity)
    _require_own(signer, require_fit(x509.load_der_x509_certificate(signer.certificate_der)))
    return identity


@transaction.atomic
def retire_key(
    *, organisation: Organisation, reason: str, as_of: datetime, who: str = OPERATOR
) -> SigningIdentity:
    """Takes the key out of use: packets sealed from now on are unsigned until another one is put in use.

    Raises:
        NotFound: the organisation has no key in use.
        Refused: ``reason_missing``.
    """
    if not reason.strip():
        raise Refused("reason_missing", "Say why the key is retired.")
    identity = identity_of(organisation)
    if identity is None or not retire_identity(organisation, as_of, reason.strip()):
        raise NotFound()
    _log(identity, as_of, who, "signing_key.retired", {"reason": reason.strip()[:200]})
    with scope(organisation.pk):
        identity.refresh_from_db()
    return identity


def _identity_of_file(
    organisation: Organisation, signer: Signer, reference: str, secret: str, as_of: datetime
) -> SigningIdentity:
    return SigningIdentity(
        organisation=organisation,
        home="file",
        reference=reference,
        secret=secret,
        certificate=signer.certificate_der,
        chain=[one.hex() for one in signer.chain_der],
        key_sha256=signer.key_sha256,
        is_demo=signer.is_demo,
        since=as_of,
    )


@transaction.atomic
def _put_in_use(identity: SigningIdentity, signer: Signer, as_of: datetime, who: str) -> SigningIdentity:
    certificate = x509.load_der_x509_certificate(signer.certificate_der)
    key = require_fit(certificate)
    if not certificate.not_valid_before_utc <= as_of <= certificate.not_valid_after_utc:
        raise Refused("signing_key_out_of_date", "The certificate is not valid at this time.")
    _require_own(signer, key)
    put_in_use(identity, as_of)
    detail = {"key_sha256": identity.key_sha256, "home": identity.home, "is_demo": identity.is_demo}
    _log(identity, as_of, who, "signing_key.put_in_use", detail)
    return identity


def _require_own(signer: Signer, key: RSAPublicKey) -> None:
    """The key signs, and the certificate is that key's."""
    try:
        key.verify(signer.sign(_TRIAL), _TRIAL, PKCS1v15(), SHA256())
    except InvalidSignature as error:
        raise Refused("signing_key_unfit", "The key and this certificate do not belong together.") from error


def _log(identity: SigningIdentity, as_of: datetime, who: str, what: str, detail: dict[str, object]) -> None:
    append(
        organisation=identity.organisation,
        at=as_of,
        who=who,
        device="",
        what=what,
        target=f"signing_key/{identity.pk}",
        detail=detail,
    )
