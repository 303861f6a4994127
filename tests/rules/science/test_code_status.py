"""The status byte of trouble codes, bit by bit, against a public diagnostics library.

Source: ISO 14229-1, annex D.2, as decoded by that library; vectors and source in
tests/reference/dtc_vectors.json.
The state just after clearing (50) is from memory of the standard.
"""

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest

from rules.science.code_status import status_of

VECTORS: list[dict[str, Any]] = json.loads(
    (Path(__file__).parents[2] / "reference" / "dtc_vectors.json").read_text(encoding="utf-8")
)["status"]


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: str(vector["byte"]))
def test_every_bit_has_its_name(vector: dict[str, Any]) -> None:
    assert asdict(status_of(int(vector["byte"], 16))) == {
        name: value for name, value in vector.items() if name != "byte"
    }


def test_all_bytes_differ_and_count_up() -> None:
    found = [status_of(byte) for byte in range(256)]
    assert len(set(found)) == 256
    assert [[place for place, bit in enumerate(asdict(found[1 << n]).values()) if bit] for n in range(8)] == [
        [n] for n in range(8)
    ]


@pytest.mark.parametrize(
    ("byte", "state", "is_tested"),
    [
        (0x09, "present", True),
        (0x2F, "present", True),
        (0xAF, "present", True),
        (0x80, "present", True),
        (0x24, "intermittent", True),
        (0x02, "intermittent", True),
        (0x08, "stored", True),
        (0x20, "stored", True),
        (0x28, "stored", True),
        (0x00, None, True),
        (0x10, None, False),
        (0x40, None, False),
        (0x50, None, False),  # just after clearing: no test has run yet
        (0x59, "present", False),
    ],
)
def test_the_state_that_a_byte_shows(byte: int, state: str | None, is_tested: bool) -> None:
    status = status_of(byte)
    assert (status.state, status.is_tested) == (state, is_tested)


@pytest.mark.parametrize("byte", [-1, 256])
def test_more_than_a_byte_is_refused(byte: int) -> None:
    with pytest.raises(ValueError, match="one byte"):
        status_of(byte)
