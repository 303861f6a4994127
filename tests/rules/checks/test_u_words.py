"""A standard uncertainty in a sentence never looks like none."""

import pytest

from rules.checks.one_reading import u_words


@pytest.mark.parametrize(
    ("u", "words"),
    [(1.95, "1.95"), (0.05, "0.05"), (0.0016, "0.002"), (0.00004, "0.00004"), (0.0, "0.00")],
)
def test_as_many_decimals_as_it_takes(u: float, words: str) -> None:
    assert u_words(u) == words
