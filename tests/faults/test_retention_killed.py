"""A retention run is killed between its steps: the next run ends where an undisturbed one would have."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from jobs.failpoints import marker_of
from tests.faults.stack import SEED, Stack, installation, kill_9
from tests.servers import wait_until

pytestmark = pytest.mark.slow

KEPT = (
    SEED
    + """
    from jobs.models import Job
    from tests.jobs.kept_job import delivered, kept_file, aged
    from tests.jobs.sealed import sealed_packet
    job = Job.objects.get()
    for data in (b"a photo", b"b photo", b"c photo"):
        kept_file(shop, job, data)
    sealed_packet(shop, job)
    delivered(job, shop.at("17:00"))
    aged()
"""
)
# The 7th of May 2036 at noon in Chicago, whatever the machine's own clock says.
THEN = """
import django
django.setup()
from datetime import datetime, UTC
from jobs.models import Organisation, scope
from jobs.services.retention import run_retention
from jobs.services.retention_plan import plan_retention
at = datetime(2036, 5, 7, 17, tzinfo=UTC)
ours = Organisation.objects.get()
with scope(ours.pk):
    plan = plan_retention(organisation=ours, as_of=at)
    run_retention(organisation=ours, as_of=at, plan_sha256=plan.sha256)
"""
LOOK = """
import json
import django
django.setup()
from jobs import storage
from jobs.ledger.verify import verify_all
from jobs.models import Deletion, LogEntry, Packet, PacketAddition, RepairOrder, unscoped
from jobs.packets.additions import check_chain
with unscoped():
    packet = Packet.objects.get()
    rows = Deletion.objects.order_by("subject")
    deleted = [json.loads(row.detail)["subject"] for row in LogEntry.objects.filter(what="retention.deleted")]
    print(json.dumps({
        "stored": sorted(set(storage.walk()) - {row.sha256 for row in PacketAddition.objects.all()}),
        "open": rows.filter(removed_at__isnull=True).count(),
        "removed": rows.filter(removed_at__isnull=False).count(),
        "logged_once": len(deleted) == len(set(deleted)) == rows.filter(removed_at__isnull=False).count(),
        "unexplained": sum(
            not storage.exists(row.sha256) for row in packet.job.evidences.all()
            if not rows.filter(sha256=row.sha256).exists()
        ),
        "customer": RepairOrder.objects.get().customer_name,
        "told": sorted(
            item["sha256"] for row in PacketAddition.objects.all() for item in row.facts["deleted"]
        ),
        "chain": list(check_chain(packet)),
        "log_is_whole": all(report.is_whole for report in verify_all()),
    }))
"""
PLACES = ("retention.decided", "retention.bytes_gone", "retention.removed")


def look(stack: Stack) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(stack.program(LOOK))
    return found


@pytest.fixture(scope="module")
def seeded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("kept")
    Stack(data_dir=folder).program(KEPT)
    return folder


@pytest.fixture(scope="module")
def undisturbed(seeded: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("undisturbed") / "data"
    shutil.copytree(seeded, folder)
    stack = Stack(data_dir=folder)
    stack.program(THEN)
    return look(stack)


def test_undisturbed_everything_due_is_gone_and_told(undisturbed: dict[str, Any]) -> None:
    assert (undisturbed["stored"], undisturbed["open"], undisturbed["customer"]) == ([], 0, "(erased)")
    assert undisturbed["removed"] == 5
    assert len(undisturbed["told"]) == 5
    assert undisturbed["chain"] == []
    assert undisturbed["logged_once"]
    assert undisturbed["log_is_whole"]


@pytest.mark.parametrize("place", PLACES)
def test_killed_and_run_again(seeded: Path, undisturbed: dict[str, Any], tmp_path: Path, place: str) -> None:
    folder = Path(shutil.copytree(seeded, tmp_path / "data"))
    with installation(folder) as stack:
        program = stack.start("-c", THEN, WM_FAILPOINT=f"{place}:hang")
        wait_until(marker_of(place, str(folder)).exists, seconds=120, what=place)
        kill_9(program)
        found = look(stack)
        # Never is a file gone that no row tells of, and never does the log say more than was done.
        assert found["unexplained"] == 0
        assert found["logged_once"]
        assert found["log_is_whole"]
        assert found["open"] == (0 if place == "retention.removed" else 1)
        marker_of(place, str(folder)).unlink()
        stack.program(THEN)
        assert look(stack) == undisturbed


@pytest.mark.parametrize("place", PLACES)
def test_killed_at_every_single_step(
    seeded: Path, undisturbed: dict[str, Any], tmp_path: Path, place: str
) -> None:
    """The process ends itself at each step of its kind; it takes as many runs as there are things."""
    folder = Path(shutil.copytree(seeded, tmp_path / "data"))
    with installation(folder) as stack:
        for _ in range(12):
            program = stack.start("-c", THEN, WM_FAILPOINT=f"{place}:exit")
            status = program.wait(timeout=120)
            if status == 0:
                break
            assert status == 70, stack.logs()
            assert look(stack)["unexplained"] == 0
        stack.program(THEN)
        assert look(stack) == undisturbed
