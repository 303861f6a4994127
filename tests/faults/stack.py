"""A real installation for fault tests: a database with one job that waits to be judged, and processes."""

import contextlib
import json
import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg
from django.conf import settings

from jobs.failpoints import marker_of
from tests.servers import wait_until

ROOT = Path(__file__).resolve().parents[2]
BEFORE_COMMIT = "jobs.assess_job.before_commit"

SEED = """
import django
django.setup()
from django.core.management import call_command
from django.db import connection
if not connection.introspection.table_names():
    call_command("migrate", verbosity=0, skip_checks=True)
from jobs.models import scope
from tests.jobs.shop import eastmarch
shop = eastmarch()
with scope(shop.organisation.pk):
    shop.publish("common-practice.3.yaml")
    shop.observe_clock("07:29")
    shop.open_job()
"""
LOOK = """
import json
import django
django.setup()
from jobs.ledger.verify import verify_all
from jobs.models import Assessment, AssessmentRun, FindingRow, Job, LogEntry, OutboxEntry, unscoped
with unscoped():
    mine = OutboxEntry.objects.filter(task="jobs.assess_job").order_by("pk")
    runs = AssessmentRun.objects.all()
    print(json.dumps({
        "outbox": [[row.state, row.attempts] for row in mine],
        "runs": [[run.state, run.attempts, run.assessment_id is not None] for run in runs],
        "assessments": Assessment.objects.count(),
        "current": Job.objects.filter(current_assessment__in=Assessment.objects.all()).count(),
        "verdicts_logged": LogEntry.objects.filter(what="verdict.computed").count(),
        "findings": FindingRow.objects.count() > 0,
        "log_is_whole": all(report.is_whole for report in verify_all()),
    }))
"""
SEND_AGAIN = """
import django
django.setup()
from jobs.models import OutboxEntry, unscoped
from jobs.tasks import assess_job
with unscoped():
    for entry in OutboxEntry.objects.filter(task="jobs.assess_job"):
        for _ in range(5):
            assess_job.apply_async(args=(entry.pk,))
"""
ONE_JUDGEMENT = {
    "assessments": 1,
    "current": 1,
    "verdicts_logged": 1,
    "findings": True,
    "log_is_whole": True,
}


def empty_record(folder: Path) -> None:
    """A record with nothing in it: this run's own test database, as it was after all migrations."""
    with (
        contextlib.closing(sqlite3.connect(settings.DATABASES["default"]["NAME"])) as ours,
        contextlib.closing(sqlite3.connect(folder / "record.sqlite3")) as copy,
    ):
        ours.backup(copy)


@dataclass
class Stack:
    """One installation; everything started is killed at the end."""

    data_dir: Path
    database_url: str = ""
    broker_url: str = ""
    processes: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def environment(self, **extra: str) -> dict[str, str]:
        return os.environ | {
            "DJANGO_SETTINGS_MODULE": "portal.settings",
            "PYTHONPATH": str(ROOT),
            "WM_MODE": "test",
            "WM_DATA_DIR": str(self.data_dir),
            "DATABASE_URL": self.database_url,
            "WM_BROKER_URL": self.broker_url,
            "WM_LEASE_SECONDS": "4",
            **extra,
        }

    def program(self, text: str) -> str:
        """Runs a small program in this installation and returns what it printed last."""
        done = subprocess.run(
            [sys.executable, "-c", text], cwd=ROOT, env=self.environment(), check=False,
            capture_output=True, text=True, timeout=180,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return (done.stdout.splitlines() or [""])[-1]

    def look(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.program(LOOK))
        return found

    def start(self, *arguments: str, **extra: str) -> subprocess.Popen[bytes]:
        """Starts a process in a group of its own, so that it can be killed with its children."""
        # A whole program given as text makes no name for a file.
        last = "program" if arguments[0] == "-c" else arguments[-1].rsplit("/", maxsplit=1)[-1]
        name = f"{len(self.processes)}-{last}.log"
        with (self.data_dir / name).open("wb") as log:
            process = subprocess.Popen(
                [sys.executable, *arguments], cwd=ROOT, env=self.environment(**extra), stdout=log,
                stderr=subprocess.STDOUT, start_new_session=True,
            )  # fmt: skip
        self.processes.append(process)
        return process

    def manage(self, *arguments: str, **extra: str) -> subprocess.Popen[bytes]:
        return self.start("manage.py", *arguments, **extra)

    def celery_worker(self, **extra: str) -> subprocess.Popen[bytes]:
        return self.start(
            "-m", "celery", "-A", "portal", "worker", "--pool", "prefork", "--concurrency", "1",
            "--without-gossip", "--without-mingle", "--loglevel", "WARNING", **extra,
        )  # fmt: skip

    @property
    def marker(self) -> Path:
        return marker_of(BEFORE_COMMIT, str(self.data_dir))

    def wait_for_marker(self) -> None:
        wait_until(self.marker.exists, seconds=120, what="the middle of the assessment")

    def wait_for_outbox(self, state: str) -> None:
        def settled() -> bool:
            states = self._outbox_states()
            return bool(states) and all(found == state for found in states)

        wait_until(settled, seconds=150, what=f"every row of the queue to be {state}")

    def _outbox_states(self) -> list[str]:
        """Asked straight from the database: starting Django for each look would take seconds."""
        sql = "SELECT state FROM jobs_outboxentry WHERE task = 'jobs.assess_job'"
        if self.database_url:
            with psycopg.connect(self.database_url) as server:
                return [row[0] for row in server.execute(sql).fetchall()]
        with contextlib.closing(sqlite3.connect(self.data_dir / "record.sqlite3", timeout=20)) as file:
            return [row[0] for row in file.execute(sql).fetchall()]

    def logs(self) -> str:
        return "\n".join(path.read_text(errors="replace")[-3000:] for path in self.data_dir.glob("*.log"))


def kill_9(process: subprocess.Popen[bytes]) -> None:
    """SIGKILL for the process and all its children, at once and without any warning."""
    os.killpg(process.pid, signal.SIGKILL)
    process.wait(timeout=30)


@contextlib.contextmanager
def installation(data_dir: Path, *, database_url: str = "", broker_url: str = "") -> Iterator[Stack]:
    """With a database address that database is seeded; without, the folder holds a seeded one already."""
    stack = Stack(data_dir=data_dir, database_url=database_url, broker_url=broker_url)
    try:
        if database_url:
            stack.program(SEED)
        yield stack
    finally:
        for process in stack.processes:
            if process.poll() is None:
                kill_9(process)
