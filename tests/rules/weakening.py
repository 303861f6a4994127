"""Ways to weaken one record of a job: taken away, held too late, set aside, or timed by a lost clock."""

from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import timedelta
from typing import Any

from rules.assess import assess
from rules.facts import RECORD_FIELDS, JobFacts, Moment, Record
from rules.result import Assessment
from tests.rules.builders import at, with_records
from tests.rules.packs_on_file import packs_on_file
from tests.rules.windshield_job import sign_off

GATE = "11:50"
LATE = "11:19"  # when a tablet without signal hands in what it kept, before anybody signs
DAY = timedelta(hours=24)
Place = tuple[str, str]  # field of the facts, id of the record


def judged(facts: JobFacts, when: str = GATE) -> Assessment:
    return assess(packs_on_file(), facts, as_of=at(when))


def signed(facts: JobFacts) -> JobFacts:
    """Technician 11:20, reviewer 11:40, release 11:50, over everything that is there."""
    people = (
        ("sign-technician", "technician", "itolvaar", "11:20"),
        ("sign-review", "quality_reviewer", "dpell", "11:40"),
        ("sign-release", "release", "tachterly", "11:50"),
    )
    return replace(facts, sign_offs=tuple(sign_off(*entry, facts) for entry in people))


def signed_with(facts: JobFacts, **added: tuple[Record, ...]) -> JobFacts:
    return signed(with_records(facts, **added))


def short_of_met(result: Assessment) -> dict[tuple[str, str], tuple[str, tuple[str, ...]]]:
    """(procedure, proof) of everything that is not met, with verdict and reasons."""
    return {
        (item.procedure_id, item.proof_id): (item.verdict, item.outcome.reasons)
        for item in result.findings
        if item.verdict != "met"
    }


def places(facts: JobFacts) -> tuple[Place, ...]:
    return tuple((name, item.id) for name in RECORD_FIELDS for item in getattr(facts, name))


def record_at(facts: JobFacts, place: Place) -> Any:
    name, record_id = place
    return next(item for item in getattr(facts, name) if item.id == record_id)


def changed(facts: JobFacts, place: Place, **values: Any) -> JobFacts:
    """The facts with other values in one record; its hash stays, so the signatures stay fresh."""
    name, record_id = place
    rows = getattr(facts, name)
    return replace(
        facts, **{name: tuple(replace(row, **values) if row.id == record_id else row for row in rows)}
    )


def without(facts: JobFacts, place: Place) -> JobFacts:
    name, record_id = place
    return replace(facts, **{name: tuple(row for row in getattr(facts, name) if row.id != record_id)})


def lost(moment: Moment) -> Moment:
    """The same reading of a clock nobody ever compared: a day either way, and not after the late receipt."""
    high = max(min(moment.high + DAY, at(LATE)), moment.low)
    return replace(moment, low=moment.low - DAY, high=high, clock=f"device:lost-{moment.reading.isoformat()}")


def moments_of(record: Record) -> tuple[str, ...]:
    return tuple(field.name for field in fields(record) if isinstance(getattr(record, field.name), Moment))


def by_lost_clock(facts: JobFacts, place: Place) -> Iterator[tuple[str, JobFacts]]:
    """Each moment of the record in turn by a lost clock, from a tablet that was long without signal."""
    record = record_at(facts, place)
    for name in moments_of(record):
        vague = {name: lost(getattr(record, name))}
        yield name, changed(facts, place, received_at=max(record.received_at, at(LATE)), **vague)


def weakened(facts: JobFacts, place: Place, how: str) -> JobFacts:
    """``taken_away``, ``held_too_late``, ``set_aside`` or ``lost_clock``."""
    if how == "taken_away":
        return without(facts, place)
    if how == "held_too_late":
        return changed(facts, place, received_at=at("23:00"))
    if how == "set_aside":
        return changed(facts, place, ended_at=at("11:15"), ended_how="set_aside")
    record = record_at(facts, place)
    vague = {name: lost(getattr(record, name)) for name in moments_of(record)}
    return changed(facts, place, received_at=max(record.received_at, at(LATE)), **vague)


WAYS = ("taken_away", "held_too_late", "set_aside", "lost_clock")
