"""What contradictions of a job's times do to its verdicts, and what takes none of them away."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from rules.assess import assess
from rules.canonical import from_plain, to_plain
from rules.facts import JobFacts, SlipSeen
from rules.result import Assessment, ClaimSaid, Contradiction
from rules.timeline import with_contradictions
from rules.verdict import Outcome
from tests.rules.builders import at, with_records
from tests.rules.packs_on_file import packs_on_file
from tests.rules.test_timeline import found, set_after_the_drive
from tests.rules.windshield_job import unsigned_job, windshield_job

# ------------------------------------------------------------------ what it does to verdicts


def judged(facts: JobFacts, when: str = "11:50") -> Assessment:
    return assess(packs_on_file(), facts, as_of=at(when))


def short_of_met(result: Assessment):
    return {
        (item.procedure_id, item.proof_id): (item.verdict, item.outcome.reasons)
        for item in result.findings
        if item.verdict != "met"
    }


CASE = Contradiction(
    claims=(ClaimSaid(words="a", records=("r",)),), excess_s=1.0, sentence="Told.", records=("r", "s")
)


def test_only_what_was_met_and_rests_on_the_records_is_not_shown():
    met = Outcome(verdict="met", evidence=("s",), sentence="It is there.")
    changed = with_contradictions(met, (CASE,))
    assert (changed.verdict, changed.reasons) == ("not_shown", ("conflict",))
    assert changed.sentence == "It is there. Told."
    assert changed.change
    assert with_contradictions(met, ()) is met
    assert with_contradictions(replace(met, evidence=("other",)), (CASE,)).verdict == "met"
    for verdict in ("not_met", "not_shown"):
        short = replace(met, verdict=verdict, reasons=("missing",))
        assert with_contradictions(short, (CASE,)) is short


def test_a_contradiction_holds_the_job_and_is_told():
    """The photo of the lamps at delivery shows a slip that was issued after it was taken."""
    facts = windshield_job()
    slip = SlipSeen(job_id="job-417", issued_at=at("11:12"), authentic=True)
    turned = tuple(
        replace(item, slip=slip, received_at=at("11:10")) if item.id == "photo-lamps-after" else item
        for item in facts.photos
    )
    result = judged(replace(facts, photos=turned))
    assert short_of_met(result) == {("CP-EVERY", "photos"): ("not_shown", ("conflict",))}
    assert result.disposition == "hold"
    assert result.contradictions
    assert {item.sentence for item in result.contradictions} <= set(result.held_because)
    assert from_plain(Assessment, to_plain(result)) == result


def test_without_contradictions_nothing_changes():
    result = judged(windshield_job())
    assert (result.verdict, result.disposition, result.contradictions) == ("met", "release", ())


WEAK = unsigned_job()
RECORDS = (*WEAK.photos, *WEAK.lamp_records, *WEAK.scans, *WEAK.statements)


@settings(max_examples=25, deadline=None)
@given(extra=st.sets(st.sampled_from(range(len(RECORDS))), max_size=6))
def test_more_evidence_takes_no_contradiction_away(extra):
    facts = set_after_the_drive()
    before = {item.records: item.excess_s for item in found(facts)}
    fields = {"photos": [], "lamp_records": [], "scans": [], "statements": []}
    names = {"Photo": "photos", "LampRecord": "lamp_records", "Scan": "scans", "Statement": "statements"}
    for place in extra:
        copy = replace(RECORDS[place], id=f"more-{place}")
        fields[names[type(copy).__name__]].append(copy)
    after = {item.records: item.excess_s for item in found(with_records(facts, **fields))}
    assert all(after.get(records, 0.0) >= excess_s for records, excess_s in before.items())


@settings(max_examples=15, deadline=None)
@given(st.randoms())
def test_the_order_of_upload_changes_no_contradiction(random):
    facts = set_after_the_drive()
    mixed = {}
    for name in ("photos", "lamp_records", "scans", "readings", "statements"):
        rows = list(getattr(facts, name))
        random.shuffle(rows)
        mixed[name] = tuple(rows)
    assert found(replace(facts, **mixed)) == found(facts)


def test_without_any_one_claim_the_others_can_be_true():
    """Each record of the three claims is needed: without it that contradiction is gone."""
    facts = set_after_the_drive()
    key = frozenset({"photo-set", "glass", "drive"})
    for less in (
        replace(facts, photos=facts.photos[:-1]),
        replace(facts, glass_sets=()),
        replace(facts, drive_logs=()),
    ):
        assert key not in {frozenset(item.records) for item in found(less)}
