"""Laws of the strong three-valued logic (Kleene 1952, section 64), on values and on whole conditions."""

from collections.abc import Iterator
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.packs.kleene import all_of, any_of, negation, none_of
from rules.verdict import Truth

VALUES: tuple[Truth, ...] = ("true", "false", "unknown")
TRIPLES = list(product(VALUES, repeat=3))


@pytest.mark.parametrize(("a", "b", "c"), TRIPLES)
def test_of_three_values(a: Truth, b: Truth, c: Truth) -> None:
    # De Morgan
    assert negation(all_of([a, b])) == any_of([negation(a), negation(b)])
    assert negation(any_of([a, b])) == all_of([negation(a), negation(b)])
    assert none_of([a, b]) == all_of([negation(a), negation(b)])
    # distributivity, both ways
    assert all_of([a, any_of([b, c])]) == any_of([all_of([a, b]), all_of([a, c])])
    assert any_of([a, all_of([b, c])]) == all_of([any_of([a, b]), any_of([a, c])])
    # associativity, commutativity, absorption, idempotence, double negation
    assert all_of([a, all_of([b, c])]) == all_of([a, b, c]) == all_of([c, b, a])
    assert any_of([a, any_of([b, c])]) == any_of([a, b, c]) == any_of([c, b, a])
    assert all_of([a, any_of([a, b])]) == a == any_of([a, all_of([a, b])])
    assert all_of([a, a]) == a == any_of([a, a]) == negation(negation(a))


def test_the_middle_is_not_excluded() -> None:
    assert any_of(["unknown", negation("unknown")]) == "unknown"
    assert all_of(["unknown", negation("unknown")]) == "unknown"


Formula = tuple[str, tuple[object, ...]] | int
ATOMS = 4
formulas: st.SearchStrategy[Formula] = st.recursive(
    st.integers(0, ATOMS - 1),
    lambda inner: st.tuples(st.sampled_from(["all", "any", "none"]), st.lists(inner, max_size=3).map(tuple)),
    max_leaves=12,
)


def truth(formula: Formula, values: tuple[Truth, ...]) -> Truth:
    if isinstance(formula, int):
        return values[formula]
    kind, parts = formula
    found = [truth(part, values) for part in parts]  # type: ignore[arg-type]
    return {"all": all_of, "any": any_of, "none": none_of}[kind](found)


def settled(values: tuple[Truth, ...]) -> Iterator[tuple[Truth, ...]]:
    """All ways to learn more: each unknown value stays unknown or becomes true or false."""
    return product(*(VALUES if value == "unknown" else (value,) for value in values))


@settings(max_examples=150, deadline=None, derandomize=True)
@given(formula=formulas, values=st.tuples(*[st.sampled_from(VALUES)] * ATOMS))
def test_learning_more_never_turns_true_or_false_over(formula: Formula, values: tuple[Truth, ...]) -> None:
    known = truth(formula, values)
    if known != "unknown":
        assert {truth(formula, more) for more in settled(values)} == {known}
