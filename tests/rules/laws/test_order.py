"""The order in which records were handed in never matters, not even among those of one instant."""

import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest

from rules.facts import JobFacts, Record
from tests.rules.builders import sha
from tests.rules.contradictions import CASES
from tests.rules.laws.jobs import FINISHED, said, shuffled, verdicts
from tests.rules.weakening import judged, places, record_at, short_of_met, signed

JOBS: dict[str, Callable[[], JobFacts]] = {**FINISHED, **{case.name: case.facts for case in CASES}}


@pytest.mark.parametrize("name", JOBS)
def test_a_job_handed_in_in_any_order_is_judged_the_same(name: str) -> None:
    facts = JOBS[name]()
    before = said(judged(facts), facts)
    for seed in range(3):
        assert said(judged(shuffled(facts, random.Random(seed))), facts) == before


def _other(record: Any) -> dict[str, Any]:
    """Values by which a second record of the same instant speaks against the first."""
    contrary: dict[str, Callable[[], Any]] = {
        "value": lambda: record.value * 1.02 + 0.9,
        "states": lambda: tuple((lamp, "lit" if is_ == "unlit" else "unlit") for lamp, is_ in record.states),
        "state": lambda: "no" if record.state == "yes" else "yes",
        "result": lambda: "failed",
        "function": lambda: record.function,
        "clean": lambda: False,
        "points": lambda: tuple((x, y, 3 * z) for x, y, z in record.points),
        "modules": lambda: record.modules[:3],
        "document_number": lambda: "OV-SI-0001",
        "adhesive": lambda: None,
        "vin_read": lambda: "Z0TVK3E13T0007741",
        "laplacian_variance": lambda: 1.0,
    }
    changed = {name: make() for name, make in contrary.items() if hasattr(record, name)}
    if hasattr(record, "says"):
        changed |= {"says": record.says[1:], "denies": record.says[:1]}
    if hasattr(record, "function"):
        changed["shows"] = "not_working"
    if hasattr(record, "samples"):
        changed["samples"] = tuple((row[0], row[1] - 2.0, *row[2:]) for row in record.samples)
    return changed


def _contradicted(facts: JobFacts, place: tuple[str, str]) -> Iterator[JobFacts]:
    """The job with a contrary record of the same instant: handed in after the first, and before it."""
    record: Record = record_at(facts, place)
    name = f"{record.id}-again"
    twin = replace(record, id=name, sha256=sha(name), **_other(record))
    rows = getattr(facts, place[0])
    for both in ((*rows, twin), (twin, *rows)):
        yield signed(replace(facts, sign_offs=(), **{place[0]: both}))


# The other photos, corners and ways stand for one each.
ALIKE = ("fitted-", "photo-", "tyres-", "height-", "light_", "sign-")
SHOWN = ("fitted-forward", "photo-front", "photo-cargo", "tyres-front_left", "height-rear_left", "light_3")
TWINS = [
    (name, place)
    for name, make in FINISHED.items()
    for place in places(make())
    if not place[1].startswith(ALIKE) or place[1].startswith(SHOWN)
]


@pytest.mark.parametrize("name", FINISHED)
def test_of_two_contrary_records_of_one_instant_neither_is_the_last(name: str) -> None:
    for job, place in TWINS:
        if job != name:
            continue
        after, before = (judged(facts) for facts in _contradicted(FINISHED[name](), place))
        assert short_of_met(after) == short_of_met(before), place
        assert after.disposition == before.disposition, place


# What one record says can be told to be wrong, so that a contrary one of the same instant opens its proof.
OPENED = {
    ("road", "tyres-front_left"): ("OV-FC-ROAD", "tyres"),
    ("road", "lamps-after"): ("OV-FC-ROAD", "lane"),
    ("road", "lamps-delivery"): ("CP-EVERY", "lamps"),
    ("road", "lookup-camera"): ("OV-FC-ROAD", "text_current"),
    ("static", "height-front_left"): ("OV-FC-STILL", "height"),
    ("static", "light_3"): ("OV-FC-STILL", "light"),
    ("static", "toe-left"): ("OV-FC-STILL", "thrust"),
    ("static", "d_LL"): ("OV-FC-STILL", "target"),
    ("static", "tall"): ("OV-FC-STILL", "target"),
    ("static", "stand"): ("OV-FC-STILL", "target"),
    ("static", "yaw"): ("OV-FC-STILL", "learned"),
    ("static", "load"): ("OV-FC-STILL", "load"),
    ("static", "straight"): ("OV-FC-STILL", "straight"),
    ("static", "space"): ("OV-FC-STILL", "space"),
    ("static", "unmoved"): ("OV-FC-STILL", "unmoved"),
    ("static", "board"): ("OV-FC-STILL", "board"),
    ("static", "lane"): ("OV-FC-STILL", "function"),
    ("static", "floor-b2"): ("OV-FC-STILL", "floor"),
    ("static", "scan-aiming"): ("OV-FC-STILL", "codes0"),
    ("static", "volts"): ("OV-FC-STILL", "volts"),
    ("static", "glass"): ("CP-BOND", "batch"),
}


@pytest.mark.parametrize(("job", "record"), OPENED)
def test_a_contrary_record_of_the_same_instant_opens_the_proof_in_either_order(job: str, record: str) -> None:
    facts = FINISHED[job]()
    place = next(item for item in places(facts) if item[1] == record)
    for contradicted in _contradicted(facts, place):
        result = judged(contradicted)
        assert verdicts(result)[OPENED[job, record]] != "met"
        assert result.disposition == "hold"


@pytest.mark.parametrize("record", ["load", "board", "tyres-front_left"])
def test_the_same_said_twice_at_one_instant_stands(record: str) -> None:
    facts = FINISHED["static"]()
    place = next(item for item in places(facts) if item[1] == record)
    twin = replace(record_at(facts, place), id="twin", sha256=sha("twin"))
    twice = replace(facts, sign_offs=(), **{place[0]: (twin, *getattr(facts, place[0]))})
    assert judged(signed(twice)).disposition == "release"
