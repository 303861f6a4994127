"""A camera aimed standing still: proofs that this version cannot judge are not shown, never met."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pytest

from rules.checks.unjudged import NOT_CARRIED_OUT
from rules.why import reason_words
from tests.scenarios.corran import CORRAN, STILL, CorranJob
from tests.scenarios.packets import Taken, body_of, packet_of, text_of, unbroken, verify
from tests.scenarios.stage import DAY, Read, Stage, refused

pytestmark = [pytest.mark.django_db, pytest.mark.slow, pytest.mark.xdist_group("scenario-not-judged")]

# Of the maker's text for this camera; the other proofs of it are judged.
NEEDS_A_CHECK: Final = {"height", "thrust", "floor", "light", "target", "learned"}


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


def test_what_cannot_be_judged_is_not_shown(played: Played) -> None:
    checks = {
        item["proof_id"]: item["check"]
        for item in played.judged.told["findings"]
        if item["procedure_id"] == STILL and item["check"] in NOT_CARRIED_OUT
    }
    assert checks.keys() == NEEDS_A_CHECK
    for proof in NEEDS_A_CHECK:
        assert played.judged.verdict(f"{STILL}/{proof}") == ("not_shown", ["not_judged"])
        assert (
            "does not carry out that check"
            in played.judged.finding(f"{STILL}/{proof}")["outcome"]["sentence"]
        )


def test_the_other_proofs_are_judged(played: Played) -> None:
    for proof in ("text_current", "tyres", "codes0", "board", "done", "after", "function", "unmoved"):
        assert played.judged.verdict(f"{STILL}/{proof}") == ("met", []), proof


def test_the_car_is_held(played: Played) -> None:
    assert played.judged.told["disposition"] == "hold"
    assert played.judged.told["verdict"] != "met"
    assert played.judged.procedure(STILL)["verdict"] == "not_shown"
    assert played.judged.procedure(STILL)["accepted"] is False
    assert (played.refusal["status"], played.refusal["code"]) == (409, "release_not_open")
    assert {item["proof_id"] for item in played.refusal["open"]} >= NEEDS_A_CHECK


def test_the_packet_says_so(played: Played, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    front = unbroken(text_of(played.packet.pdf, tmp_path, "-l", "1"))
    assert unbroken("Gate: hold") in front
    body = body_of(played.packet.pdf, tmp_path)
    assert body.count("(not_judged)") >= len(NEEDS_A_CHECK)
    packed = unbroken(body)
    assert unbroken(reason_words("not_judged")) in packed
    for proof in NEEDS_A_CHECK:
        sentence = played.judged.finding(f"{STILL}/{proof}")["outcome"]["sentence"]
        assert unbroken(sentence) in packed, proof
    assert verify(played.packet.pdf, tmp_path, capsys)[0] == 0
