"""Networks of claims about times: tightest bounds and contradictions, against two independent solvers."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.sparse.csgraph import NegativeCycleError, csgraph_from_dense, floyd_warshall

from rules.science.time_network import (
    GRAIN,
    ORIGIN,
    Bound,
    ContradictionError,
    Edge,
    TimeNetwork,
    bound_of,
    grains,
    total,
)

NODES = (ORIGIN, "a", "b", "c", "d", "e")
EDGE = st.tuples(st.sampled_from(NODES), st.sampled_from(NODES), st.integers(-6, 12), st.booleans())
EDGES = st.lists(EDGE.filter(lambda edge: edge[0] != edge[1]), max_size=14)


def network(edges) -> TimeNetwork[int]:
    made: TimeNetwork[int] = TimeNetwork()
    for number, (a, b, us, is_open) in enumerate(edges):
        made.at_most(a, b, us, number, is_open=is_open)
    return made


def is_consistent_by_linear_programme(edges) -> bool:
    """An open claim is one thousandth less: 14 whole-number claims cannot bridge a whole number by that."""
    rows, limits = [], []
    for a, b, us, is_open in edges:
        row = [0.0] * len(NODES)
        row[NODES.index(b)] += 1.0
        row[NODES.index(a)] -= 1.0
        rows.append(row)
        limits.append(us - 0.001 * is_open)
    if not rows:
        return True
    solved = linprog([0.0] * len(NODES), A_ub=rows, b_ub=limits, bounds=[(None, None)] * len(NODES))
    return bool(solved.status == 0)


def distances_by_scipy(edges):
    """scipy.sparse.csgraph.floyd_warshall; absent edges are infinite, parallel ones the least."""
    matrix = np.full((len(NODES), len(NODES)), np.inf)
    for a, b, us, is_open in edges:
        i, j = NODES.index(a), NODES.index(b)
        matrix[i, j] = min(matrix[i, j], float(grains(us, is_open=is_open)))
    return floyd_warshall(csgraph_from_dense(matrix, null_value=np.inf))


@settings(max_examples=300, deadline=None)
@given(EDGES)
def test_a_contradiction_is_found_exactly_where_no_times_fit(edges) -> None:
    cycle = network(edges).contradiction()
    assert bool(cycle) is not is_consistent_by_linear_programme(edges)
    if cycle:
        assert total(cycle) < 0
        assert all(first.end == second.start for first, second in pairwise(cycle))
        assert cycle[-1].end == cycle[0].start
        starts = [edge.start for edge in cycle]
        assert len(set(starts)) == len(starts)


@settings(max_examples=300, deadline=None)
@given(EDGES)
def test_bounds_of_every_difference_are_those_of_floyd_and_warshall(edges) -> None:
    made = network(edges)
    try:
        expected = distances_by_scipy(edges)
    except NegativeCycleError:
        assert made.contradiction()
        return
    assert made.contradiction() == ()
    for i, a in enumerate(NODES):
        paths = made.from_node(a)
        for j, b in enumerate(NODES):
            if np.isinf(expected[i, j]):
                assert b not in paths.weight
            else:
                assert paths.weight[b] == int(expected[i, j])
                assert total(paths.path(b)) == paths.weight[b]


@settings(max_examples=300, deadline=None)
@given(EDGES)
def test_squeezed_bounds_are_the_shortest_paths_where_nothing_contradicts(edges) -> None:
    made = network(edges)
    if made.contradiction():
        return
    squeeze = made.squeezed()
    assert squeeze.crushed() == ()
    down = made.from_node(ORIGIN).weight
    for node in NODES:
        up = made.from_node(node).weight.get(ORIGIN)
        assert squeeze.high.weight.get(node) == down.get(node)
        assert squeeze.low.weight.get(node) == up
        assert squeeze.excess(node) == 0
        assert squeeze.cycle(node) == ()


@settings(max_examples=300, deadline=None)
@given(EDGES)
def test_crushed_nodes_and_cycles_without_absolute_times_are_all_contradictions(edges) -> None:
    made = network(edges)
    try:
        squeeze = made.squeezed()
    except ContradictionError:
        assert made.without_nodes([ORIGIN]).contradiction()
        return
    assert bool(squeeze.crushed()) is bool(made.contradiction())
    for node in squeeze.crushed():
        cycle = squeeze.cycle(node)
        assert total(cycle) <= -squeeze.excess(node) < 0
        assert cycle[0].start == cycle[-1].end == ORIGIN
        assert all(first.end == second.start for first, second in pairwise(cycle))
        starts = [edge.start for edge in cycle]
        assert len(set(starts)) == len(starts)


@settings(max_examples=200, deadline=None)
@given(EDGES)
def test_without_one_claim_of_the_cycle_the_others_agree(edges) -> None:
    cycle = network(edges).contradiction()
    for left_out in range(len(cycle)):
        others = TimeNetwork([edge for place, edge in enumerate(cycle) if place != left_out])
        assert others.contradiction() == ()


@settings(max_examples=200, deadline=None)
@given(EDGES, EDGES)
def test_more_claims_take_no_contradiction_away(edges, more) -> None:
    if network(edges).contradiction():
        assert network([*edges, *more]).contradiction()
    try:
        before, after = network(edges).squeezed(), network([*edges, *more]).squeezed()
    except ContradictionError:
        return
    assert set(before.crushed()) <= set(after.crushed())
    for node in NODES:
        assert after.excess(node) >= before.excess(node)


@settings(max_examples=100, deadline=None)
@given(st.lists(EDGE.filter(lambda e: e[0] != e[1]), max_size=14, unique_by=lambda e: e[:2]), st.randoms())
def test_the_order_of_claims_changes_nothing(edges, random) -> None:
    shuffled = list(edges)
    random.shuffle(shuffled)

    def said(made):
        cycle = made.contradiction()
        return [(edge.start, edge.end, edge.weight) for edge in cycle]

    assert said(network(edges)) == said(network(shuffled))


@pytest.mark.parametrize(
    ("us", "is_open", "weight"),
    [(0, False, 0), (0, True, -1), (1, False, GRAIN), (-1, True, -GRAIN - 1), (3, True, 3 * GRAIN - 1)],
)
def test_an_open_bound_is_one_grain_less(us, is_open, weight) -> None:
    assert grains(us, is_open=is_open) == weight
    assert bound_of(weight) == Bound(us, is_open)


def test_sums_of_open_bounds_stay_open_and_keep_their_microseconds() -> None:
    assert bound_of(grains(5, is_open=True) + grains(-7, is_open=True)) == Bound(-2, True)
    assert bound_of(grains(5) + grains(-7)) == Bound(-2)
    assert GRAIN > 100_000  # more open claims than any job has


def test_a_day_in_microseconds_is_exact() -> None:
    day = 86_400_000_000
    made: TimeNetwork[str] = TimeNetwork()
    for k in range(400):
        made.at_most(f"n{k}", f"n{k + 1}", 50 * 365 * day + 1, "")
    assert bound_of(made.from_node("n0").weight["n400"]) == Bound(400 * (50 * 365 * day + 1))


def test_at_least_and_at_most_meet_in_one_instant_and_open_ones_do_not() -> None:
    made: TimeNetwork[str] = TimeNetwork()
    made.at_least(ORIGIN, "a", 7, "not before")
    made.at_most(ORIGIN, "a", 7, "not after")
    assert made.contradiction() == ()
    squeeze = made.squeezed()
    assert (squeeze.lower("a"), squeeze.upper("a")) == (Bound(7), Bound(7))
    made.at_most(ORIGIN, "a", 7, "before", is_open=True)
    assert [edge.claim for edge in made.squeezed().cycle("a")] == ["before", "not before"]
    assert made.squeezed().excess("a") == 1
    assert made.contradiction()


def test_an_open_upper_bound_reaches_the_lower_bound_of_what_comes_earlier() -> None:
    made: TimeNetwork[str] = TimeNetwork()
    made.at_least(ORIGIN, "a", 10, "")
    made.at_most("b", "a", -3, "", is_open=True)  # b lies more than 3 after a
    assert made.squeezed().lower("b") == Bound(13, True)
    assert made.squeezed().upper("b") is None
    assert made.squeezed().lower("nowhere") is None


def test_the_cycle_leaves_out_what_is_only_tied_to_it() -> None:
    """``x`` shares the doubtful instant of ``p`` and is crushed with it, but says nothing itself."""
    made: TimeNetwork[str] = TimeNetwork()
    made.at_least(ORIGIN, "p", 10, "late")
    made.at_most(ORIGIN, "q", 5, "early")
    made.at_most("q", "p", 0, "p before q")
    made.at_most("p", "x", 1, "tied")
    made.at_most("x", "p", 1, "tied")
    squeeze = made.squeezed()
    assert squeeze.crushed() == ("p", "q", "x")
    assert squeeze.excess("x") == 3 * GRAIN
    for node in ("p", "q", "x"):
        assert {edge.claim for edge in squeeze.cycle(node)} == {"late", "early", "p before q"}
        assert total(squeeze.cycle(node)) == -5 * GRAIN


def test_claims_without_any_absolute_time_may_contradict_each_other() -> None:
    made: TimeNetwork[str] = TimeNetwork()
    made.at_most("a", "b", -1, "b before a")
    made.at_most("b", "a", 0, "a not after b")
    made.at_most(ORIGIN, "a", 100, "")
    with pytest.raises(ContradictionError) as found:
        made.squeezed()
    assert {edge.claim for edge in found.value.cycle} == {"b before a", "a not after b"}
    cycle = made.contradiction()
    assert total(cycle) == -GRAIN
    assert made.without(cycle).contradiction() == ()
    assert made.without(cycle[:1]).squeezed().upper("a") == Bound(100)
    assert made.without_nodes(["b"]).edges == [made.edges[2]]
    assert made.without_nodes(["a"]).edges == []


def test_a_backward_search_sees_a_contradiction_that_only_leads_to_the_origin() -> None:
    made: TimeNetwork[str] = TimeNetwork()
    made.at_most("a", "b", -1, "one")
    made.at_most("b", "a", 0, "two")
    made.at_most("a", ORIGIN, 5, "out")
    with pytest.raises(ContradictionError) as found:
        made.squeezed()
    cycle = found.value.cycle
    assert {edge.claim for edge in cycle} == {"one", "two"}
    assert cycle[0].end == cycle[1].start


def test_edges_are_compared_by_identity() -> None:
    one, two = Edge("a", "b", 1, "x"), Edge("a", "b", 1, "x")
    assert one != two
    assert TimeNetwork([one, two]).without([one]).edges == [two]


def test_a_path_is_given_in_the_direction_of_its_edges() -> None:
    made: TimeNetwork[str] = TimeNetwork()
    made.at_most(ORIGIN, "a", 1, "first")
    made.at_most("a", "b", 1, "second")
    made.at_most("b", "c", 1, "third")
    made.at_most("c", ORIGIN, 1, "back")
    squeeze = made.squeezed()
    assert [edge.claim for edge in squeeze.high.path("c")] == ["first", "second", "third"]
    assert [edge.claim for edge in squeeze.low.path("a")] == ["second", "third", "back"]
    assert squeeze.high.path(ORIGIN) == ()
