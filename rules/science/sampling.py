"""How many of a finite lot to look at, and which: the hypergeometric law, and a draw that anybody can repeat.

The draw: for each serial the SHA-256 of three lines, the seed as 64 hex digits, the word, the serial, each
followed by a line feed; serials in ascending order of these hashes; the first n are drawn. In a shell:
``printf '%s\\n%s\\n%s\\n' SEED WORD SERIAL | sha256sum``.
"""

import hashlib
from collections.abc import Iterable
from fractions import Fraction
from math import perm
from typing import Final

# Larger lots are refused: the exact integers get slow, and no shop seals so many (project default).
LARGEST_LOT: Final = 100_000


def chance_of_missing(lot: int, bad: int, looked_at: int) -> Fraction:
    """The exact chance that none of ``bad`` is among ``looked_at`` drawn from ``lot`` without replacement.

    C(lot - bad, looked_at) / C(lot, looked_at), the hypergeometric law at 0.

    Raises:
        ValueError: a number below 0, more than the lot, an empty lot, or one above ``LARGEST_LOT``.
    """
    _check(lot, bad, looked_at)
    few, many = sorted((bad, looked_at))
    # The law is the same with bad and looked_at exchanged, so the shorter product is taken.
    return Fraction(perm(lot - many, few), perm(lot, few))


def chance_of_seeing(lot: int, bad: int, looked_at: int) -> float:
    """The chance, 0 to 1, to see at least one of ``bad``; see ``chance_of_missing``."""
    return float(1 - chance_of_missing(lot, bad, looked_at))


def needed(lot: int, bad: int, confidence: Fraction) -> int:
    """The smallest number to look at so that at least one of ``bad`` is seen with ``confidence``.

    Decided in whole numbers: rounding never promises a chance that is not reached.

    Args:
        bad: at least 1.
        confidence: above 0, at most 1.

    Raises:
        ValueError: numbers outside these limits.
    """
    _check(lot, bad, 0)
    if bad < 1 or not 0 < confidence <= 1:
        raise ValueError("at least one bad, and a confidence above 0 and at most 1")
    allowed = 1 - confidence
    low, high = 1, lot - bad + 1
    while low < high:
        middle = (low + high) // 2
        if chance_of_missing(lot, bad, middle) <= allowed:
            high = middle
        else:
            low = middle + 1
    return low


def draw_key(seed: bytes, word: str, serial: str) -> str:
    """The hash by which one serial is placed in the draw: 64 lower-case hex digits."""
    return hashlib.sha256(f"{seed.hex()}\n{word}\n{serial}\n".encode()).hexdigest()


def draw(seed: bytes, word: str, serials: Iterable[str], size: int) -> tuple[str, ...]:
    """The serials drawn, in the order of the draw; the order in which they are given does not matter.

    Raises:
        ValueError: a serial twice, or more asked for than there are.
    """
    given = list(serials)
    if len(set(given)) != len(given) or not 0 <= size <= len(given):
        raise ValueError("each serial once, and no more drawn than there are")
    in_order = sorted(given, key=lambda serial: draw_key(seed, word, serial))
    return tuple(in_order[:size])


def _check(lot: int, bad: int, looked_at: int) -> None:
    if not 1 <= lot <= LARGEST_LOT:
        raise ValueError(f"a lot holds 1 to {LARGEST_LOT}")
    if not (0 <= bad <= lot and 0 <= looked_at <= lot):
        raise ValueError("neither bad nor looked at are fewer than 0 or more than the lot")
