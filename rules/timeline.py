"""The time line of one job: its events in order with their tightest bounds, and what cannot all be true."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from typing import Final

from rules.checks.known_times import (
    KnownTimes,
    Link,
    RecordedEvent,
    add_clocks,
    add_ends,
    add_intervals,
    instant,
    known_times,
)
from rules.claims import (
    add_adhesive,
    add_receipts,
    add_scans,
    add_setting_photos,
    add_slips,
    add_travel,
    claim_words,
    clock_words,
    duration,
    event_words,
    local_and_utc,
    place_of_event,
)
from rules.facts import JobFacts, Moment, Photo, Place
from rules.facts.remembering import once
from rules.result import ClaimSaid, Contradiction
from rules.rounding import to_six
from rules.science.time_network import GRAIN, ORIGIN, Edge, TimeNetwork, Trial, total
from rules.verdict import MET, NOT_SHOWN, Outcome

NUMBERS: Final = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
# Of the claims of a cycle that needs no absolute time, the one that is believed least is put aside first.
_TRUST: Final = {"physical": 0, "follows": 1, "reading": 2, "drift": 3}
_CLOCK_KINDS: Final = frozenset({"low", "high", "reading", "drift"})
SETTLE_CONFLICT: Final = (
    "Find out which of these claims is wrong, and set that record aside or correct it; a comparison of the "
    "device's clock may help."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TimelineEvent:
    """One event of the record.

    Attributes:
        record_id, what: the record and which of its times.
        name: in plain words.
        place: where it was; local times are its own.
        reading, raw: what the clock showed, as an instant and in words (local time with zone, and UTC).
        clock: whose clock it was, in plain words.
        low, high: the tightest bounds of the true time that all clocks together give.
        corrected: these in words.
        doubtful: clocks contradict each other here, so that the bounds are only this record's own.
    """

    record_id: str
    what: str
    name: str
    place: Place
    reading: datetime
    raw: str
    clock: str
    low: datetime
    high: datetime
    corrected: str
    doubtful: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """Events by their earliest, then latest time; contradictions, the largest first."""

    events: tuple[TimelineEvent, ...]
    contradictions: tuple[Contradiction, ...]


def timeline(facts: JobFacts, gate_at: datetime, z: float) -> Timeline:
    """The time line of the records that count in ``facts``, as the server held them at ``gate_at``.

    ``z``: the decision factor, for the adhesive's minutes.
    """
    return Timeline(events=events_in_order(facts), contradictions=contradictions(facts, gate_at, z))


def events_in_order(facts: JobFacts) -> tuple[TimelineEvent, ...]:
    """Every event of the records that count, by its earliest, then its latest time."""
    known = known_times(facts)
    events = [_event(facts, known, event) for event in known.events]
    return tuple(sorted(events, key=lambda item: (item.low, item.high, item.record_id, item.what)))


def _event(facts: JobFacts, known: KnownTimes, event: RecordedEvent) -> TimelineEvent:
    place = place_of_event(facts, event)
    low, high = tightest(known, event)
    return TimelineEvent(
        record_id=event.record.id,
        what=event.what,
        name=event_words(event),
        place=place,
        reading=event.moment.reading,
        raw=local_and_utc(place, event.moment.reading),
        clock=clock_words(event.moment.clock),
        low=low,
        high=high,
        corrected=_between(place, low, high),
        doubtful=event.key in known.doubtful,
    )


def tightest(known: KnownTimes, event: RecordedEvent) -> tuple[datetime, datetime]:
    """The bounds that all clocks together give; its own where clocks contradict each other."""
    moment: Moment = event.moment
    low, high = known.squeeze.lower(event.key), known.squeeze.upper(event.key)
    if event.key in known.doubtful or low is None or high is None:
        return moment.low, moment.high
    return instant(low.us), instant(high.us)


def _between(place: Place, low: datetime, high: datetime) -> str:
    first, last = local_and_utc(place, low), local_and_utc(place, high)
    return first if first == last else f"between {first} and {last}"


# ------------------------------------------------------------------ contradictions


@once
def contradictions(facts: JobFacts, gate_at: datetime, z: float) -> tuple[Contradiction, ...]:
    """The contradictions among the times on record, the largest first; empty where all can be true.

    Of several between the same records the one with fewest claims is told, and of those the largest; the same
    holds for one device's clock with itself, there with all records that rest on that clock.
    """
    known = known_times(facts)
    if _all_can_be_true(facts, known, gate_at, z):
        return ()
    network: TimeNetwork[Link] = TimeNetwork()
    _add_clock_claims(network, known)
    _add_other_claims(network, facts, known, (gate_at, z))
    set_aside: list[Edge[Link]] = []
    cycles: list[Cycle] = []
    while cycle := network.without_nodes((ORIGIN,)).contradiction():
        cycles.append(cycle)
        weakest = min(_TRUST[edge.claim.kind] for edge in cycle)
        gone = [edge for edge in cycle if _TRUST[edge.claim.kind] == weakest]
        set_aside += gone
        network = network.without(gone)
    squeeze = network.squeezed()
    cycles += [squeeze.cycle(node) for node in squeeze.crushed()]
    cycles += [found for edge in set_aside if (found := squeeze.cycle_by(edge))]
    # Each claim of physics against the records alone: the shortest way to tell it.
    physical = [edge for edge in network.edges if edge.claim.kind == "physical"]
    records_alone = network.without(physical).squeezed()
    cycles += [found for edge in physical if (found := records_alone.cycle_by(edge))]
    return _told(facts, known, cycles)


Cycle = tuple[Edge[Link], ...]


def _all_can_be_true(facts: JobFacts, known: KnownTimes, gate_at: datetime, z: float) -> bool:
    """Was a set of instants found of which every claim is true? Then no claims contradict each other.

    False says nothing: the search is short.
    """
    if known.agreed is None:
        return False
    trial: Trial[Link] = Trial(at=known.agreed)
    add_slips(trial, known.events)
    _add_other_claims(trial, facts, known, (gate_at, z))
    return trial.holds


def _add_clock_claims(network: TimeNetwork[Link], known: KnownTimes) -> None:
    # Of claims that say the same the first is named: a slip says more than the bracket made of it.
    add_slips(network, known.events)
    add_intervals(network, known.events)
    add_clocks(network, known.events)


def _add_other_claims(
    network: TimeNetwork[Link], facts: JobFacts, known: KnownTimes, gate: tuple[datetime, float]
) -> None:
    events = known.events
    add_ends(network, events)
    add_receipts(network, events)
    add_setting_photos(network, facts, events)
    add_adhesive(network, facts, known, gate)
    add_scans(network, events, known)
    add_travel(network, facts, events, known)


def _told(facts: JobFacts, known: KnownTimes, cycles: Iterable[Cycle]) -> tuple[Contradiction, ...]:
    """The shortest of the contradictions between the same records, and of those of one clock with itself."""
    found: dict[object, Contradiction] = {}
    for cycle in sorted(cycles, key=lambda one: (len(one), total(one), [(e.start, e.end) for e in one])):
        own_clock = _own_clock(cycle)
        touched = _touched(cycle) | set(_resting_on(known, own_clock))
        key = own_clock or frozenset(touched)
        if key not in found:
            found[key] = _contradiction(facts, cycle, touched)
    return tuple(sorted(found.values(), key=lambda one: (-one.excess_s, one.records)))


def _touched(cycle: Cycle) -> set[str]:
    """The records that a contradiction puts in doubt: those of which something is claimed beyond a clock.

    A record that only lends the interval of its own clock to tell the offset is not in doubt by that.
    """
    return {name for edge in cycle if edge.claim.kind not in _CLOCK_KINDS for name in edge.claim.records}


def _own_clock(cycle: Cycle) -> str:
    """The device clock that contradicts itself by readings and intervals alone; else empty."""
    if any(edge.claim.kind not in _CLOCK_KINDS for edge in cycle):
        return ""
    return next((edge.claim.event.moment.clock for edge in cycle if edge.claim.kind == "reading"), "")


def _resting_on(known: KnownTimes, clock: str) -> tuple[str, ...]:
    """Records with a time that rests on a clock which contradicts itself."""
    return tuple(
        event.record.id
        for event in known.events
        if event.moment.clock == clock and event.key in known.doubtful
    )


def _contradiction(facts: JobFacts, cycle: Cycle, touched: Iterable[str]) -> Contradiction:
    """The cycle in words, from its first time to its last; claims of one record beside each other as one."""
    claims: list[ClaimSaid] = []
    for _, group in groupby(reversed(cycle), key=_subject):
        links = list(dict.fromkeys(edge.claim for edge in group))
        said = [words for link in links if (words := claim_words(facts, link))]
        records = tuple(dict.fromkeys(name for link in links for name in link.records))
        if said:
            claims.append(ClaimSaid(words=" and ".join(dict.fromkeys(said)), records=records))
    us, rest = divmod(-total(cycle), GRAIN)
    by = duration(us) if us or not rest else "less than a microsecond"
    count = NUMBERS[len(claims)] if len(claims) < len(NUMBERS) else str(len(claims))
    told = "; ".join(claim.words for claim in claims)
    head = f"The {count} claims" if len(claims) > 1 else "The claims"
    return Contradiction(
        claims=tuple(claims),
        excess_s=to_six(us / 1_000_000),
        sentence=f"{head} cannot all be true: {told}. They miss each other by {by}.",
        records=tuple(sorted(touched)),
    )


def _subject(edge: Edge[Link]) -> str:
    """What a claim is about, so that two claims about one thing are told as one.

    A device's clock by its readings, and a photo by the slip in it and what it was taken near to.
    """
    link = edge.claim
    if link.kind in ("reading", "drift"):
        return link.event.moment.clock
    if link.kind == "slip" or (link.kind == "physical" and isinstance(link.event.record, Photo)):
        return link.event.record.id
    return f"{link.kind} {edge.start} {edge.end}"


# ------------------------------------------------------------------ what it does to a verdict


def with_contradictions(outcome: Outcome, found: Sequence[Contradiction]) -> Outcome:
    """What a contradiction touches is not met: the outcome as it stands, or not shown ``conflict``.

    A proof that is not met or not shown already stays as it is.
    """
    if outcome.verdict != MET or not found:
        return outcome
    resting = set(outcome.evidence)
    touching = [item for item in found if not resting.isdisjoint(item.records)]
    if not touching:
        return outcome
    said = " ".join(item.sentence for item in touching)
    return replace(
        outcome,
        verdict=NOT_SHOWN,
        reasons=("conflict",),
        sentence=f"{outcome.sentence} {said}".strip(),
        shows=f"{outcome.shows} {said}".strip() if outcome.shows else "",
        change=SETTLE_CONFLICT,
        settle="desk",
    )
