"""A camera aimed standing still with half of its set-up recorded: the rest is not shown, never met."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pytest

from rules.why import reason_words
from tests.scenarios.corran import CORRAN, STILL, CorranJob
from tests.scenarios.packets import Taken, body_of, packet_of, text_of, told_in, unbroken, verify
from tests.scenarios.stage import DAY, Read, Stage, refused

pytestmark = [pytest.mark.django_db, pytest.mark.slow]

# What the record lacks: the arches were read with a tape, for which nobody set a method budget.
LACKING: Final = {
    "height": ["uncertainty_unknown"],
    "floor": ["missing"],
    "light": ["missing"],
    "learned": ["missing"],
}


@dataclass(frozen=True)
class Played:
    judged: Read
    refusal: dict[str, Any]
    packet: Taken


@pytest.fixture(scope="module")
def played(stage: Stage) -> Played:
    job = CorranJob(stage.scene, CORRAN)
    job.until_ready()
    job.set_up()
    job.aim_standing()
    job.finish(DAY)
    job.sign(DAY, "11:12", "itolvaar", "technician")
    job.sign(DAY, "11:25", "dpell", "quality_reviewer")
    judged = Read(job.assessment())
    refusal = refused(job.release, DAY, "11:31")
    return Played(judged, refusal, packet_of(job, DAY, "11:50"))


def test_what_the_record_lacks_is_not_shown(played: Played) -> None:
    for proof, reasons in LACKING.items():
        assert played.judged.verdict(f"{STILL}/{proof}") == ("not_shown", reasons), proof


def test_where_the_target_stands_is_judged_with_the_budgets_on_file(played: Played) -> None:
    """The worked set-up: 3206.00 mm with u 0.713, 3.65 mm from the thrust line with u 1.950."""
    for proof in ("target", "thrust"):
        assert played.judged.verdict(f"{STILL}/{proof}") == ("met", []), proof
    outcome = played.judged.finding(f"{STILL}/target")["outcome"]
    numbers = {item["name"]: (item["value"], item["u"]) for item in outcome["numbers"]}
    assert numbers["distance"] == (pytest.approx(3206.00, abs=5e-3), pytest.approx(0.713, abs=5e-4))
    assert numbers["sideways"] == (pytest.approx(3.65, abs=5e-3), pytest.approx(1.950, abs=5e-4))
    assert numbers["yaw"] == (pytest.approx(-0.045, abs=5e-4), pytest.approx(0.0516, abs=5e-5))
    assert numbers["height"] == (1345.0, pytest.approx(1.172, abs=5e-4))
    assert numbers["thrust_angle"] == (-0.075, pytest.approx(0.0071, abs=5e-5))
    assert numbers["tape_scale_u"][0] == 0.16
    assert set(outcome["instruments"]) == {"TM-014", "TS-003", "FL-001", "AG-005", "AR-002"}


def test_the_other_proofs_are_judged(played: Played) -> None:
    for proof in ("text_current", "tyres", "codes0", "board", "done", "after", "function", "unmoved"):
        assert played.judged.verdict(f"{STILL}/{proof}") == ("met", []), proof


def test_the_car_is_held(played: Played) -> None:
    assert played.judged.told["disposition"] == "hold"
    assert played.judged.told["verdict"] != "met"
    assert played.judged.procedure(STILL)["verdict"] == "not_shown"
    assert played.judged.procedure(STILL)["accepted"] is False
    assert (played.refusal["status"], played.refusal["code"]) == (409, "release_not_open")
    assert {item["proof_id"] for item in played.refusal["open"]} >= LACKING.keys()


def test_the_packet_says_so(played: Played, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    front = unbroken(text_of(played.packet.pdf, tmp_path, "-l", "1"))
    assert unbroken("Gate: hold") in front
    body = body_of(played.packet.pdf, tmp_path)
    packed = unbroken(body)
    assert unbroken(reason_words("missing")) in packed
    for proof in LACKING:
        for part in told_in(played.judged.finding(f"{STILL}/{proof}")):
            assert unbroken(part) in packed, (proof, part)
    assert verify(played.packet.pdf, tmp_path, capsys)[0] == 0
