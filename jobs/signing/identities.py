"""The key an organisation signs with now, opened; and the one write that puts a key in use or retires it."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from jobs.models import Organisation, SigningIdentity, unscoped
from jobs.signing.key_file import open_key_file
from jobs.signing.key_token import open_token_key
from jobs.signing.signer import Signer, SigningKeyUnavailable


def identity_of(organisation: Organisation) -> SigningIdentity | None:
    """The identity in use; None where the organisation has none."""
    with unscoped():
        return SigningIdentity.objects.filter(organisation=organisation, retired_at__isnull=True).first()


def signer_of(organisation: Organisation) -> Signer | None:
    """The organisation's key in use, ready to sign; None where it has none.

    Raises:
        SigningKeyUnavailable: there is one, but its file, secret or token is away or holds another key.
    """
    identity = identity_of(organisation)
    return None if identity is None else open_signer(identity)


def open_signer(identity: SigningIdentity) -> Signer:
    """Opens the key of one identity and makes sure that it is the very key that was put on record.

    Raises:
        SigningKeyUnavailable: file, secret or token is away, or holds another key.
    """
    signer: Signer
    if identity.home == "token":
        signer = open_token_key(identity)
    else:
        signer = open_key_file(identity.reference, identity.secret, is_demo=identity.is_demo)
    if signer.key_sha256 != identity.key_sha256:
        raise SigningKeyUnavailable(message=f"{identity} holds another key than the one on record.")
    return signer


@transaction.atomic
def put_in_use(identity: SigningIdentity, as_of: datetime) -> SigningIdentity:
    """Keeps a new identity; the one in use until now is retired at the same moment."""
    with unscoped():
        # Two at once would otherwise both find the old one in use.
        Organisation.objects.select_for_update().get(pk=identity.organisation_id)
        _retire(identity.organisation_id, as_of, "Another key came into use.")
        identity.save(force_insert=True)
    return identity


@transaction.atomic
def retire_identity(organisation: Organisation, as_of: datetime, reason: str) -> bool:
    """Ends the identity in use; False where there is none."""
    with unscoped():
        Organisation.objects.select_for_update().get(pk=organisation.pk)
        return _retire(organisation.pk, as_of, reason)


def _retire(organisation_id: UUID, as_of: datetime, reason: str) -> bool:
    rows = SigningIdentity.objects.filter(organisation_id=organisation_id, retired_at__isnull=True)
    return bool(rows.update(retired_at=as_of, retired_reason=reason[:200]))
