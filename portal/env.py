"""Settings from the environment: every name, its type and its safe default; all faults are told at once."""

import atexit
import os
import shutil
import sys
import tempfile
from functools import cache
from pathlib import Path
from typing import Final

from environs import Env, EnvError

MODES: Final = ("production", "demo", "test")

env = Env(eager=False)


MODE: str = env.str("WM_MODE", "production")
SECRET_KEY: str = env.str("WM_SECRET_KEY", "")
ALLOWED_HOSTS: list[str] = env.list("WM_ALLOWED_HOSTS", [])
DATA_DIR: str = env.str("WM_DATA_DIR", "")
DATABASE_URL: str = env.str("DATABASE_URL", "")
BROKER_URL: str = env.str("WM_BROKER_URL", "")
TRUSTED_PROXIES: int = env.int("WM_TRUSTED_PROXIES", 0)
INSECURE_HTTP: bool = env.bool("WM_INSECURE_HTTP", False)
DEMO_CLOCK_FILE: str = env.str("WM_DEMO_CLOCK_FILE", "")
MAX_UPLOAD_BYTES: int = env.int("WM_MAX_UPLOAD_BYTES", 50_000_000)
MAX_BODY_BYTES: int = env.int("WM_MAX_BODY_BYTES", 2_000_000)
LOG_LEVEL: str = env.str("WM_LOG_LEVEL", "INFO")
# A worker silent for this long has lost its work to another (project default).
LEASE_SECONDS: int = env.int("WM_LEASE_SECONDS", 60)
# For fault tests: where to stop or kill the process; see jobs/failpoints.py.
FAILPOINT: str = env.str("WM_FAILPOINT", "")
# Where signing keys lie as PKCS#12 files, where their pass phrases and PINs lie, and the PKCS#11 module.
SIGNING_DIR: str = env.str("WM_SIGNING_DIR", "")
SIGNING_SECRETS_DIR: str = env.str("WM_SIGNING_SECRETS_DIR", "")
PKCS11_MODULE: str = env.str("WM_PKCS11_MODULE", "")
# The time-stamping authority (RFC 3161), its certificate as a PEM file, how long it is waited for, and the
# private networks it may lie in; without a network only public addresses are asked.
TSA_URL: str = env.str("WM_TSA_URL", "")
TSA_CERTIFICATE: str = env.str("WM_TSA_CERTIFICATE", "")
TSA_TIMEOUT_S: float = env.float("WM_TSA_TIMEOUT_S", 5.0)
TSA_NETWORKS: list[str] = env.list("WM_TSA_NETWORKS", [])
# The mail server that carries heads of the log outside, and the address that mails and lists name us by.
MAIL_HOST: str = env.str("WM_MAIL_HOST", "")
MAIL_PORT: int = env.int("WM_MAIL_PORT", 587)
MAIL_USER: str = env.str("WM_MAIL_USER", "")
MAIL_PASSWORD: str = env.str("WM_MAIL_PASSWORD", "")
MAIL_TLS: bool = env.bool("WM_MAIL_TLS", True)
MAIL_FROM: str = env.str("WM_MAIL_FROM", "")
PUBLIC_ADDRESS: str = env.str("WM_PUBLIC_ADDRESS", "")


def fail(lines: list[str]) -> None:
    """Says everything that is wrong with the environment and stops with status 2."""
    sys.stderr.write("\n".join(["Witness Mark cannot start:", *(f"  {line}" for line in lines), ""]))
    raise SystemExit(2)


def read() -> None:
    """Checks types and contradictions; a production start without its secrets is refused."""
    faults: list[str] = []
    try:
        env.seal()
    except EnvError as error:
        faults.append(str(error))
    if MODE not in MODES:
        faults.append(f"WM_MODE must be one of {', '.join(MODES)}")
    if MODE == "production":
        faults += _production_faults()
    if BROKER_URL and not BROKER_URL.startswith(("redis://", "rediss://", "unix://")):
        faults.append("WM_BROKER_URL must be a Redis address: other transports lose messages")
    faults += _mail_faults()
    if faults:
        fail(faults)


def _mail_faults() -> list[str]:
    faults = []
    if MAIL_HOST and not MAIL_FROM:
        faults.append("WM_MAIL_FROM is not set: a mail server needs to know whom mails come from")
    if PUBLIC_ADDRESS and (
        not PUBLIC_ADDRESS.startswith(("https://", "http://")) or PUBLIC_ADDRESS.endswith("/")
    ):
        faults.append("WM_PUBLIC_ADDRESS must look like https://portal.example, without a slash at the end")
    return faults


def _production_faults() -> list[str]:
    needed = {
        "WM_SECRET_KEY": SECRET_KEY,
        "WM_ALLOWED_HOSTS": ",".join(ALLOWED_HOSTS),
        "WM_DATA_DIR": DATA_DIR,
    }
    faults = [f"{name} is not set" for name, value in needed.items() if not value]
    if SECRET_KEY and len(SECRET_KEY) < 50:
        faults.append("WM_SECRET_KEY is shorter than 50 characters")
    for name, value in (("WM_DEMO_CLOCK_FILE", DEMO_CLOCK_FILE), ("WM_INSECURE_HTTP", INSECURE_HTTP)):
        if value:
            faults.append(f"{name} is allowed in demo and test mode only")
    if FAILPOINT:
        faults.append("WM_FAILPOINT is for fault tests and allowed in test mode only")
    return faults


BASE_DIR: Final = Path(__file__).resolve().parent.parent


@cache
def data_dir() -> Path:
    """Where the embedded database and stored files live; each test process has a folder that goes with it."""
    if DATA_DIR:
        return Path(DATA_DIR)
    if MODE == "test":
        folder = Path(tempfile.mkdtemp(prefix="witness-mark-test-"))
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
        return folder
    return BASE_DIR / ".demo"


def known_names() -> tuple[str, ...]:
    """Every name this module reads, for the check that warns of unknown ones."""
    return (
        "WM_MODE", "WM_SECRET_KEY", "WM_ALLOWED_HOSTS", "WM_DATA_DIR", "DATABASE_URL", "WM_BROKER_URL",
        "WM_TRUSTED_PROXIES", "WM_INSECURE_HTTP", "WM_DEMO_CLOCK_FILE", "WM_MAX_UPLOAD_BYTES",
        "WM_MAX_BODY_BYTES", "WM_LOG_LEVEL", "WM_LEASE_SECONDS", "WM_FAILPOINT", "WM_REQUIRE_SERVERS",
        "WM_SIGNING_DIR", "WM_SIGNING_SECRETS_DIR", "WM_PKCS11_MODULE", "WM_TSA_URL", "WM_TSA_CERTIFICATE",
        "WM_TSA_TIMEOUT_S", "WM_TSA_NETWORKS", "WM_MAIL_HOST", "WM_MAIL_PORT", "WM_MAIL_USER",
        "WM_MAIL_PASSWORD", "WM_MAIL_TLS", "WM_MAIL_FROM", "WM_PUBLIC_ADDRESS",
    )  # fmt: skip


def unknown_names() -> list[str]:
    return sorted(name for name in os.environ if name.startswith("WM_") and name not in known_names())


read()
