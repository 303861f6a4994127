"""Keys in a PKCS#11 token (a card, a hardware module): they sign there and never leave it."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from django.conf import settings

from jobs.errors import Refused
from jobs.models import SigningIdentity
from jobs.signing.key_file import secret_of
from jobs.signing.signer import SigningKeyUnavailable

try:
    import pkcs11
except ImportError:
    # Only who keeps keys in a token installs the extra `hsm`.
    pkcs11 = None  # type: ignore[assignment]

Given = TypeVar("Given")
# One at a time: reading the list of tokens anew would pull sessions away from under other threads.
_one_at_a_time: Final = threading.Lock()


@dataclass(frozen=True, slots=True, kw_only=True)
class TokenSigner:
    """A key that stays in its token; see ``jobs.signing.signer.Signer``."""

    token_label: str
    key_label: str
    secret: str
    certificate_der: bytes
    chain_der: tuple[bytes, ...]
    key_sha256: str
    is_demo: bool

    def sign(self, data: bytes) -> bytes:
        def signed(session: Any) -> bytes:
            key = session.get_key(object_class=pkcs11.ObjectClass.PRIVATE_KEY, label=self.key_label)
            return bytes(key.sign(data, mechanism=pkcs11.Mechanism.SHA256_RSA_PKCS))

        return in_session(self.token_label, self.secret, signed)


def split_reference(reference: str) -> tuple[str, str]:
    """Token label and key label of ``token/key``.

    Raises:
        Refused: ``token_reference``: one of the two is missing.
    """
    token_label, _, key_label = reference.partition("/")
    if not token_label or not key_label:
        raise Refused("token_reference", "A key in a token is named as token label / key label.")
    return token_label, key_label


def open_token_key(identity: SigningIdentity) -> TokenSigner:
    """The key of an identity. The token is asked when something is signed, not here."""
    token_label, key_label = split_reference(identity.reference)
    return TokenSigner(
        token_label=token_label,
        key_label=key_label,
        secret=identity.secret,
        certificate_der=bytes(identity.certificate),
        chain_der=tuple(bytes.fromhex(one) for one in identity.chain),
        key_sha256=identity.key_sha256,
        is_demo=identity.is_demo,
    )


def in_session(token_label: str, secret: str, act: Callable[[Any], Given]) -> Given:
    """Runs ``act`` with an open session of the token.

    Raises:
        SigningKeyUnavailable: no module, no such token or key, a wrong PIN, or no answer.
    """
    if pkcs11 is None:
        raise SigningKeyUnavailable(message="Support for PKCS#11 tokens is not installed.")
    if not settings.WM_PKCS11_MODULE:
        raise SigningKeyUnavailable(message="WM_PKCS11_MODULE is not set.")
    pin = secret_of(secret)
    try:
        with _one_at_a_time, _session(token_label, pin) as session:
            return act(session)
    except (pkcs11.PKCS11Error, RuntimeError) as error:
        raise SigningKeyUnavailable(
            message=f"The token {token_label} does not sign: {type(error).__name__}."
        ) from error


@contextmanager
def _session(token_label: str, pin: str) -> Iterator[Any]:
    library = pkcs11.lib(settings.WM_PKCS11_MODULE)
    try:
        token = library.get_token(token_label=token_label)
    except pkcs11.NoSuchToken:
        # It may have been plugged in since this process began.
        library.reinitialize()
        token = library.get_token(token_label=token_label)
    with token.open(user_pin=pin) as session:
        yield session
