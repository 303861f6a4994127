"""Facts come back from their stored bytes exactly, or are refused with the place that does not fit."""

import dataclasses
import json
import types
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any, Final, Literal, Union, get_args, get_origin, get_type_hints

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules import facts as facts_module
from rules.assess import assess
from rules.canonical import PlainError, canonical_bytes, from_plain, sha256_hex, to_plain
from rules.facts import JobFacts, facts_held_at
from rules.reading_back import StoredFormError, facts_bytes, read_assessment, read_facts
from tests.rules.builders import at
from tests.rules.cast import corran
from tests.rules.packs_on_file import packs_on_file
from tests.rules.weakening import changed, places, short_of_met
from tests.rules.windshield_job import unsigned_job, windshield_job

RECORD_TYPES: Final = tuple(
    found
    for name in facts_module.__all__
    if dataclasses.is_dataclass(found := getattr(facts_module, name)) and isinstance(found, type)
)
_SCALARS: Final[dict[Any, st.SearchStrategy[Any]]] = {
    str: st.text(alphabet=st.characters(exclude_categories=("Cs",)), max_size=12),
    int: st.integers(min_value=-(2**53) + 1, max_value=2**53 - 1),
    float: st.floats(allow_nan=False, allow_infinity=False),
    bool: st.booleans(),
    date: st.dates(),
    datetime: st.datetimes(timezones=st.just(UTC)),
    type(None): st.none(),
}


def values_of(kind: Any) -> st.SearchStrategy[Any]:
    """Any value that the type of a field allows."""
    origin = get_origin(kind)
    if origin is Literal:
        return st.sampled_from(get_args(kind))
    if origin in (Union, types.UnionType):
        return st.one_of(*(values_of(member) for member in get_args(kind)))
    if origin is tuple:
        members = get_args(kind)
        if len(members) == 2 and members[1] is Ellipsis:
            return st.lists(values_of(members[0]), max_size=2).map(tuple)
        return st.tuples(*(values_of(member) for member in members))
    if dataclasses.is_dataclass(kind):
        hints = get_type_hints(kind)
        return st.builds(kind, **{name: values_of(hint) for name, hint in hints.items()})
    return _SCALARS[kind]


def test_every_kind_of_fact_is_among_the_tested() -> None:
    named = {name for name, found in vars(facts_module).items() if dataclasses.is_dataclass(found)}
    assert {one.__name__ for one in RECORD_TYPES} == named
    assert len(RECORD_TYPES) > 40


@pytest.mark.parametrize(
    "kind", [one for one in RECORD_TYPES if one is not JobFacts], ids=lambda one: one.__name__
)
@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_every_record_comes_back_through_its_bytes(kind: type, data: st.DataObject) -> None:
    given_record = data.draw(values_of(kind))
    plain = json.loads(canonical_bytes(to_plain(given_record)))
    again = from_plain(kind, plain)
    assert again == given_record
    assert canonical_bytes(to_plain(again)) == canonical_bytes(to_plain(given_record))


JOBS: Final[dict[str, Callable[[], JobFacts]]] = {
    "windshield": windshield_job,
    "unsigned": unsigned_job,
    "corran": lambda: corran("grille.front.refitted"),
}


@pytest.mark.parametrize("name", JOBS)
def test_whole_jobs_come_back_and_are_judged_to_the_same_bytes(name: str) -> None:
    gate = at("18:00")
    job = JOBS[name]()
    told = assess(packs_on_file(), job, as_of=gate)
    data = facts_bytes(facts_held_at(job, gate))
    assert sha256_hex(data) == told.facts_sha256
    again = read_facts(data, sha256=told.facts_sha256)
    assert facts_bytes(again) == data
    result = canonical_bytes(to_plain(told))
    assert canonical_bytes(to_plain(assess(packs_on_file(), again, as_of=gate))) == result
    assert read_assessment(result) == told


def test_facts_with_records_that_end_later_are_judged_the_same_from_what_was_kept() -> None:
    """What ended after the gate instant counts in both; the record that is kept does not know of the end."""
    gate = at("18:00")
    job = windshield_job()
    for place in places(job)[:12]:
        later = changed(job, place, ended_at=at("19:00"), ended_how="set_aside")
        told = assess(packs_on_file(), later, as_of=gate)
        kept = read_facts(facts_bytes(facts_held_at(later, gate)), sha256=told.facts_sha256)
        assert canonical_bytes(to_plain(assess(packs_on_file(), kept, as_of=gate))) == canonical_bytes(
            to_plain(told)
        )
        assert short_of_met(told) == short_of_met(assess(packs_on_file(), job, as_of=gate))


def broken(change: Callable[[dict[str, Any]], object]) -> bytes:
    plain = to_plain(windshield_job())
    change(plain)
    return json.dumps(plain).encode()


@pytest.mark.parametrize(
    ("change", "path"),
    [
        (lambda plain: plain.update(colour="red"), ""),
        (lambda plain: plain.pop("vehicle"), ""),
        (lambda plain: plain["vehicle"].update(model_year="2025"), "vehicle.model_year"),
        (lambda plain: plain["vehicle"].update(model_year=True), "vehicle.model_year"),
        (lambda plain: plain["readings"][3].update(value="2.4"), "readings[3].value"),
        (lambda plain: plain["readings"][3].update(value=None), "readings[3].value"),
        (lambda plain: plain["readings"][3].update(note=1), "readings[3]"),
        (lambda plain: plain["readings"][3]["at"].update(low="2026-05-05"), "readings[3].at.low"),
        (lambda plain: plain["readings"][3]["at"].update(low="2026-05-05T10:00:00"), "readings[3].at.low"),
        (lambda plain: plain["opened"].update(low="2026-05-05T10:00:00+00:00"), "opened.low"),
        (lambda plain: plain["drive_logs"][0]["fixes"][7].update(lat="north"), "drive_logs[0].fixes[7].lat"),
        (lambda plain: plain["voltage_logs"][0].update(samples=[[1, 2], [1]]), "voltage_logs[0].samples[1]"),
        (lambda plain: plain["voltage_logs"][0].update(sessions="s"), "voltage_logs[0].sessions"),
        (lambda plain: plain["sign_offs"][0].update(role="owner"), "sign_offs[0].role"),
    ],
)  # fmt: skip
def test_bytes_that_do_not_fit_are_refused_with_their_place(
    change: Callable[[dict[str, Any]], object], path: str
) -> None:
    with pytest.raises(StoredFormError) as refusal:
        read_facts(broken(change))
    assert refusal.value.path == path


@pytest.mark.parametrize(
    "data",
    [b"", b"[]", b"{", b"\xff", b'{"job_id": NaN}', b'{"job_id": "a", "job_id": "b"}', b"[" * 100_000],
    ids=repr,
)
def test_what_is_no_record_at_all_is_refused(data: bytes) -> None:
    with pytest.raises(StoredFormError):
        read_facts(data)


def test_a_number_that_is_not_finite_is_refused() -> None:
    text = facts_bytes(windshield_job()).replace(b'"photo_radius_m":', b'"photo_radius_m":1e999,"x":', 1)
    with pytest.raises(StoredFormError):
        read_facts(text)
    with pytest.raises(PlainError):
        from_plain(float, float("nan"))


def test_other_bytes_than_the_recorded_ones_are_refused() -> None:
    data = facts_bytes(windshield_job())
    with pytest.raises(StoredFormError, match="hash"):
        read_facts(data, sha256=sha256_hex(data + b" "))
