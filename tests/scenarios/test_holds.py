"""What holds a car, and what leaving on hold means: one day up to its drive, ended in different ways."""

import json
from datetime import date, timedelta
from typing import Any, Final

import pytest

from jobs.models import Certificate, Equipment, unscoped
from portal.demo.steps import Plan
from portal.demo.tablet import Tablet
from portal.demo.windshield import Attempt, WindshieldJob
from tests.record_guards import without_guards
from tests.scenarios.stage import DAY, Read, Stage, refused

pytestmark = [pytest.mark.django_db, pytest.mark.slow]

ROAD: Final = "OV-FC-ROAD"
GROUPS: Final = dict.fromkeys(("driver_assistance", "airbag", "brake", "steering"), "unlit")
REASON: Final = "The camera of the tablet broke before the dashboard could be photographed."


@pytest.fixture(scope="module")
def job(stage: Stage) -> WindshieldJob:
    """Aimed on the road; what comes after it is up to each test, and is undone after it."""
    played = WindshieldJob(stage.scene, Plan())
    attempt = Attempt(day=DAY)
    played.until_ready()
    played.prepare(attempt)
    played.aim(attempt)
    return played


def finish(job: WindshieldJob, *, scan: bool = True, photo: bool = True, at: str = "11:04") -> None:
    """The end of the work, as a whole or with something left out."""
    tablet = job.scene.at(DAY, at, "itolvaar", "Final scan, lamps, dashboard photographed")
    if scan:
        job.scan(tablet, "final", "final")
    if photo:
        job.photo(tablet, "dash_lamps_after", stage="final")
    job.record(tablet, "lamp-records", f"final-{at}", states=GROUPS)


def sign_both(job: WindshieldJob, technician: str = "11:12", reviewer: str = "11:25") -> None:
    job.sign(DAY, technician, "itolvaar", "technician")
    job.sign(DAY, reviewer, "dpell", "quality_reviewer")


def waiver(job: WindshieldJob, login: str, at: str, proof: str = "CP-EVERY/photos") -> dict[str, Any]:
    """Asks for a waiver: the receipt, or the problem with its status."""
    tablet = job.scene.at(DAY, at, login, f"{login} waives {proof}")
    procedure_id, proof_id = proof.split("/")
    body = {
        "id": job.id("waivers", login, at, proof),
        "procedure_id": procedure_id,
        "proof_id": proof_id,
        "reason": REASON,
        "instead": "The lamps were written down by two people.",
        "pin": job.scene.pins[login],
    }
    path = f"{job.base}/waivers"
    headers = {"Authorization": f"Bearer {tablet.token}", "Content-Type": "application/json"}
    headers["Idempotency-Key"] = body["id"]
    answer = tablet.transport.send("POST", path, headers, json.dumps(body).encode())
    return {"status": answer.status, **answer.json()}


def left_against_hold(job: WindshieldJob) -> bool:
    """What the board of the manager shows, beside the judgement."""
    told = job.scene.tablet("tachterly").get(job.base)
    return bool(told["left_against_hold"])


# ------------------------------------------------------------------ something is missing


def test_without_a_final_scan_the_car_is_held(job: WindshieldJob) -> None:
    finish(job, scan=False)
    sign_both(job)
    held = Read(job.assessment())
    assert held.verdict("CP-EVERY/final") == ("not_shown", ["missing"])
    assert held.verdict("CP-EVERY/codes") == ("not_shown", ["missing"])
    assert held.told["disposition"] == "hold"
    refusal = refused(job.release, DAY, "11:31")
    assert (refusal["status"], refusal["code"]) == (409, "release_not_open")
    assert {item["proof_id"] for item in refusal["open"]} >= {"final", "codes"}


def test_leaving_on_hold_is_told_for_ever(job: WindshieldJob) -> None:
    finish(job, scan=False)
    sign_both(job)
    job.deliver(DAY, "11:42", 21026)
    left = Read(job.assessment())
    assert left.told["left_against_hold"] is True
    assert left.told["disposition"] == "hold"
    tablet = job.scene.at(DAY, "12:10", "itolvaar", "The scan is found on the scan device")
    job.scan(tablet, "final", "final-late")
    sign_both(job, "12:20", "12:25")
    later = Read(job.assessment())
    assert later.told["left_against_hold"] is True
    assert left_against_hold(job) is True
    refusal = refused(job.release, DAY, "12:31")
    assert (refusal["status"], refusal["code"]) == (409, "job_gone")


def test_leaving_without_a_release_is_leaving_on_hold(job: WindshieldJob) -> None:
    """All is met and the gate stands open, but nobody signed the release."""
    finish(job)
    sign_both(job)
    assert Read(job.assessment()).gate == ("met", "release")
    job.deliver(DAY, "11:42", 21026)
    assert Read(job.assessment()).told["left_against_hold"] is True


def test_leaving_after_a_release_that_something_made_stale(job: WindshieldJob) -> None:
    finish(job)
    sign_both(job)
    job.release(DAY, "11:31")
    tablet = job.scene.at(DAY, "11:35", "itolvaar", "One more lamp record after everybody signed")
    job.record(tablet, "lamp-records", "afterthought", states={**GROUPS, "airbag": "lit"})
    job.deliver(DAY, "11:42", 21026)
    left = Read(job.assessment())
    assert left.verdict("CP-EVERY/lamps")[0] == "not_met"
    assert left.told["left_against_hold"] is True


# ------------------------------------------------------------------ waivers


def test_a_waiver_in_time_opens_the_gate_and_changes_no_verdict(job: WindshieldJob) -> None:
    finish(job, photo=False)
    sign_both(job)
    assert Read(job.assessment()).open == {"CP-EVERY/photos": "not_shown"}
    wrong = waiver(job, "itolvaar", "11:26")
    assert (wrong["status"], wrong["code"]) == (403, "role_missing")
    wrong = waiver(job, "dpell", "11:27")
    assert (wrong["status"], wrong["code"]) == (403, "waive_role_missing")
    wrong = waiver(job, "tachterly", "11:28", "CP-EVERY/final")
    assert (wrong["status"], wrong["code"]) == (422, "not_waivable")
    assert Read(job.assessment()).told["disposition"] == "hold"
    assert waiver(job, "tachterly", "11:29")["status"] == 201
    waived = Read(job.assessment())
    assert waived.gate == ("not_shown", "release_with_waiver")
    assert waived.verdict("CP-EVERY/photos") == ("not_shown", ["missing"])
    assert waived.finding("CP-EVERY/photos")["waived_by"]
    job.release(DAY, "11:31")
    job.deliver(DAY, "11:42", 21026)
    assert Read(job.assessment()).told["left_against_hold"] is False


def test_a_waiver_after_departure_is_a_late_note(job: WindshieldJob) -> None:
    finish(job, photo=False)
    sign_both(job)
    job.deliver(DAY, "11:42", 21026)
    assert waiver(job, "tachterly", "12:00")["status"] == 201
    late = Read(job.assessment())
    (decision,) = late.told["decisions"]
    assert (decision["kind"], decision["effect"]) == ("waiver", False)
    assert decision["why_not"].startswith("late note")
    assert late.finding("CP-EVERY/photos")["waived_by"] is None
    assert late.told["disposition"] == "hold"
    assert late.told["left_against_hold"] is True


# ------------------------------------------------------------------ the work goes on after the session


def test_an_operation_added_after_the_session_opens_everything_again(job: WindshieldJob) -> None:
    finish(job)
    sign_both(job)
    assert Read(job.assessment()).gate == ("met", "release")
    tablet = job.scene.at(DAY, "11:28", "itolvaar", "The camera was unplugged once more")
    now = tablet.clock()
    job.record(
        tablet,
        "operations",
        "unplugged",
        operation="camera.forward.unplugged",
        started_at=(now - timedelta(minutes=3)).isoformat(),
        done_at=(now - timedelta(minutes=2)).isoformat(),
    )
    again = Read(job.assessment())
    assert again.told["disposition"] == "hold"
    assert again.verdict("CP-EVERY/plan") == ("not_shown", ["operations_open"])
    assert again.verdict("CP-EVERY/sign") == ("not_shown", ["sign_off_stale"])
    assert again.verdict("CP-EVERY/second") == ("not_shown", ["sign_off_stale"])
    assert again.verdict(f"{ROAD}/drive") == ("not_shown", ["missing"])
    assert again.procedure(ROAD)["governing_session"] is None
    assert refused(job.release, DAY, "11:31")["code"] == "release_not_open"
    # Closing the list settles the list, and brings no session back.
    tablet = job.scene.at(DAY, "11:33", "tachterly", "Operation list closed again")
    job.record(tablet, "operations-closings", "second")
    closed = Read(job.assessment())
    assert closed.verdict("CP-EVERY/plan") == ("met", [])
    assert closed.verdict(f"{ROAD}/drive") == ("not_shown", ["missing"])
    assert closed.told["disposition"] == "hold"


# ------------------------------------------------------------------ the gauge


@pytest.mark.parametrize(
    ("calibrated_on", "verdict"),
    [
        (date(2025, 5, 5), ("met", [])),
        (date(2025, 5, 4), ("not_met", ["instrument_overdue"])),
    ],
)
def test_a_gauge_on_its_last_day_and_one_day_later(
    job: WindshieldJob, calibrated_on: date, verdict: tuple[str, list[str]]
) -> None:
    """Due twelve months after the calibration, that day included, in the local date of the use."""
    with unscoped(), without_guards():
        gauge = Equipment.objects.get(tag="PG-022")
        assert gauge.interval_months == 12
        Certificate.objects.filter(equipment=gauge).update(calibrated_on=calibrated_on)
    finish(job)
    sign_both(job)
    judged = Read(job.assessment())
    assert judged.verdict("CP-EVERY/gear") == verdict
    assert judged.verdict(f"{ROAD}/tyres") == ("met", [])
    assert (judged.told["disposition"] == "release") is (verdict[0] == "met")
    if verdict[0] != "met":
        refusal = refused(job.release, DAY, "11:31")
        assert [item["proof_id"] for item in refusal["open"]] == ["gear"]


# ------------------------------------------------------------------ two tablets


def test_two_tablets_map_one_line_of_the_estimate(job: WindshieldJob) -> None:
    """Who read an older version is told so, and changes nothing."""
    first = job.scene.at(DAY, "11:05", "tachterly", "Two tablets open the same line")
    second = job.scene.tablet("itolvaar")
    line = job.id("estimate-lines", 2)
    path = f"{job.base}/estimate-lines/{line}/mapping"
    etag = '"1"'
    nothing = {"operations": [], "touches_nothing": True}
    other = {"operations": ["mirror.inside.disturbed"], "touches_nothing": False}
    assert first.put(path, other, etag)["version"] == 2
    problem = refused(second.put, path, nothing, etag)
    assert (problem["status"], problem["code"]) == (412, "version_conflict")
    assert _mapped(second, job, line) == ["mirror.inside.disturbed"]
    assert second.put(path, nothing, '"2"')["version"] == 3
    assert _mapped(first, job, line) == []


def _mapped(tablet: Tablet, job: WindshieldJob, line: str) -> list[str]:
    lines = tablet.get(f"{job.base}/estimate-lines")["results"]
    return next(list(item["operations"]) for item in lines if item["id"] == line)
