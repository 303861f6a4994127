"""A car driven before its adhesive was ready; glass set 08:40, ready 09:40 at best and 10:10 for certain.

Minutes by temperature and humidity are those of an invented data sheet; that the lowest readings count is
common practice, no source.
"""

from typing import Final

import pytest

from portal.demo.steps import Plan
from portal.demo.windshield import Attempt, WindshieldJob
from tests.scenarios.stage import DAY, Read, Stage, refused
from tests.scenarios.test_holds import sign_both, waiver

pytestmark = [pytest.mark.django_db, pytest.mark.slow]

READY: Final = "CP-BOND/ready"


@pytest.fixture(scope="module")
def job(stage: Stage) -> WindshieldJob:
    played = WindshieldJob(stage.scene, Plan())
    played.intake()
    played.plan_work()
    played.set_glass()
    return played


@pytest.mark.parametrize(
    ("start", "drive_at", "verdict"),
    [
        ("09:16", "09:20:00", ("not_met", ["adhesive_early"])),
        ("09:36", "09:39:50", ("not_met", ["adhesive_early"])),
        ("09:46", "09:50:00", ("not_shown", ["undecided"])),
        ("10:06", "10:09:50", ("not_shown", ["undecided"])),
        ("10:06", "10:10:10", ("met", [])),
    ],
)
def test_a_drive_against_the_ready_time(
    job: WindshieldJob, start: str, drive_at: str, verdict: tuple[str, list[str]]
) -> None:
    attempt = Attempt(day=DAY, start=start, drive_at=drive_at)
    job.prepare(attempt, at="09:10")
    job.aim(attempt)
    job.cure(at="10:50", minutes=120)
    job.finish(DAY)
    sign_both(job)
    judged = Read(job.assessment())
    assert judged.verdict(READY) == verdict
    if verdict[0] == "met":
        assert judged.finding("OV-FC-ROAD/order")["outcome"]["verdict"] != "met"
        return
    assert judged.told["disposition"] == "hold"
    refusal = refused(job.release, DAY, "11:31")
    assert refusal["code"] == "release_not_open"
    assert ("CP-BOND", "ready") in {(item["procedure_id"], item["proof_id"]) for item in refusal["open"]}
    # Nobody may wave through what cannot be undone.
    assert waiver(job, "tachterly", "11:35", READY)["code"] == "not_waivable"
    assert judged.finding(READY)["outcome"]["settle"] == "never" or verdict[0] == "not_shown"
