"""Which orders the record shows and which it does not, pair by pair, and claims that cannot all be true."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from jobs.packets.pages import times
from jobs.packets.pages.lanes import Order
from jobs.packets.pages.words import plain
from jobs.packets.pages.worked.desk import Desk, Paper
from rules.checks.event_times import event_time
from rules.checks.freshness import place_of
from rules.checks.known_times import KnownTimes, known_times
from rules.explain import readable
from rules.facts import Moment
from rules.timeline import tightest


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One pair of neighbours of an order that a pack asks for: ``truth`` true, false or unknown."""

    words: str
    truth: str
    procedure: str


def orders_of(desk: Desk) -> tuple[tuple[Order, ...], tuple[Shown, ...]]:
    """Arrows for the drawing, and every pair in words."""
    arrows: dict[tuple[datetime, datetime], Order] = {}
    told: dict[tuple[str, str], Shown] = {}
    for finding in desk.context.assessment.findings:
        if finding.check == "in_order":
            for order, shown in _pairs(desk.paper(finding)):
                told.setdefault((shown.words, shown.truth), shown)
                if shown.truth != "unknown":
                    arrows.setdefault((order.first_at, order.second_at), order)
    return (*arrows.values(), *_contradictions(desk)), tuple(told.values())


def _pairs(paper: Paper) -> Iterator[tuple[Order, Shown]]:
    context = paper.check_context()
    argument = None if paper.proof is None else paper.proof.arguments.get("events")
    if context is None or not isinstance(argument, tuple):
        return
    known = known_times(context.facts)
    events = [event_time(context, str(name)) for name in argument]
    place = place_of(context)
    for first, second in pairwise([event for event in events if event.moment is not None]):
        a, b = first.moment, second.moment
        if a is None or b is None:
            continue
        truth = known.happened_before(a, b)
        words = (
            f"{readable(plain(first.name))} ({times.bracket(place, a)}), then {readable(plain(second.name))} "
            f"({times.bracket(place, b)})"
        )
        order = Order(
            first_clock=a.clock,
            first_at=_end(known, a),
            second_clock=b.clock,
            second_at=_start(known, b),
            words=words,
            holds=truth != "false",
        )
        yield order, Shown(words=words, truth=truth, procedure=paper.finding.procedure_id)


def _bounds(known: KnownTimes, moment: Moment) -> tuple[datetime, datetime]:
    found = next((event for event in known.events if event.moment is moment), None)
    return (moment.low, moment.high) if found is None else tightest(known, found)


def _start(known: KnownTimes, moment: Moment) -> datetime:
    return _bounds(known, moment)[0]


def _end(known: KnownTimes, moment: Moment) -> datetime:
    return _bounds(known, moment)[1]


def _contradictions(desk: Desk) -> Iterator[Order]:
    """A dashed arrow from the first to the last record of each set of claims that cannot all be true."""
    known = known_times(desk.facts)
    first_of: dict[str, Moment] = {}
    for event in known.events:
        first_of.setdefault(event.record.id, event.moment)
    for found in desk.context.assessment.contradictions:
        ends = [name for claim in found.claims for name in claim.records if name in first_of]
        if len(ends) < 2 or ends[0] == ends[-1]:
            continue
        a, b = first_of[ends[0]], first_of[ends[-1]]
        yield Order(
            first_clock=a.clock,
            first_at=_end(known, a),
            second_clock=b.clock,
            second_at=_start(known, b),
            words=found.sentence,
            holds=False,
        )
