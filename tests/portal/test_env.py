"""Nothing set means production; production without its secrets does not start; contradictions stop it too."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
GOOD = {
    "WM_SECRET_KEY": "".join(chr(33 + n * 7 % 90) for n in range(60)),
    "WM_ALLOWED_HOSTS": "portal.example",
}


def start(environment: dict[str, str], *command: str) -> subprocess.CompletedProcess[str]:
    """Runs a command of manage.py with exactly this environment and what the interpreter needs."""
    return subprocess.run(
        [sys.executable, "manage.py", *command],
        cwd=ROOT,
        env={"PATH": os.environ["PATH"], "HOME": os.environ.get("HOME", "/tmp"), **environment},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_an_empty_environment_is_production_and_all_that_is_missing_is_told_at_once() -> None:
    ended = start({}, "check")
    assert ended.returncode == 2
    for name in ("WM_SECRET_KEY", "WM_ALLOWED_HOSTS", "WM_DATA_DIR"):
        assert f"{name} is not set" in ended.stderr


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"WM_SECRET_KEY": "short"}, "shorter than 50"),
        ({"WM_DEMO_CLOCK_FILE": "/tmp/clock"}, "WM_DEMO_CLOCK_FILE is allowed in demo and test mode only"),
        ({"WM_INSECURE_HTTP": "true"}, "WM_INSECURE_HTTP is allowed in demo and test mode only"),
        ({"WM_BROKER_URL": "memory://"}, "must be a Redis address"),
        ({"WM_MODE": "live"}, "WM_MODE"),
        ({"WM_TRUSTED_PROXIES": "two"}, "WM_TRUSTED_PROXIES"),
    ],
)
def test_contradictions_stop_the_start(tmp_path: Path, more: dict[str, str], words: str) -> None:
    ended = start({**GOOD, "WM_DATA_DIR": str(tmp_path), **more}, "check")
    assert ended.returncode == 2
    assert words in ended.stderr


@pytest.mark.slow
def test_a_complete_production_environment_passes_the_deployment_check(tmp_path: Path) -> None:
    environment = {**GOOD, "WM_DATA_DIR": str(tmp_path)}
    ended = start(environment, "check", "--deploy", "--fail-level", "WARNING")
    assert ended.returncode == 0, ended.stderr
