"""The distances that a target was solved from: each with its uncertainty and what was left over."""

import re
from collections.abc import Iterable
from typing import Any, Final

from rules.display import tape_words, with_unit
from rules.verdict import Number

_OF_A_TAPE: Final = re.compile(r"(read|residual|count)_([db]_[LR]{2})")


def is_of_a_tape(number: Number) -> bool:
    """Whether the number belongs to one distance rather than to the position."""
    return _OF_A_TAPE.fullmatch(number.name) is not None


def tape_rows(numbers: Iterable[Number]) -> list[dict[str, Any]]:
    """One row a distance, in the order read: from where to where, mean of the sets, u, residual, sets."""
    found: dict[str, dict[str, Number]] = {}
    for number in numbers:
        match = _OF_A_TAPE.fullmatch(number.name)
        if match:
            found.setdefault(match[2], {})[match[1]] = number
    return [_row(place, row) for place, row in found.items() if "read" in row]


def _row(place: str, row: dict[str, Number]) -> dict[str, Any]:
    read, residual, count = row["read"], row.get("residual"), row.get("count")
    words = tape_words(place)
    return {
        "name": words[:1].upper() + words[1:],
        "code": place,
        "value": with_unit(read),
        "u": "" if read.u is None else f"{read.u:.4g}",
        "residual": "" if residual is None else with_unit(residual),
        "sets": 1 if count is None or count.value is None else round(count.value),
    }
