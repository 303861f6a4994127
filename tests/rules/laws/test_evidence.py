"""Evidence taken away opens what rests on it and nothing else; evidence added takes no contradiction away."""

from dataclasses import replace

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from rules.facts import JobFacts, StateChange
from rules.result import Assessment
from rules.verdict import NOT_MET_REASONS
from tests.rules.builders import at, held, moment
from tests.rules.contradictions import CASES, Case
from tests.rules.laws.jobs import FINISHED, Key, verdicts
from tests.rules.weakening import changed, judged, places, record_at, signed, without

QUICK = settings(max_examples=15, deadline=None, derandomize=True, phases=(Phase.explicit, Phase.generate))
ALIKE = ("fitted-", "sign-")
# The typed VIN stands in the vehicle's row too, work done needs no line that planned it.
NOT_NEEDED = {"vin-typed", "line-1", "line-2"}
# What these records take part in besides being named: which procedures are required and which session counts.
DECIDING = ("operations", "closings", "sessions", "glass_sets", "fitted_ways")


def _resting_on(result: Assessment, record_id: str) -> set[Key]:
    return {
        (item.procedure_id, item.proof_id) for item in result.findings if record_id in item.outcome.evidence
    }


def _rest(name: str) -> list[tuple[str, str]]:
    return [
        place
        for place in places(FINISHED[name]())
        if not place[1].startswith(ALIKE) and place[1] not in NOT_NEEDED
    ]


@pytest.mark.parametrize("name", FINISHED)
def test_what_is_taken_away_opens_the_proofs_that_rest_on_it_and_no_other(name: str) -> None:
    facts = FINISHED[name]()
    whole = judged(facts)
    assert whole.disposition == "release"
    for place in _rest(name):
        result = judged(without(facts, place))
        assert result.disposition == "hold" or not _resting_on(whole, place[1]), place
        if place[0] in DECIDING:
            continue
        opened = {key for key, verdict in verdicts(result).items() if verdict != "met"}
        # A photo shows a record, and its loss may open the record that names it.
        named = _names(facts, place[1])
        allowed = set().union(*(_resting_on(whole, one) for one in {place[1], *named}))
        # The order of events names what other proofs work out: the adhesive ready, a target that serves.
        beside = {key for key in opened - allowed if key[1] != "order"}
        assert beside == set(), (place, beside)
        assert all(verdict == "not_shown" for key, verdict in verdicts(result).items() if key in opened), (
            place
        )


def _names(facts: JobFacts, record_id: str) -> set[str]:
    return {
        place[1] for place in places(facts) if record_id in getattr(record_at(facts, place), "evidence", ())
    }


@pytest.mark.parametrize("name", FINISHED)
def test_without_all_its_evidence_every_proof_is_open(name: str) -> None:
    facts = FINISHED[name]()
    every = {record: field for field, record in places(facts)}
    for item in judged(facts).findings:
        own = [record for record in item.outcome.evidence if record in every]
        if not own or item.proof_id == "gear":  # gear rests on certificates too, which no job can lose
            continue
        left = facts
        for record in own:
            left = without(left, (every[record], record))
        result = judged(left)
        key = (item.procedure_id, item.proof_id)
        # Without the work on record the procedure may no longer be asked for; then somebody must say so.
        assert verdicts(result).get(key, "gone") != "met", key
        assert result.disposition == "hold", key


# ------------------------------------------------------------------ adding


def _more(facts: JobFacts, dice: int) -> JobFacts:
    """The finished job's own evidence once more, some minutes later, and a harmless event."""
    every = [place for place in places(facts) if place[0] in ("readings", "photos", "statements", "scans")]
    name, record_id = every[dice % len(every)]
    record = record_at(facts, (name, record_id))
    again = replace(record, id="again", sha256="a" * 64, received_at=at("11:14"))
    event = StateChange(**held("event", "11:12"), kind="battery_cut", at=moment("11:12"), by="mondry")
    more = replace(facts, **{name: (*getattr(facts, name), again)})
    return signed(replace(more, sign_offs=(), state_changes=(*facts.state_changes, event)))


@QUICK
@given(case=st.sampled_from(CASES), dice=st.integers(0, 500))
def test_more_evidence_takes_no_contradiction_away(case: Case, dice: int) -> None:
    facts = case.facts()
    before, after = judged(facts), judged(_more(facts, dice))
    assert verdicts(before)[case.proof] != "met"
    assert verdicts(after)[case.proof] != "met"
    assert after.disposition == "hold"
    if set(case.reasons) <= set(NOT_MET_REASONS):
        assert verdicts(after)[case.proof] == verdicts(before)[case.proof]


@pytest.mark.parametrize("name", FINISHED)
@pytest.mark.parametrize("dice", [0, 7, 40, 90])
def test_more_evidence_takes_no_contradiction_of_times_away(name: str, dice: int) -> None:
    facts = FINISHED[name]()
    # A lamp record the server held before it can have been made: its clock's time is later.
    place = ("lamp_records", "lamps-delivery")
    impossible = changed(facts, place, received_at=at("10:00"))
    before, after = judged(impossible), judged(_more(impossible, dice))
    assert before.contradictions
    assert {item.records for item in before.contradictions} <= {item.records for item in after.contradictions}
    assert (before.disposition, after.disposition) == ("hold", "hold")
