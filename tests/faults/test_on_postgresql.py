"""The record's own tests once more, on PostgreSQL: constraints, guards, log, queue, access."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SUITES = (
    "tests/jobs/models",
    "tests/jobs/ledger",
    "tests/jobs/test_outbox.py",
    "tests/jobs/test_work.py",
    "tests/jobs/test_access.py",
    "tests/jobs/test_rounds.py",
    "tests/jobs/selectors",
)


@pytest.mark.slow
def test_the_record_behaves_the_same_on_postgresql(postgresql_url: str, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:xdist", "-m", "not slow", "--create-db", *SUITES],
        cwd=ROOT, check=False, capture_output=True, text=True, timeout=600,
        env=os.environ | {"DATABASE_URL": postgresql_url, "WM_DATA_DIR": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]
    assert "skipped" not in done.stdout
