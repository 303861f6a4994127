"""Contradicting times on a page: told once, devices by name."""

from dataclasses import replace

from portal.web.proof_rows import rows_of
from portal.web.times import with_device_names
from rules.explain import ContradictionText, contradiction_texts
from rules.result import ClaimSaid, Contradiction
from tests.rules.weakening import GATE, judged
from tests.rules.windshield_job import windshield_job

CLAIMS = (
    ClaimSaid(words="the photo was at 11:15", records=()),
    ClaimSaid(words="the setting was at 08:40", records=()),
)
SENTENCE = (
    "The two claims cannot all be true: the photo was at 11:15; the setting was at 08:40. "
    "They miss each other by 150 min."
)
CASE = Contradiction(claims=CLAIMS, excess_s=9000.0, sentence=SENTENCE, records=())


def test_the_lead_is_the_sentence_without_its_claims() -> None:
    done = replace(judged(windshield_job(), GATE), contradictions=(CASE,))
    (told,) = contradiction_texts(done)
    assert told.sentence == SENTENCE
    assert told.lead == "The two claims cannot all be true. They miss each other by 150 min."


def test_a_proof_does_not_tell_the_contradiction_again() -> None:
    done = judged(windshield_job(), GATE)
    first = done.findings[0]
    outcome = replace(first.outcome, shows=f"All agree. {SENTENCE}")
    told = replace(
        done, contradictions=(CASE,), findings=(replace(first, outcome=outcome), *done.findings[1:])
    )
    row = rows_of(told, {})[0]
    assert row.told.shows == "All agree. It rests on times that cannot all be true, told above."


def test_a_device_is_called_by_its_name() -> None:
    claim = "the setting of the glass was at 08:40 by the clock of device 1555c1f2"
    shown = {"contradictions": (ContradictionText(sentence="", lead="", claims=(claim,)),)}
    (told,) = with_device_names(shown, lambda: {"device 1555c1f2": "tablet-em-1"})["contradictions"]
    assert told.claims == ("the setting of the glass was at 08:40 by the clock of tablet-em-1",)


def test_no_name_is_asked_for_without_a_contradiction() -> None:
    def asked() -> dict[str, str]:
        raise AssertionError("asked for names")

    assert with_device_names({"gate": "hold"}, asked) == {"gate": "hold"}
