"""A job of which no pack asks anything: nothing was judged, so nothing is met and the car is held."""

from rules.assess import assess
from rules.explain import NOTHING_ASKED
from rules.packs.model import PackSet
from tests.rules.builders import at
from tests.rules.packs_on_file import packs_on_file
from tests.rules.windshield_job import windshield_job


def test_without_any_pack_a_finished_job_is_not_shown_and_held() -> None:
    judged = assess(PackSet(editions=()), windshield_job(), as_of=at("11:50"))
    assert judged.verdict == "not_shown"
    assert judged.disposition == "hold"
    assert judged.held_because == (NOTHING_ASKED,)


def test_with_packs_the_same_job_is_met_and_released() -> None:
    judged = assess(packs_on_file(), windshield_job(), as_of=at("11:50"))
    assert (judged.verdict, judged.disposition) == ("met", "release")
