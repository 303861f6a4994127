"""Instants at which all readings of one clock are right: each lies where its interval and the clock allow."""

import random

from rules.science.one_offset import one_offset


def test_the_instants_lie_in_their_intervals_and_on_the_display() -> None:
    draw = random.Random(5)
    found = 0
    for _ in range(600):
        step = draw.choice((0, 1, 6))
        shown = []
        for _ in range(draw.randint(1, 4)):
            reading, low = draw.randint(0, 20), draw.randint(0, 20)
            shown.append((low, low + draw.randint(0, 15), reading, step))
        at = one_offset(shown)
        allowed = [o for o in range(-40, 41) if all(_fits(one, o) for one in shown)]
        assert (at is not None) == bool(allowed)
        if at is not None:
            found += 1
            assert any(
                all(_lies(one, instant, o) for one, instant in zip(shown, at, strict=True)) for o in allowed
            )
    assert 60 < found < 540


def _fits(one: tuple[int, int, int, int], offset: int) -> bool:
    return any(_lies(one, instant, offset) for instant in range(one[0], one[1] + 1))


def _lies(one: tuple[int, int, int, int], instant: int, offset: int) -> bool:
    low, high, reading, step = one
    first = reading + offset
    last = first + max(step - 1, 0)
    return low <= instant <= high and first <= instant <= last


def test_without_intervals_the_clock_is_taken_as_right() -> None:
    assert one_offset([(None, None, 7, 0)]) == (7,)


def test_an_interval_that_ends_before_it_begins_gives_nothing() -> None:
    assert one_offset([(5, 4, 4, 60)]) is None
