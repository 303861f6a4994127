"""A software PKCS#11 token in a folder of its own, with one RSA key; skipped where SoftHSM is missing."""

import os
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from tests.rules.seal.certs import certificate, private_key

MODULES = (
    "/usr/lib/softhsm/libsofthsm2.so",
    "/usr/lib64/pkcs11/libsofthsm2.so",
    "/usr/local/lib/softhsm/libsofthsm2.so",
)
PIN = "4711-of-the-tests"


@dataclass(frozen=True)
class Token:
    """Where the token lies, its module, and the certificate (DER) of the key in it."""

    folder: Path
    module: str
    certificate: bytes

    @property
    def away(self) -> Path:
        return self.folder.with_name("tokens-away")

    def unplug(self) -> None:
        self.folder.rename(self.away)
        self.folder.mkdir()

    def plug_in(self) -> None:
        self.folder.rmdir()
        self.away.rename(self.folder)


def new_token(root: Path, label: str = "shop", key_label: str = "seal") -> Token:
    """Makes token and key. The library reads its configuration once: the first folder stays."""
    module = next((path for path in MODULES if Path(path).exists()), None)
    if module is None or shutil.which("softhsm2-util") is None:
        if os.environ.get("WM_REQUIRE_SERVERS") == "1":
            pytest.fail("SoftHSM is not installed")
        pytest.skip("SoftHSM is not installed")
    folder = root / "tokens"
    folder.mkdir()
    conf = root / "softhsm2.conf"
    conf.write_text(f"directories.tokendir = {folder}\nobjectstore.backend = file\nlog.level = ERROR\n")
    os.environ["SOFTHSM2_CONF"] = str(conf)
    key = private_key(number=11)
    pem = root / "key.pem"
    pem.write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    for arguments in (
        ("--init-token", "--free", "--label", label, "--pin", PIN, "--so-pin", "so-pin-of-the-tests"),
        ("--import", str(pem), "--token", label, "--label", key_label, "--id", "01", "--pin", PIN),
    ):
        ran = subprocess.run(["softhsm2-util", *arguments], capture_output=True, text=True, check=False)
        assert ran.returncode == 0, ran.stderr
    pem.unlink()
    return Token(folder, module, certificate(key))
