"""A simple temporal network: claims about differences of times, the bounds they leave, the cycles they close.

Nodes are unknown instants; an edge from ``a`` to ``b`` of weight w is the claim t_b - t_a <= w (R. Dechter,
I. Meiri, J. Pearl, "Temporal constraint networks", Artificial Intelligence 49, 1991). Shortest paths are the
tightest bounds that follow, and a cycle of negative weight is a proof that its claims cannot all be true.

All arithmetic is in whole numbers. A claim may exclude its bound (t_b - t_a < w): a microsecond is counted
as ``GRAIN`` grains and such a claim as one grain less, so that no path shorter than ``GRAIN`` edges mistakes
"less than" for "at most", and sums, comparisons and cycles need no second rule.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Generic, TypeVar

ClaimT = TypeVar("ClaimT")

ORIGIN: Final = ""  # the node whose instant is zero: the epoch of whoever builds the network
GRAIN: Final = 1 << 20


@dataclass(frozen=True, slots=True)
class Bound:
    """At most ``us`` microseconds, or less than that where ``is_open``."""

    us: int
    is_open: bool = False


def grains(us: int, *, is_open: bool = False) -> int:
    """The weight of "at most ``us`` microseconds", or of "less than" with ``is_open``."""
    return us * GRAIN - int(is_open)


def bound_of(weight: int) -> Bound:
    """What a path of this weight says; the inverse of ``grains`` for sums of fewer than GRAIN open claims."""
    us = -((-weight) // GRAIN)
    return Bound(us, us * GRAIN != weight)


@dataclass(frozen=True, slots=True, eq=False)
class Edge(Generic[ClaimT]):
    """The claim t_end - t_start <= weight, in grains."""

    start: str
    end: str
    weight: int
    claim: ClaimT


class ContradictionError(ValueError):
    """The claims of ``cycle`` cannot all be true, whatever the instant zero is."""

    def __init__(self, cycle: tuple[Edge[Any], ...]) -> None:
        super().__init__("a cycle of claims is negative")
        self.cycle = cycle


@dataclass(frozen=True, slots=True)
class Paths(Generic[ClaimT]):
    """Least weights of paths from one node, or with ``backward`` to it; ``last`` is each path's far edge."""

    weight: Mapping[str, int]
    last: Mapping[str, Edge[ClaimT]]
    backward: bool = False

    def path(self, node: str) -> tuple[Edge[ClaimT], ...]:
        """The edges of the path between the one node and ``node``, in the direction of the edges."""
        found: list[Edge[ClaimT]] = []
        while node in self.last:
            edge = self.last[node]
            found.append(edge)
            node = edge.end if self.backward else edge.start
        return tuple(found if self.backward else reversed(found))


@dataclass(slots=True)
class TimeNetwork(Generic[ClaimT]):
    """Claims; the bounds do not depend on their order, and of equal claims the first made is named."""

    edges: list[Edge[ClaimT]] = field(default_factory=list)

    def at_most(self, a: str, b: str, us: int, claim: ClaimT, *, is_open: bool = False) -> None:
        """Claim t_b - t_a <= us (microseconds), or < us with ``is_open``."""
        self.edges.append(Edge(a, b, grains(us, is_open=is_open), claim))

    def at_least(self, a: str, b: str, us: int, claim: ClaimT) -> None:
        """Claim t_b - t_a >= us (microseconds)."""
        self.edges.append(Edge(b, a, grains(-us), claim))

    def without(self, removed: Iterable[Edge[ClaimT]]) -> "TimeNetwork[ClaimT]":
        """The network with these very edges taken out."""
        gone = {id(edge) for edge in removed}
        return TimeNetwork([edge for edge in self.edges if id(edge) not in gone])

    def without_nodes(self, nodes: Iterable[str]) -> "TimeNetwork[ClaimT]":
        """The network with every edge at one of these nodes taken out."""
        gone = set(nodes)
        return TimeNetwork([edge for edge in self.edges if edge.start not in gone and edge.end not in gone])

    def contradiction(self) -> tuple[Edge[ClaimT], ...]:
        """A cycle of claims that cannot all be true, without a node twice; empty where there is none.

        Each of its claims is needed: without any one of them the others are no cycle.
        """
        nodes = dict.fromkeys(node for edge in self.edges for node in (edge.start, edge.end))
        try:
            _relax(_outgoing(self.edges), dict.fromkeys(nodes, 0))
        except ContradictionError as found:
            return found.cycle
        return ()

    def from_node(self, node: str) -> Paths[ClaimT]:
        """The tightest upper bounds of t_x - t_node for every x.

        Raises:
            ContradictionError: a contradiction can be reached from the node.
        """
        return _relax(_outgoing(self.edges), {node: 0})

    def squeezed(self) -> "Squeeze[ClaimT]":
        """Tightest absolute bounds of every node, each by a path that leaves or enters the origin once.

        Nodes whose bounds exclude each other lie on a contradiction; the others are not touched by it.

        Raises:
            ContradictionError: claims contradict each other without any absolute time.
        """
        cycle = self.without_nodes((ORIGIN,)).contradiction()
        if cycle:
            raise ContradictionError(cycle)
        inner = [edge for edge in self.edges if edge.end != ORIGIN]
        outer = [edge for edge in self.edges if edge.start != ORIGIN]
        high = _relax(_outgoing(inner), {ORIGIN: 0})
        low = _relax(_incoming(outer), {ORIGIN: 0}, backward=True)
        return Squeeze(high=high, low=low)


@dataclass(slots=True)
class Trial(TimeNetwork[ClaimT]):
    """Instants tried on claims, none of which is kept: where all hold, no cycle of them can be negative.

    Attributes:
        at: an instant for every node, in microseconds after the origin.
        holds: whether every claim made so far is true of them.
    """

    at: dict[str, int] = field(default_factory=dict)
    holds: bool = True

    def at_most(self, a: str, b: str, us: int, claim: ClaimT, *, is_open: bool = False) -> None:
        apart = self.at[b] - self.at[a] - us
        if apart > 0 or (is_open and apart == 0):
            self.holds = False

    def at_least(self, a: str, b: str, us: int, claim: ClaimT) -> None:
        if self.at[b] - self.at[a] < us:
            self.holds = False


@dataclass(frozen=True, slots=True)
class Squeeze(Generic[ClaimT]):
    """Upper bounds of t_x (``high``) and of -t_x (``low``) with the paths that give them."""

    high: Paths[ClaimT]
    low: Paths[ClaimT]

    def upper(self, node: str) -> Bound | None:
        """The latest instant (microseconds after the origin); None where no claim gives one."""
        weight = self.high.weight.get(node)
        return None if weight is None else bound_of(weight)

    def lower(self, node: str) -> Bound | None:
        """The earliest instant (microseconds after the origin), ``is_open`` where it lies after it."""
        weight = self.low.weight.get(node)
        if weight is None:
            return None
        least = bound_of(weight)
        return Bound(-least.us, least.is_open)

    def excess(self, node: str) -> int:
        """Grains by which earliest and latest instant of a node exclude each other; 0 where they do not."""
        if node not in self.high.weight or node not in self.low.weight:
            return 0
        return max(-(self.high.weight[node] + self.low.weight[node]), 0)

    def crushed(self) -> tuple[str, ...]:
        """Every node whose bounds exclude each other, in the order of their names."""
        return tuple(sorted(node for node in self.high.weight if self.excess(node) > 0))

    def cycle(self, node: str) -> tuple[Edge[ClaimT], ...]:
        """The claims that exclude each other at ``node``, as a cycle through the origin without a node twice.

        It may pass the node by, where that node is only tied to one on the cycle.
        """
        if not self.excess(node):
            return ()
        return _cut(self.high.path(node) + self.low.path(node))

    def cycle_by(self, edge: Edge[ClaimT]) -> tuple[Edge[ClaimT], ...]:
        """The cycle through the origin by way of this claim, which need not be in the network; empty where
        it contradicts nothing."""
        if edge.start not in self.high.weight or edge.end not in self.low.weight:
            return ()
        if self.high.weight[edge.start] + edge.weight + self.low.weight[edge.end] >= 0:
            return ()
        cycle = _cut((*self.high.path(edge.start), edge, *self.low.path(edge.end)))
        # A claim that was taken out may contradict others on the way alone: that is no cycle of this one.
        return cycle if total(cycle) < 0 else ()


def total(cycle: Iterable[Edge[ClaimT]]) -> int:
    """The weight of a path or cycle, in grains."""
    weight = 0
    for edge in cycle:
        weight += edge.weight
    return weight


def _cut(walk: tuple[Edge[ClaimT], ...]) -> tuple[Edge[ClaimT], ...]:
    """A closed walk without its detours; each weighs zero or more, so what is left is no less negative."""
    kept: list[Edge[ClaimT]] = []
    for edge in walk:
        kept.append(edge)
        seen = next((place for place, one in enumerate(kept) if one.start == edge.end), None)
        if seen is not None and edge.end != ORIGIN:
            del kept[seen:]
    return tuple(kept)


Links = dict[str, list[Edge[ClaimT]]]


def _outgoing(edges: Iterable[Edge[ClaimT]]) -> Links[ClaimT]:
    links: Links[ClaimT] = {}
    for edge in edges:
        links.setdefault(edge.start, []).append(edge)
    return links


def _incoming(edges: Iterable[Edge[ClaimT]]) -> Links[ClaimT]:
    links: Links[ClaimT] = {}
    for edge in edges:
        links.setdefault(edge.end, []).append(edge)
    return links


def _relax(links: Links[ClaimT], weight: dict[str, int], *, backward: bool = False) -> Paths[ClaimT]:
    """Bellman and Ford's relaxation in rounds; ``backward`` walks each edge from its end to its start.

    The nodes of a round are taken by name and of equal weights the path found first stays, so that the answer
    does not depend on the order of different claims.
    """
    last: dict[str, Edge[ClaimT]] = {}
    paths = Paths(weight, last, backward)
    changed = sorted(weight)
    while changed:
        touched: set[str] = set()
        for node in changed:
            so_far = weight[node]
            for edge in links.get(node, ()):
                other = edge.start if backward else edge.end
                offered = so_far + edge.weight
                if other not in weight or offered < weight[other]:
                    weight[other] = offered
                    last[other] = edge
                    touched.add(other)
        changed = sorted(touched)
        cycle = _closed(paths, changed)
        if cycle:
            raise ContradictionError(cycle)
    return paths


def _closed(paths: Paths[ClaimT], touched: Iterable[str]) -> tuple[Edge[ClaimT], ...]:
    """A cycle among the last edges, in the direction of the edges; one that relaxation closes is negative."""
    done: set[str] = set()
    for first in touched:
        seen: dict[str, int] = {}
        walk: list[Edge[ClaimT]] = []
        node = first
        while node in paths.last and node not in done:
            if node in seen:
                cycle = walk[seen[node] :]
                return tuple(cycle if paths.backward else reversed(cycle))
            seen[node] = len(walk)
            walk.append(paths.last[node])
            node = walk[-1].end if paths.backward else walk[-1].start
        done.update(seen)
    return ()
