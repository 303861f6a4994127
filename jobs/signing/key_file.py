"""Keys in PKCS#12 files: opened with a secret that lies in a file of its own, both outside the database."""

import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, pkcs12
from django.conf import settings

from jobs.errors import Refused
from jobs.signing.signer import SigningKeyUnavailable, key_sha256_of, require_fit

FILE_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,119}")
SECRET_NAME: Final = re.compile(r"[a-z0-9][a-z0-9_-]{0,39}")


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyFileSigner:
    """A private key in this process's memory; see ``jobs.signing.signer.Signer``."""

    key: RSAPrivateKey
    certificate_der: bytes
    chain_der: tuple[bytes, ...]
    key_sha256: str
    is_demo: bool

    def __repr__(self) -> str:
        return f"KeyFileSigner({self.key_sha256})"

    def sign(self, data: bytes) -> bytes:
        return self.key.sign(data, PKCS1v15(), SHA256())


def key_folder() -> Path:
    """Where PKCS#12 files lie (``WM_SIGNING_DIR``)."""
    return Path(settings.WM_SIGNING_DIR)


def secret_of(name: str) -> str:
    """The pass phrase or PIN that the file ``name`` of ``WM_SIGNING_SECRETS_DIR`` holds.

    Raises:
        Refused: ``secret_name`` for a name that could lead out of the folder.
        SigningKeyUnavailable: there is no such folder or file.
    """
    if not SECRET_NAME.fullmatch(name):
        raise Refused("secret_name", "A secret is named by lower-case letters, digits, - and _.")
    if not settings.WM_SIGNING_SECRETS_DIR:
        raise SigningKeyUnavailable(message="WM_SIGNING_SECRETS_DIR is not set.")
    try:
        text = (Path(settings.WM_SIGNING_SECRETS_DIR) / name).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SigningKeyUnavailable(message=f"The secret {name} cannot be read.") from error
    return text.removesuffix("\n").removesuffix("\r")


def open_key_file(reference: str, secret: str, *, is_demo: bool) -> KeyFileSigner:
    """Opens a PKCS#12 file of the key folder.

    Args:
        reference: the file's name in the key folder.
        secret: name of its pass phrase; empty for a file without one.

    Raises:
        Refused: ``key_file_name``, or ``signing_key_unfit``.
        SigningKeyUnavailable: the file is not there, or does not open with this secret.
    """
    if not FILE_NAME.fullmatch(reference):
        raise Refused("key_file_name", "A key file is named without any folder.")
    pass_phrase = secret_of(secret).encode() if secret else None
    try:
        data = (key_folder() / reference).read_bytes()
    except OSError as error:
        raise SigningKeyUnavailable(message=f"The key file {reference} cannot be read.") from error
    try:
        key, certificate, others = pkcs12.load_key_and_certificates(data, pass_phrase)
    except ValueError as error:
        raise SigningKeyUnavailable(
            message=f"The key file {reference} does not open with its secret."
        ) from error
    if certificate is None or not isinstance(key, RSAPrivateKey):
        raise Refused("signing_key_unfit", "The file holds no RSA key with a certificate.")
    require_fit(certificate)
    if key.public_key() != certificate.public_key():
        raise Refused("signing_key_unfit", "Key and certificate of the file do not belong together.")
    der = certificate.public_bytes(Encoding.DER)
    return KeyFileSigner(
        key=key,
        certificate_der=der,
        chain_der=tuple(other.public_bytes(Encoding.DER) for other in others),
        key_sha256=key_sha256_of(der),
        is_demo=is_demo,
    )


def keep_key_file(name: str, data: bytes) -> None:
    """Writes a new file into the key folder, readable by this user alone; never over one that is there.

    Raises:
        Refused: ``key_file_name``, or ``key_file_exists``.
    """
    if not FILE_NAME.fullmatch(name):
        raise Refused("key_file_name", "A key file is named without any folder.")
    folder = key_folder()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    try:
        handle = os.open(folder / name, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError as error:
        raise Refused("key_file_exists", f"There is a key file {name} already.") from error
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
