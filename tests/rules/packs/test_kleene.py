"""Three-valued logic against an oracle that knows only true and false, exhaustively."""

from collections.abc import Callable, Iterable
from itertools import product

import pytest

from rules.packs.kleene import all_of, any_of, negation, none_of
from rules.verdict import Truth

VALUES: tuple[Truth, ...] = ("true", "false", "unknown")


def supervalued(values: tuple[Truth, ...], classical: Callable[[Iterable[bool]], bool]) -> Truth:
    """What all ways of settling the unknown values agree on; unknown where they differ."""
    choices = [(True, False) if value == "unknown" else (value == "true",) for value in values]
    outcomes = {classical(choice) for choice in product(*choices)}
    if len(outcomes) > 1:
        return "unknown"
    return "true" if outcomes.pop() else "false"


@pytest.mark.parametrize("length", range(6))
def test_joins_agree_with_every_settling(length: int) -> None:
    for values in product(VALUES, repeat=length):
        assert all_of(values) == supervalued(values, all)
        assert any_of(values) == supervalued(values, any)
        assert none_of(values) == supervalued(values, lambda choice: not any(choice))


def test_negation() -> None:
    assert [negation(value) for value in VALUES] == ["false", "true", "unknown"]
