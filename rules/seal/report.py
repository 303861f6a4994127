"""What checking found, line by line: agrees, differs, or not checked, never more than was looked at."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any, Final, Literal

Result = Literal["agrees", "differs", "not_checked"]
# More names than these are counted, not listed, in a text.
MOST_NAMED: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One thing that was checked; ``at_fault`` names the places, files or proofs that do not agree."""

    what: str
    result: Result
    text: str
    at_fault: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """The outcome for one file. It is about integrity: it does not say that a claim in the packet is true.

    Attributes:
        form: ``packet`` for a PDF, ``bundle`` for an archive.
        pdf_sha256: of the PDF, whether it came alone or in a bundle; empty where there is none to hash.
        key_sha256: of the public key that the seal was made with; empty where there is no signature.
        is_demo: whether the seal says of itself that its key is for demonstration.
    """

    form: str
    serial: str
    root: str
    pdf_sha256: str
    lines: tuple[Line, ...]
    key_sha256: str = ""
    is_demo: bool = False

    @property
    def agrees(self) -> bool:
        """Whether nothing differs; what was not checked is not said to agree."""
        return all(line.result != "differs" for line in self.lines)

    @property
    def at_fault(self) -> tuple[str, ...]:
        return tuple(name for line in self.lines for name in line.at_fault)

    def line(self, what: str) -> Line:
        """The line of that name. Raises ``KeyError``."""
        for line in self.lines:
            if line.what == what:
                return line
        raise KeyError(what)

    def to_plain(self) -> dict[str, Any]:
        return {
            "form": self.form,
            "serial": self.serial,
            "root": self.root,
            "pdf_sha256": self.pdf_sha256,
            "key_sha256": self.key_sha256,
            "is_demo": self.is_demo,
            "agrees": self.agrees,
            "lines": [asdict(line) for line in self.lines],
        }


def judged(what: str, faults: Iterable[str], good: str, bad: str) -> Line:
    """``differs`` with the faults, or ``agrees`` where there are none."""
    found = tuple(dict.fromkeys(faults))
    if found:
        return Line(what=what, result="differs", text=bad, at_fault=found)
    return Line(what=what, result="agrees", text=good)


def not_checked(what: str, text: str) -> Line:
    """A line that claims nothing, with the reason."""
    return Line(what=what, result="not_checked", text=text)


def differs(what: str, text: str, *at_fault: str) -> Line:
    """One thing that is wrong."""
    return Line(what=what, result="differs", text=text, at_fault=at_fault or (what,))


def named(names: Iterable[str]) -> str:
    """Names in a sentence; of many the first and how many more there are."""
    found = list(names)
    more = len(found) - MOST_NAMED
    return ", ".join(found[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
