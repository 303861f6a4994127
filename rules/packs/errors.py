"""Faults of a pack text: where, which kind, and what to do about it, in plain words."""

from dataclasses import dataclass, field
from difflib import get_close_matches

MAX_FAULTS = 500


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One fault: the line it is on (from 1), plain words, and a stable ``code``."""

    line: int
    message: str
    code: str = "fault"


class PackError(ValueError):
    """A pack text that cannot be used; every fault found in it is in ``faults``, in line order."""

    def __init__(self, name: str, faults: tuple[Fault, ...]) -> None:
        lines = [f"{name}: {len(faults)} fault(s)"]
        lines += [f"  line {fault.line}: {fault.message} [{fault.code}]" for fault in faults]
        super().__init__("\n".join(lines))
        self.name = name
        self.faults = faults


@dataclass(slots=True)
class FaultList:
    """Collects faults while reading goes on, so that an author sees all of them at once."""

    found: dict[Fault, None] = field(default_factory=dict)

    def add(self, line: int, code: str, message: str) -> None:
        if len(self.found) < MAX_FAULTS:
            self.found.setdefault(Fault(line, message, code))

    @property
    def ordered(self) -> tuple[Fault, ...]:
        return tuple(sorted(self.found))


def did_you_mean(word: str, known: tuple[str, ...]) -> str:
    """``; did you mean "x"?`` where a known word is near, else nothing."""
    near = get_close_matches(word, known, n=1, cutoff=0.6)
    return f'; did you mean "{near[0]}"?' if near else ""
