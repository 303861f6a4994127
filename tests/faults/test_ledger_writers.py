"""Fifty writers at once on one organisation's log: no gap, no fork, on a real file and on a real server."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

# A program of its own, because pytest's SQLite lives in memory, where locking is not that of files.
PROGRAM = """
import json, threading
import django
django.setup()
from django.core.management import call_command
from django.db import connection, transaction
from jobs.ledger.append import append
from jobs.ledger.verify import verify_organisation
from jobs.models import LogEntry, Organisation, unscoped
from jobs.moment import now

call_command("migrate", verbosity=0, skip_checks=True)
owner = Organisation.objects.create(
    name="Brackwater", kind="repair_group", default_tz="America/Chicago", created_at=now()
)
failed, together = [], threading.Barrier(50)

def one(number):
    try:
        together.wait(timeout=60)
        for step in range(2):
            with transaction.atomic():
                append(organisation=owner, at=now(), who="itolvaar", device="", what="evidence.added",
                       target=f"{number}/{step}", detail={})
    except BaseException as error:
        failed.append(repr(error))
    finally:
        connection.close()

threads = [threading.Thread(target=one, args=(number,)) for number in range(50)]
for thread in threads: thread.start()
for thread in threads: thread.join()
with unscoped():
    numbers = sorted(LogEntry.objects.values_list("n", flat=True))
report = verify_organisation(owner)
print(json.dumps({"failed": failed, "gapless": numbers == list(range(1, 101)), "fault": report.fault,
                  "entries": report.entries}))
"""


def _run(extra: dict[str, str]) -> dict[str, object]:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], check=False, capture_output=True, text=True, timeout=300,
        env=os.environ | {"DJANGO_SETTINGS_MODULE": "portal.settings"} | extra,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    found: dict[str, object] = json.loads(done.stdout.splitlines()[-1])
    return found


WHOLE = {"failed": [], "gapless": True, "fault": "", "entries": 100}


@pytest.mark.slow
def test_fifty_writers_on_a_file(tmp_path: Path) -> None:
    assert _run({"WM_DATA_DIR": str(tmp_path), "DATABASE_URL": ""}) == WHOLE


@pytest.mark.slow
def test_fifty_writers_on_a_server(tmp_path: Path, migrated_postgresql_url: str) -> None:
    assert _run({"WM_DATA_DIR": str(tmp_path), "DATABASE_URL": migrated_postgresql_url}) == WHOLE
