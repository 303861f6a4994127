"""Many jobs judged again under one set of packs, and which of them another set can say nothing else of."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from rules.assess import assess
from rules.facts import JobFacts, once
from rules.packs.model import PackSet
from rules.result import Assessment

# (pack, edition, SHA-256, day of withdrawal or empty) of every edition that can have a say.
Voices = tuple[tuple[str, int, str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One job as it was judged: its facts, and the gate instant."""

    facts: JobFacts
    gate_at: datetime


@once
def voices(packs: PackSet, make: str, model_year: int, model: str) -> Voices:
    """Every edition that a judgement of such a vehicle can rest on, on whatever day.

    All editions of a pack are named where one of them covers the vehicle: one that does not may still have
    ended the one before it. Packs that never cover it have no say.
    """
    names = {one.pack for one in packs.editions if one.covers(make, model_year, model)}
    return tuple(
        (one.pack, one.edition, one.sha256, str(packs.withdrawn_on.get((one.pack, one.edition), "")))
        for one in packs.editions
        if one.pack in names
    )


def can_differ(facts: JobFacts, before: PackSet, after: PackSet) -> bool:
    """May ``after`` judge these facts otherwise than ``before``? If not, the judgements are the same bytes.

    Both sets hold editions as they were read from their texts, so that equal hashes mean equal editions.
    """
    vehicle = facts.vehicle
    of_it = (vehicle.make, vehicle.model_year, vehicle.model)
    return voices(before, *of_it) != voices(after, *of_it)


def rejudged(
    jobs: Iterable[Held], packs: PackSet, *, judged_by: PackSet | None = None
) -> Iterator[Assessment | None]:
    """Each job judged under ``packs``, which are made ready once for all of them.

    Args:
        jobs: in any number; one at a time is held.
        packs: the set to judge under.
        judged_by: the set of the judgement on record. A job of which ``packs`` cannot say anything else is
            not judged again and gives None.
    """
    for job in jobs:
        same = judged_by is not None and not can_differ(job.facts, judged_by, packs)
        yield None if same else assess(packs, job.facts, as_of=job.gate_at)
