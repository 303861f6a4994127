"""What is wrong with a scenario file: where, what should stand there, and what does."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Final

# An author repairs a few at a time; more only hide the first (project default).
MOST_FAULTS: Final = 200
LONGEST_SHOWN: Final = 120


@dataclass(frozen=True, slots=True, order=True)
class Spot:
    """A place in a file; lines count from 1."""

    file: str
    line: int


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One fault of a scenario.

    Attributes:
        where: the path of keys, such as ``jobs.main.photos.plate.at``.
        expected, found: plain words.
        code: stable, for programs.
    """

    spot: Spot
    where: str
    expected: str
    found: str
    code: str

    def as_json(self) -> dict[str, object]:
        return {
            "file": self.spot.file,
            "line": self.spot.line,
            "code": self.code,
            "where": self.where,
            "expected": self.expected,
            "found": self.found,
        }

    def told(self) -> str:
        return (
            f"{self.spot.file}:{self.spot.line}: {self.where}: expected {self.expected}; found {self.found}"
        )


class ScenarioError(ValueError):
    """A file that is no scenario; every fault that was found is in ``faults``."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(sorted(faults))
        super().__init__("\n".join(fault.told() for fault in self.faults))


@dataclass(slots=True)
class Faults:
    """Collects faults while reading goes on."""

    found: dict[Fault, None] = field(default_factory=dict)

    def add(self, spot: Spot, where: str, *, expected: str, found: str, code: str) -> None:
        if len(self.found) < MOST_FAULTS:
            self.found.setdefault(Fault(spot, where or "the file", expected, shortened(found), code))

    def stop_if_any(self) -> None:
        """Raises ``ScenarioError`` where something was found."""
        if self.found:
            raise ScenarioError(self.found)


def shortened(text: str) -> str:
    """One line, not longer than an editor shows."""
    line = " ".join(text.split()) or "nothing"
    return line if len(line) <= LONGEST_SHOWN else f"{line[: LONGEST_SHOWN - 1]}…"


def one_of(words: Iterable[str], found: str) -> str:
    """What was expected where only some words fit, with the nearest one if there is one."""
    known = sorted(words)
    near = get_close_matches(found, known, n=1, cutoff=0.6)
    if near:
        return f'one of the known words; did you mean "{near[0]}"?'
    listed = ", ".join(known)
    return f"one of: {listed}" if len(listed) <= LONGEST_SHOWN else f"one of {len(known)} known words"
