"""The technician signs the review of her own work; the car is held until somebody else has signed.

That the reviewer is another person than the performer is common practice, no source.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from portal.demo.steps import Plan
from portal.demo.windshield import Attempt, WindshieldJob
from tests.scenarios.packets import Taken, body_of, packet_of, text_of, told_in, unbroken, verify
from tests.scenarios.stage import DAY, Read, Stage, refused

pytestmark = [pytest.mark.django_db, pytest.mark.slow]


@dataclass(frozen=True)
class Played:
    job: WindshieldJob
    own_signature: Read
    refusal: dict[str, Any]
    second_person: Read
    after: Read
    packet: Taken


@pytest.fixture(scope="module")
def played(stage: Stage) -> Played:
    job = WindshieldJob(stage.scene, Plan())
    attempt = Attempt(day=DAY)
    job.until_ready()
    job.prepare(attempt)
    job.aim(attempt)
    job.finish(DAY)
    job.sign(DAY, "11:12", "itolvaar", "technician")
    job.sign(DAY, "16:02", "itolvaar", "quality_reviewer")
    own_signature = Read(job.assessment())
    refusal = refused(job.release, DAY, "16:10")
    job.sign(DAY, "16:40", "dpell", "quality_reviewer")
    second_person = Read(job.assessment())
    job.release(DAY, "16:45")
    job.deliver(DAY, "16:55", 21026)
    after = Read(job.assessment())
    return Played(job, own_signature, refusal, second_person, after, packet_of(job, DAY, "17:00"))


def test_her_own_second_signature_holds_the_car(played: Played) -> None:
    assert played.own_signature.open == {"CP-EVERY/second": "not_met", "CP-EVERY/staff": "not_shown"}
    assert played.own_signature.verdict("CP-EVERY/second") == ("not_met", ["same_person"])
    assert played.own_signature.verdict("CP-EVERY/staff") == ("not_shown", ["missing"])
    assert played.own_signature.gate == ("not_met", "hold")


def test_the_release_is_refused_and_names_the_proofs(played: Played) -> None:
    assert (played.refusal["status"], played.refusal["code"]) == (409, "release_not_open")
    named = {(item["procedure_id"], item["proof_id"]): item["reasons"] for item in played.refusal["open"]}
    assert named == {
        ("CP-EVERY", "second"): ["same_person"],
        ("CP-EVERY", "staff"): ["missing"],
    }
    assert all(item["sentence"] and item["change"] for item in played.refusal["open"])


def test_the_refused_release_left_no_signature(played: Played) -> None:
    roles = [item["role"] for item in played.second_person.told["sign_offs"]]
    assert roles == ["technician", "quality_reviewer", "quality_reviewer"]


def test_another_person_opens_the_gate(played: Played) -> None:
    assert played.second_person.open == {}
    assert played.second_person.gate == ("met", "release")
    assert played.after.gate == ("met", "release")
    assert played.after.told["left_against_hold"] is False


def test_both_signatures_are_printed(
    played: Played, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = body_of(played.packet.pdf, tmp_path)
    for finding in played.after.told["findings"]:
        for part in told_in(finding):
            assert unbroken(part) in unbroken(text), (finding["proof_id"], part)
    front = text_of(played.packet.pdf, tmp_path, "-l", "1")
    for words in (
        "Ines Tolvaar, technician, 5 May 2026, 11:12",
        "Ines Tolvaar, quality reviewer, 5 May 2026, 16:02",
        "Dagny Pell, quality reviewer, 5 May 2026, 16:40",
    ):
        assert words in front
    assert verify(played.packet.pdf, tmp_path, capsys)[0] == 0
