"""Chances against scipy's hypergeometric law, the smallest number exactly, and the draw against sha256sum."""

import hashlib
import math
import subprocess
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2, hypergeom

from rules.science.sampling import (
    LARGEST_LOT,
    chance_of_missing,
    chance_of_seeing,
    draw,
    draw_key,
    needed,
)

SEED = bytes(range(32))
LOTS = st.integers(1, 300).flatmap(
    lambda lot: st.tuples(st.just(lot), st.integers(0, lot), st.integers(0, lot))
)


# scipy.stats.hypergeom is the reference; 54 of them would give 94.9 %.
@pytest.mark.parametrize(
    ("lot", "bad", "looked_at", "percent"),
    [(400, 20, 30, 79.8), (400, 20, 55, 95.2), (400, 8, 30, 46.7), (1, 1, 1, 100.0), (9, 0, 9, 0.0)],
)
def test_known_chances(lot: int, bad: int, looked_at: int, percent: float) -> None:
    chance = chance_of_seeing(lot, bad, looked_at)
    assert round(100 * chance, 1) == percent
    assert chance == pytest.approx(hypergeom.sf(0, lot, bad, looked_at), rel=1e-12, abs=1e-15)


@given(LOTS)
def test_the_chance_is_the_hypergeometric_one(numbers: tuple[int, int, int]) -> None:
    lot, bad, looked_at = numbers
    exact = Fraction(math.comb(lot - bad, looked_at), math.comb(lot, looked_at))
    assert chance_of_missing(lot, bad, looked_at) == exact
    assert chance_of_seeing(lot, bad, looked_at) == pytest.approx(
        hypergeom.sf(0, lot, bad, looked_at), rel=1e-9, abs=1e-12
    )


def test_one_in_twenty_of_four_hundred_takes_fifty_five() -> None:
    assert needed(400, 20, Fraction("0.95")) == 55
    assert chance_of_seeing(400, 20, 55) >= 0.95 > chance_of_seeing(400, 20, 54)


@given(LOTS, st.sampled_from(["0.5", "0.8", "0.9", "0.95", "0.99", "1"]))
def test_one_fewer_would_not_do(numbers: tuple[int, int, int], confidence: str) -> None:
    lot, bad, _ = numbers
    if bad == 0:
        with pytest.raises(ValueError, match="at least one bad"):
            needed(lot, bad, Fraction(confidence))
        return
    size = needed(lot, bad, Fraction(confidence))
    assert 1 - chance_of_missing(lot, bad, size) >= Fraction(confidence)
    assert size == 1 or 1 - chance_of_missing(lot, bad, size - 1) < Fraction(confidence)


def test_a_chance_that_is_met_exactly_counts() -> None:
    # One bad of four: looking at two sees it with exactly one half.
    assert needed(4, 1, Fraction(1, 2)) == 2
    assert needed(4, 1, Fraction(1, 2) + Fraction(1, 10**30)) == 3


@pytest.mark.parametrize("numbers", [(0, 0, 0), (5, 6, 1), (5, 1, 6), (5, -1, 1), (LARGEST_LOT + 1, 1, 1)])
def test_impossible_numbers(numbers: tuple[int, int, int]) -> None:
    with pytest.raises(ValueError, match=r"lot|bad"):
        chance_of_missing(*numbers)
    assert chance_of_missing(LARGEST_LOT, 1, 1) == 1 - Fraction(1, LARGEST_LOT)


def test_the_key_is_what_sha256sum_says() -> None:
    # The program of GNU coreutils, fed as the description tells a stranger to do it.
    text = f"{SEED.hex()}\nlantern\nEM-2026-0417/P1\n"
    told = subprocess.run(["sha256sum"], input=text.encode(), capture_output=True, check=True).stdout
    assert draw_key(SEED, "lantern", "EM-2026-0417/P1") == told.split()[0].decode()


def test_the_draw_is_the_hashes_in_order() -> None:
    serials = [f"EM-2026-{number:04d}/P1" for number in range(40)]
    drawn = draw(SEED, "lantern", serials, 10)
    assert drawn == draw(SEED, "lantern", reversed(serials), 10)
    assert drawn == draw(SEED, "lantern", serials, 40)[:10]
    assert draw(SEED, "lamp", serials, 10) != drawn
    hashes = [hashlib.sha256(f"{SEED.hex()}\nlantern\n{serial}\n".encode()).digest() for serial in drawn]
    assert hashes == sorted(hashes)
    with pytest.raises(ValueError, match="each serial once"):
        draw(SEED, "", ["A", "A"], 1)
    with pytest.raises(ValueError, match="no more drawn"):
        draw(SEED, "", ["A"], 2)


def test_every_serial_is_drawn_about_equally_often() -> None:
    # 2000 seeds, 5 of 20: each is expected 500 times. Chi-square with 19 degrees of freedom; without
    # replacement the counts vary less, so the bound is on the safe side.
    serials = [f"S{number}" for number in range(20)]
    counts = dict.fromkeys(serials, 0)
    for number in range(2000):
        for serial in draw(number.to_bytes(32, "big"), "w", serials, 5):
            counts[serial] += 1
    statistic = math.fsum((count - 500) ** 2 / 500 for count in counts.values())
    assert statistic < chi2.isf(1e-4, 19)
