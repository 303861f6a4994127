"""What all clocks and records of a job together show of the order of its events.

The network is made of clock knowledge (each event's interval, and readings of one device clock, which share
its unknown offset up to its drift) and of what records say by themselves (what started ended later). What a
proof is to show is never among it.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Any, Final

from rules.facts import RECORD_FIELDS, ClimateLog, DriveLog, JobFacts, Moment, Record, VoltageLog, live
from rules.facts.remembering import once
from rules.science.clocks import (
    DEVICE_MARK,
    DRIFT_ONE_IN,
    MIXED_CLOCK,
    NEAR,
    Span,
    intersected,
    span,
)
from rules.science.one_offset import Shown, one_offset
from rules.science.time_network import ORIGIN, Bound, Paths, Squeeze, TimeNetwork, bound_of, grains
from rules.verdict import Truth

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND: Final = timedelta(microseconds=1)
_NEAR_US: Final = NEAR // _MICROSECOND
# Within a stretch each reading is held against the first: wider than the drift between neighbours by less
# than a second and a half, and many readings of one clock then cost little.
STRETCH_US: Final = timedelta(hours=2) // _MICROSECOND
NOT_KNOWN: Final = Span(low=timedelta(days=-36_500), high=timedelta(days=36_500))
_RECEIPT_ONLY: Final = "receipt only"


def microseconds(at: datetime) -> int:
    """Microseconds since 1970-01-01 UTC, exact."""
    return (at - EPOCH) // _MICROSECOND


def instant(us: int) -> datetime:
    """The inverse of ``microseconds``."""
    return EPOCH + timedelta(microseconds=us)


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedEvent:
    """One moment of one record.

    Attributes:
        key: the record's id and what of it happened, unlike any other.
        what: the part of the record: ``at``, ``started``, ``first sample``.
        follows: the key of the event of the same record that it cannot come before.
        own_interval: False where only the clock's reading counts (the later samples of a log).
    """

    key: str
    record: Record
    what: str
    moment: Moment
    follows: str | None = None
    own_interval: bool = True


# Where one record tells of a beginning and an end: the end's name, and the beginning's.
_FOLLOWS: Final = {"ended": "started", "done": "started", "back_at": "out_at"}


def recorded_events(facts: JobFacts) -> tuple[RecordedEvent, ...]:
    """Every moment of the records that count, in the order of their keys."""
    records: list[Record] = [item for name in RECORD_FIELDS for item in live(getattr(facts, name))]
    if facts.delivery is not None and facts.delivery.ended_at is None:
        records.append(facts.delivery)
    found = {event.key: event for record in records for event in _events_of(record)}
    return tuple(found[key] for key in sorted(found))


def _events_of(record: Record) -> Iterator[RecordedEvent]:
    if isinstance(record, DriveLog | ClimateLog | VoltageLog):
        yield from _of_log(record)
        return
    yield from _of_fields(record, record, "")
    for name in ("parts", "key_events", "cleared"):
        for place, part in enumerate(getattr(record, name, ())):
            yield from _of_fields(record, part, f"{name}[{place}].")


def _of_fields(record: Record, holder: Any, prefix: str) -> Iterator[RecordedEvent]:
    for name in _moment_names(type(holder)):
        moment = getattr(holder, name)
        if not isinstance(moment, Moment) or getattr(holder, "captured_how", "") == _RECEIPT_ONLY:
            continue
        start = _FOLLOWS.get(name)
        has_start = start is not None and isinstance(getattr(holder, start, None), Moment)
        yield RecordedEvent(
            key=f"{record.id}/{prefix}{name}",
            record=record,
            what=f"{prefix}{name}",
            moment=moment,
            follows=f"{record.id}/{prefix}{start}" if has_start else None,
        )


_NAMES: dict[type, tuple[str, ...]] = {}


def _moment_names(cls: type) -> tuple[str, ...]:
    """The fields that may hold a moment; asked once for each class."""
    if cls not in _NAMES:
        _NAMES[cls] = tuple(item.name for item in fields(cls) if "Moment" in str(item.type))
    return _NAMES[cls]


def _of_log(log: DriveLog | ClimateLog | VoltageLog) -> Iterator[RecordedEvent]:
    samples: Sequence[Any] = log.fixes if isinstance(log, DriveLog) else log.samples
    if not samples:
        return
    ends = (item.t if isinstance(log, DriveLog) else item[0] for item in (samples[0], samples[-1]))
    try:
        first, last = (log.clock.moment(t) for t in ends)
    except (ValueError, OverflowError, OSError):
        return  # times that are no instants: the checks of the log say so
    yield RecordedEvent(key=f"{log.id}/first sample", record=log, what="first sample", moment=first)
    yield RecordedEvent(
        key=f"{log.id}/last sample",
        record=log,
        what="last sample",
        moment=last,
        follows=f"{log.id}/first sample",
        # A device clock's offset is that of the first sample: the clock may have drifted until the last.
        own_interval=not log.clock.clock.startswith(DEVICE_MARK),
    )


# ------------------------------------------------------------------ the network


@dataclass(frozen=True, slots=True)
class Link:
    """Why an edge is there, and of which events; ``words`` where the kind alone does not say it.

    Kinds here: ``low``, ``high``, ``reading``, ``drift``, ``follows``. The time line adds others.
    """

    kind: str
    event: RecordedEvent
    other: RecordedEvent | None = None
    words: str = ""

    @property
    def records(self) -> tuple[str, ...]:
        """Ids of the records that the claim is about."""
        own = (self.event.record.id,)
        return own if self.other is None else tuple(dict.fromkeys((*own, self.other.record.id)))


def add_intervals(network: TimeNetwork[Link], events: Sequence[RecordedEvent]) -> None:
    """Each event lies in its own interval of true time."""
    for event in events:
        if event.own_interval:
            low, high = microseconds(event.moment.low), microseconds(event.moment.high)
            network.at_least(ORIGIN, event.key, low, Link("low", event))
            network.at_most(ORIGIN, event.key, high, Link("high", event))


def clock_node(clock: str, reading_us: int) -> str:
    """The node whose instant is "true minus device" of a clock while it showed a reading."""
    return f"~{clock}~{reading_us:020d}"


def add_clocks(network: TimeNetwork[Link], events: Sequence[RecordedEvent]) -> dict[str, list[int]]:
    """Events read from one device clock share its offset; gives the stretches of each such clock, in order.

    Between two readings the offset may change by the drift; over more than a day it is not carried.
    """
    by_clock: dict[str, list[RecordedEvent]] = defaultdict(list)
    for event in events:
        if event.moment.clock.startswith(DEVICE_MARK):
            by_clock[event.moment.clock].append(event)
    readings: dict[str, list[int]] = {}
    for clock, read in by_clock.items():
        if len(read) == 1 and read[0].own_interval:
            continue  # alone on its clock: its interval says all there is
        ordered = sorted(read, key=lambda event: (event.moment.reading, event.key))
        readings[clock] = _one_clock(network, clock, ordered)
    return readings


def _one_clock(network: TimeNetwork[Link], clock: str, ordered: Sequence[RecordedEvent]) -> list[int]:
    """One node for each stretch of two hours, at its first reading; the others of it drift against that."""
    stretches: list[int] = []
    last = 0
    for event in ordered:
        reading = microseconds(event.moment.reading)
        if not stretches or reading - stretches[-1] > STRETCH_US:
            if stretches and reading - last <= _NEAR_US:
                before, node = clock_node(clock, stretches[-1]), clock_node(clock, reading)
                slack = drift_us(reading - stretches[-1])
                network.at_most(before, node, slack, Link("drift", event))
                network.at_most(node, before, slack, Link("drift", event))
            stretches.append(reading)
        node, slack = clock_node(clock, stretches[-1]), drift_us(reading - stretches[-1])
        width, link = resolution_us(event.moment), Link("reading", event)
        network.at_least(node, event.key, reading - slack, link)
        network.at_most(node, event.key, reading + width + slack, link, is_open=width > 0)
        last = reading
    return stretches


def resolution_us(moment: Moment) -> int:
    """Width of a display's step in microseconds; a step that is none may be anything up to a day."""
    if not 0 <= moment.resolution_s <= NEAR.total_seconds():
        return _NEAR_US
    return timedelta(seconds=moment.resolution_s) // _MICROSECOND


def drift_us(apart_us: int) -> int:
    """How far a clock may drift in that time, a begun microsecond counted in full."""
    return -(-abs(apart_us) // DRIFT_ONE_IN)


def add_ends(network: TimeNetwork[Link], events: Sequence[RecordedEvent]) -> None:
    """What a record says of its own beginning and end."""
    by_key = {event.key: event for event in events}
    for event in events:
        first = by_key.get(event.follows or "")
        if first is not None:
            network.at_least(first.key, event.key, 0, Link("follows", event, first))


def _shown(event: RecordedEvent) -> Shown:
    moment, own = event.moment, event.own_interval
    low, high = (microseconds(moment.low), microseconds(moment.high)) if own else (None, None)
    return low, high, microseconds(moment.reading), resolution_us(moment)


# ------------------------------------------------------------------ what it shows


@dataclass(eq=False)
class KnownTimes:
    """The network of one job's facts, built when it is first asked, and its answers.

    ``facts`` must be the very snapshot whose moments are asked about: an event is known by its moment. Get
    it from ``known_times``, which builds it once for a snapshot.
    """

    facts: JobFacts
    _from: dict[str, Paths[Link]] = field(default_factory=dict)

    @cached_property
    def events(self) -> tuple[RecordedEvent, ...]:
        return recorded_events(self.facts)

    @cached_property
    def agreed(self) -> dict[str, int] | None:
        """For every event an instant (us) at which all clocks are right together; None where none was found.

        Each clock is taken to have been off by one amount throughout, the earliest that its intervals allow:
        then its drift asks for nothing. That there are such instants proves that the clocks agree.
        """
        found: dict[str, int] = {ORIGIN: 0}
        by_clock: dict[str, list[RecordedEvent]] = defaultdict(list)
        for event in self.events:
            moment = event.moment
            if moment.clock.startswith(DEVICE_MARK):
                by_clock[moment.clock].append(event)
            elif moment.low > moment.high:
                return None
            else:
                found[event.key] = microseconds(moment.low)
        for read in by_clock.values():
            at = one_offset([_shown(event) for event in read])
            if at is None:
                return None
            found.update(zip([event.key for event in read], at, strict=True))
        return found

    @cached_property
    def _clocks_alone(self) -> tuple[TimeNetwork[Link], dict[str, list[int]], Squeeze[Link]]:
        network: TimeNetwork[Link] = TimeNetwork()
        add_intervals(network, self.events)
        readings = add_clocks(network, self.events)
        # Readings of clocks alone close no cycle without an absolute time: each step forward undoes one back.
        return network, readings, network.squeezed()

    @cached_property
    def doubtful(self) -> frozenset[str]:
        """Nodes on which the clocks contradict themselves: nothing that rests on them is shown."""
        if self.agreed is not None:
            return frozenset()
        return frozenset(self._clocks_alone[2].crushed())

    @cached_property
    def network(self) -> TimeNetwork[Link]:
        """The claims that agree: without doubtful nodes, and without ends that contradict the clocks."""
        clocks = self._clocks_alone[0].without_nodes(self.doubtful)
        with_ends = TimeNetwork(list(clocks.edges))
        add_ends(with_ends, [event for event in self.events if event.key not in self.doubtful])
        while cycle := with_ends.contradiction():
            with_ends = with_ends.without(edge for edge in cycle if edge.claim.kind == "follows")
        return with_ends

    @cached_property
    def squeeze(self) -> Squeeze[Link]:
        """The tightest interval of every event that is not doubtful."""
        return self.network.squeezed()

    @cached_property
    def _key_of(self) -> dict[int, str]:
        # Two events that share one moment object cannot be told apart by it.
        counted = Counter(id(event.moment) for event in self.events)
        return {id(event.moment): event.key for event in self.events if counted[id(event.moment)] == 1}

    def span(self, earlier: Moment, later: Moment) -> Span:
        """``later`` minus ``earlier``, as tight as the whole record shows it."""
        if self.is_doubtful(earlier) or self.is_doubtful(later):
            return NOT_KNOWN
        high = self._at_most(earlier, later)
        low = self._at_most(later, earlier)
        return intersected(
            span(earlier, later),
            low=None if low is None else timedelta(microseconds=-low.us),
            high=None if high is None else timedelta(microseconds=high.us),
            high_open=high is not None and high.is_open,
        )

    def happened_before(self, a: Moment, b: Moment) -> Truth:
        """Is ``a`` shown to lie at or before ``b``? ``false`` means shown to lie after it."""
        return self.span(a, b).is_not_negative

    def is_doubtful(self, moment: Moment) -> bool:
        """Does the moment rest on clocks that contradict themselves?"""
        if not self.doubtful:
            return False
        key = self._key_of.get(id(moment))
        if key is not None:
            return key in self.doubtful
        if moment.clock == MIXED_CLOCK:
            return True  # put together from moments of several clocks, perhaps of these
        return any(node.startswith(f"~{moment.clock}~") for node in self.doubtful)

    def records_at(self, moment: Moment) -> tuple[str, ...]:
        """Ids of the records that tell of this moment; none for one that was put together or worked out."""
        key = self._key_of.get(id(moment))
        return tuple(
            event.record.id
            for event in self.events
            if event.key == key or (key is None and event.moment == moment)
        )

    def _at_most(self, a: Moment, b: Moment) -> Bound | None:
        """The tightest upper bound of b - a by way of the network."""
        least: int | None = None
        for start, leaving, _ in self._ports(a):
            paths = self._paths(start)
            for end, _, arriving in self._ports(b):
                between = paths.weight.get(end)
                if between is not None and (least is None or leaving + between + arriving < least):
                    least = leaving + between + arriving
        return None if least is None else bound_of(least)

    def _paths(self, node: str) -> Paths[Link]:
        if node not in self._from:
            self._from[node] = self.network.from_node(node)
        return self._from[node]

    def _ports(self, moment: Moment) -> tuple[tuple[str, int, int], ...]:
        """Nodes the moment is tied to: (node, at most node - moment, at most moment - node), in grains."""
        key = self._key_of.get(id(moment))
        if key is not None:
            return ((key, 0, 0),)
        ports = [(ORIGIN, grains(-microseconds(moment.low)), grains(microseconds(moment.high)))]
        reading = microseconds(moment.reading)
        shown = self._clocks_alone[1].get(moment.clock, ())
        near = min(shown, key=lambda one: (abs(one - reading), one), default=None)
        if near is not None and abs(near - reading) <= _NEAR_US:
            slack, width = drift_us(near - reading), resolution_us(moment)
            ports.append(
                (
                    clock_node(moment.clock, near),
                    grains(-reading + slack),
                    grains(reading + width + slack, is_open=width > 0),
                )
            )
        return tuple(ports)


@once
def known_times(facts: JobFacts) -> KnownTimes:
    """What all clocks of this snapshot show together."""
    return KnownTimes(facts)
