"""Entries of a packet: taken apart and put together again, with parts left out, and judged all the same."""

from typing import Any

import pytest

from rules.assess import assess
from rules.canonical import from_plain, to_plain
from rules.facts import JobFacts
from rules.result import Assessment
from rules.seal.entries import WITHHELD_TEXT, EntryError, flatten, is_text_only, rebuild
from tests.rules.builders import at
from tests.rules.packs_on_file import packs_on_file
from tests.rules.static_job import static_job
from tests.rules.windshield_job import windshield_job


@pytest.mark.parametrize("job", [windshield_job(), static_job()], ids=["road", "static"])
def test_what_was_taken_apart_is_put_together_again(job: JobFacts) -> None:
    judged = assess(packs_on_file(), job, as_of=at("11:50"))
    facts = dict(flatten("facts", to_plain(job)))
    told = dict(flatten("assessment", to_plain(judged)))
    assert from_plain(JobFacts, rebuild("facts", facts)) == job
    assert from_plain(Assessment, rebuild("assessment", told)) == judged


@pytest.mark.parametrize("job", [windshield_job(), static_job()], ids=["road", "static"])
def test_no_verdict_rests_on_what_counts_as_text(job: JobFacts) -> None:
    entries = {path: value for path, value in flatten("facts", to_plain(job)) if not is_text_only(path)}
    left = from_plain(JobFacts, rebuild("facts", entries))
    assert {person.name for person in left.people} == {WITHHELD_TEXT}
    before, after = (assess(packs_on_file(), facts, as_of=at("11:50")) for facts in (job, left))
    assert verdicts(before) == verdicts(after)
    assert (before.verdict, before.disposition) == (after.verdict, after.disposition)


def verdicts(judged: Assessment) -> list[Any]:
    return [(f.procedure_id, f.proof_id, f.verdict, f.outcome.reasons) for f in judged.findings]


def test_a_record_without_a_part_that_verdicts_rest_on_is_left_out() -> None:
    job = windshield_job()
    entries = dict(flatten("facts", to_plain(job)))
    login = f"facts/people/{job.people[0].id}/login"
    assert not is_text_only(login)
    del entries[login]
    assert len(rebuild("facts", entries)["people"]) == len(job.people) - 1


def test_entries_of_another_form_are_refused() -> None:
    with pytest.raises(EntryError):
        rebuild("facts", {"facts/readings/*": "no list"})
    with pytest.raises(EntryError):
        rebuild("facts", {"facts/a/b/c": 1})
    with pytest.raises(EntryError):
        rebuild("facts", {"facts/waivers/*": ["w"], "facts/waivers/w": 1})
