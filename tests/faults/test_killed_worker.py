"""The worker is killed with SIGKILL in the middle of an assessment: one assessment comes out, no job lost."""

import signal
from pathlib import Path

import pytest

from tests.faults.stack import BEFORE_COMMIT, ONE_JUDGEMENT, SEND_AGAIN, installation, kill_9

pytestmark = pytest.mark.slow

HANG = {"WM_FAILPOINT": f"{BEFORE_COMMIT}:hang"}
EXIT = {"WM_FAILPOINT": f"{BEFORE_COMMIT}:exit"}
NOTHING_YET = {"assessments": 0, "current": 0, "verdicts_logged": 0, "findings": False, "log_is_whole": True}


def test_on_redis_and_postgresql_with_celery(
    tmp_path: Path, migrated_postgresql_url: str, redis_url: str
) -> None:
    with installation(tmp_path, database_url=migrated_postgresql_url, broker_url=redis_url) as stack:
        stack.manage("run_relay")
        worker = stack.celery_worker(**HANG)
        stack.wait_for_marker()
        # The result is written but not committed; the lease is held.
        found = stack.look()
        assert found["outbox"] == [["leased", 1]]
        assert found | NOTHING_YET == found
        kill_9(worker)
        # The broker may deliver again, and again: the lease lets one in.
        stack.program(SEND_AGAIN)
        stack.celery_worker()
        stack.wait_for_outbox("done")
        found = stack.look()
        assert found["outbox"] == [["done", 2]], stack.logs()
        assert found["runs"] == [["done", 2, True]]
        assert found | ONE_JUDGEMENT == found
        stack.program(SEND_AGAIN)
        stack.wait_for_outbox("done")
        assert stack.look() == found


def test_on_the_embedded_queue(embedded: Path) -> None:
    with installation(embedded) as stack:
        worker = stack.manage("run_worker", **HANG)
        stack.wait_for_marker()
        found = stack.look()
        assert found["outbox"] == [["leased", 1]]
        assert found | NOTHING_YET == found
        kill_9(worker)
        stack.manage("run_worker")
        stack.wait_for_outbox("done")
        found = stack.look()
        assert found["outbox"] == [["done", 2]], stack.logs()
        assert found["runs"] == [["done", 2, True]]
        assert found | ONE_JUDGEMENT == found


def test_work_that_kills_its_worker_each_time_is_buried(embedded: Path) -> None:
    with installation(embedded) as stack:
        for attempt in (1, 2, 3):
            worker = stack.manage("run_worker", **EXIT)
            assert worker.wait(timeout=150) == 70, stack.logs()
            assert stack.look()["outbox"] == [["leased", attempt]]
        stack.manage("run_worker")
        stack.wait_for_outbox("dead")
        found = stack.look()
        assert found["outbox"] == [["dead", 3]]
        assert found["runs"] == [["dead", 3, False]]
        assert found | NOTHING_YET == found


def test_asked_to_stop_it_finishes_what_it_has_begun(embedded: Path) -> None:
    with installation(embedded) as stack:
        worker = stack.manage("run_worker", **HANG)
        stack.wait_for_marker()
        second = stack.manage("run_worker")
        assert second.wait(timeout=60) == 2, "an embedded database has one worker"
        worker.send_signal(signal.SIGTERM)
        stack.marker.unlink()
        assert worker.wait(timeout=60) == 0
        found = stack.look()
        assert found["outbox"] == [["done", 1]], stack.logs()
        assert found | ONE_JUDGEMENT == found
