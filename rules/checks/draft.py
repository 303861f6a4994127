"""Collecting what a check says: reasons with their sentences, numbers, evidence, and how to settle it."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from rules.facts import Record
from rules.rounding import to_six
from rules.verdict import Number, Outcome, Reason, Settle, Tally, not_met, not_shown

# The hardest way to settle an open proof wins: what cannot be repaired, then what needs the car set up.
_SETTLE_RANK: Final[dict[Settle, int]] = {"desk": 0, "car_here": 1, "now": 2, "never": 3}


@dataclass(slots=True)
class Draft:
    """One proof while it is judged; ``outcome()`` closes it.

    ``required`` and ``citation`` open its sentence; ``sentences`` say what the record shows, ``whys`` why
    that leads to the verdict.
    """

    required: str = ""
    citation: str = ""
    tally: Tally = field(default_factory=Tally)
    sentences: list[str] = field(default_factory=list)
    whys: list[str] = field(default_factory=list)
    changes: list[str] = field(default_factory=list)
    numbers: list[Number] = field(default_factory=list)
    evidence: list[str] = field(default_factory=list)
    instruments: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    settle: Settle | None = None

    def open(
        self, reason: Reason, sentence: str, change: str = "", settle: Settle = "car_here", why: str = ""
    ) -> None:
        """Add a reason that keeps the proof from being met, in words, with what would change it.

        ``settle`` is the class with the session running and the car here; ``why`` may be left out: each
        reason code has a general sentence.
        """
        self.tally.add(reason)
        self._once(self.sentences, sentence)
        self._once(self.whys, why)
        self._once(self.changes, change)
        if self.settle is None or _SETTLE_RANK[settle] > _SETTLE_RANK[self.settle]:
            self.settle = settle

    def not_met(
        self, code: str, sentence: str, change: str = "", settle: Settle = "car_here", why: str = ""
    ) -> None:
        self.open(not_met(code), sentence, change, settle, why)

    def not_shown(
        self, code: str, sentence: str, change: str = "", settle: Settle = "car_here", why: str = ""
    ) -> None:
        self.open(not_shown(code), sentence, change, settle, why)

    def say(self, sentence: str) -> None:
        """Add a sentence that is no reason."""
        self._once(self.sentences, sentence)

    def note(self, text: str) -> None:
        self._once(self.notes, text)

    def rests_on(self, *records: Record) -> None:
        """The verdict rests on these records and on the evidence files they name."""
        for record in records:
            for item in (record.id, *record.evidence):
                self._once(self.evidence, item)

    def rests_on_id(self, record_id: str) -> None:
        """The verdict rests on the record with this id."""
        self._once(self.evidence, record_id)

    def uses(self, instruments: Iterable[str | None]) -> None:
        for tag in instruments:
            self._once(self.instruments, tag or "")

    def number(self, name: str, value: float | None, unit: str) -> None:
        """A result without uncertainty, rounded once."""
        self.numbers.append(Number(name=name, value=None if value is None else to_six(value), unit=unit))

    def outcome(self) -> Outcome:
        shows, why = " ".join(self.sentences), " ".join(self.whys)
        opening = f"{self.required} ({self.citation})." if self.required else ""
        return Outcome(
            verdict=self.tally.verdict,
            reasons=self.tally.codes,
            numbers=tuple(self.numbers),
            sentence=" ".join(text for text in (opening, shows, why) if text),
            change=" ".join(self.changes),
            settle=self.settle or "car_here",
            evidence=tuple(self.evidence),
            instruments=tuple(self.instruments),
            notes=tuple(self.notes),
            required=self.required,
            shows=shows,
            why=why,
        )

    @staticmethod
    def _once(texts: list[str], text: str) -> None:
        if text and text not in texts:
            texts.append(text)


def plain(value: float, digits: int = 1, against: Iterable[float | None] = ()) -> str:
    """A number for reading, with as many digits as it needs not to contradict its limits.

    "12.0" against a limit of 12.0 would hide that 11.99 lies below it; then more digits are shown.
    """
    exact = to_six(value)
    sides = [(limit, _side(exact, limit)) for limit in against if limit is not None]
    for places in range(digits, 7):
        shown = round(value, places)
        if all(_side(shown, limit) == side for limit, side in sides):
            return f"{shown + 0.0:.{places}f}"
    return f"{exact:.6f}"


def _side(value: float, limit: float) -> int:
    return (value > limit) - (value < limit)


def seconds(value: float) -> str:
    """``596 s``, or ``595.5 s``."""
    return f"{to_six(value):.6f}".rstrip("0").rstrip(".") + " s"


def listed(words: Iterable[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    items = list(words)
    if len(items) < 2:
        return "".join(items)
    return ", ".join(items[:-1]) + " and " + items[-1]
