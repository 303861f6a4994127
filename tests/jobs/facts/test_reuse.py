"""Picture hashes: bands, distance, and the second measure."""

import base64
from random import Random

import pytest

from jobs.facts.reuse import BAND_WIDTHS, bands_of, correlation, distance_bits

FIRST = "c3a5916e7d20f48b"


def test_the_bands_are_the_hash() -> None:
    assert sum(BAND_WIDTHS) == 64
    rebuilt = 0
    for value, width in zip(bands_of(FIRST), BAND_WIDTHS, strict=True):
        assert 0 <= value < 1 << width
        rebuilt = (rebuilt << width) | value
    assert f"{rebuilt:016x}" == FIRST


@pytest.mark.parametrize(("second", "bits"), [("c3a5816e7d22f483", 3), ("c7a1932c7530e6a9", 11), (FIRST, 0)])
def test_distance_in_bits(second: str, bits: int) -> None:
    assert distance_bits(FIRST, second) == bits


def test_hashes_within_six_bits_share_a_band() -> None:
    random = Random(417)
    for _ in range(2000):
        bits = random.getrandbits(64)
        other = bits
        for place in random.sample(range(64), random.randint(0, 6)):
            other ^= 1 << place
        pairs = zip(bands_of(f"{bits:016x}"), bands_of(f"{other:016x}"), strict=True)
        assert any(mine == theirs for mine, theirs in pairs)


def luma(*values: int) -> str:
    return base64.b64encode(bytes(values)).decode()


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        (luma(0, 50, 100, 200), luma(0, 50, 100, 200), 1.0),
        (luma(0, 50, 100, 200), luma(10, 35, 60, 110), 1.0),
        (luma(0, 100), luma(100, 0), -1.0),
        # 1 2 3 4 against 2 1 4 3: covariance 3/4, variance 5/4, so 3/5.
        (luma(1, 2, 3, 4), luma(2, 1, 4, 3), 0.6),
        # No value, so nothing that could clear a pair.
        (luma(7, 7, 7), luma(1, 2, 3), None),
        (luma(1, 2), luma(1, 2, 3), None),
        ("not base64!", luma(1, 2), None),
        (None, luma(1, 2), None),
    ],
)
def test_normalised_correlation(first: object, second: object, expected: float | None) -> None:
    assert correlation(first, second) == expected
