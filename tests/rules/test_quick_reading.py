"""Stored facts read quickly: the same facts as the slow way gives, and no hash of other bytes."""

import json
from dataclasses import replace

import pytest

from rules.canonical import from_plain, sha256_hex
from rules.facts import JobFacts
from rules.reading_back import StoredFormError, facts_bytes, read_facts
from rules.record_bytes import record_bytes, record_sha256
from tests.bench.workload import by_make, jobs, rules
from tests.rules.windshield_job import windshield_job


def some_facts() -> list[JobFacts]:
    return [windshield_job(), *(job.facts for job in jobs(5, by_make(rules(20))))]


@pytest.mark.parametrize("number", range(6))
def test_read_quickly_it_is_what_the_slow_way_reads(number: int) -> None:
    facts = some_facts()[number]
    data = facts_bytes(facts)
    read = read_facts(data, sha256=sha256_hex(data))
    assert read == facts == from_plain(JobFacts, json.loads(data))
    assert record_bytes(read) == data
    assert record_sha256(read) == sha256_hex(data)


# Each form means the same facts, but is not the one that is written: RFC 8785 sections 3.2.1 to 3.2.3.
OTHER_FORMS = (
    ("a number with a fraction of zero", b'"lat":43.1,', b'"lat":43.10,'),
    ("a whole number as a fraction", b'"photo_radius_m":250,', b'"photo_radius_m":250.0,'),
    ("an exponent", b'"photo_radius_m":250,', b'"photo_radius_m":2.5e2,'),
    ("white space", b'"lat":', b'"lat": '),
    ("an escaped letter", b'"code":"EM"', b'"code":"\\u0045M"'),
    ("another order", b'"lat":43.1,"lon":-98.2,', b'"lon":-98.2,"lat":43.1,'),
)


@pytest.mark.parametrize(("name", "form", "other"), OTHER_FORMS, ids=[row[0] for row in OTHER_FORMS])
def test_the_hash_of_bytes_in_another_form_is_not_taken_over(name: str, form: bytes, other: bytes) -> None:
    facts = some_facts()[1]
    data = facts_bytes(facts)
    assert form in data
    strange = data.replace(form, other)
    read = read_facts(strange, sha256=sha256_hex(strange))
    assert read == facts
    assert record_sha256(read) == sha256_hex(data) != sha256_hex(strange)


def test_a_field_left_out_is_read_with_its_default_and_hashed_as_it_is_written() -> None:
    facts = replace(some_facts()[1], plan_fixed_at=None)
    data = facts_bytes(facts)
    strange = data.replace(b'"plan_fixed_at":null,', b"")
    assert record_sha256(read_facts(strange)) == sha256_hex(data)


@pytest.mark.parametrize(
    ("form", "other"),
    [
        (b'"lat":43.1,', b'"lat":43.1,"lat":43.1,'),
        (b'"lat":43.1,', b'"lat":"43.1",'),
        (b'"lat":43.1,', b'"lat":1e999,'),
        (b'"refusal_allowed":true', b'"refusal_allowed":1'),
        (b'"minutes":-300', b'"minutes":true'),
        (b'"order_number":', b'"order_numbers":'),
    ],
)
def test_what_is_no_form_of_the_facts_is_refused_as_before(form: bytes, other: bytes) -> None:
    data = facts_bytes(some_facts()[1])
    assert form in data
    with pytest.raises(StoredFormError):
        read_facts(data.replace(form, other))
