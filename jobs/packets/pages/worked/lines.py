"""The parts of a computation sheet: sums line by line, tables, and how numbers are written in them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from jobs.packets.pages.worked.calculator import worth


@dataclass(frozen=True, slots=True, kw_only=True)
class Sum:
    """One line: ``what`` is worked out, by which ``rule``, with which ``numbers``, and what it comes to.

    ``agrees`` is False where the printed numbers do not give the printed result to its last digit but one;
    the page then says so instead of pretending.
    """

    what: str
    rule: str
    numbers: str
    result: str
    unit: str = ""
    agrees: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table of a sheet: its caption, its heads and rows; ``wide`` is the share of the first column."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    wide: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """What one computation adds to its sheet: rules by name, tables, sums in their order, closing words."""

    rules: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    sums: tuple[Sum, ...] = ()
    after: tuple[Table, ...] = ()
    words: tuple[str, ...] = ()

    def plus(self, other: "Worked") -> "Worked":
        """Both, one after the other."""
        return replace(
            self,
            rules=(*self.rules, *other.rules),
            tables=(*self.tables, *other.tables),
            sums=(*self.sums, *other.sums),
            after=(*self.after, *other.after),
            words=(*self.words, *other.words),
        )


def fig(value: float, decimals: int | None = None) -> str:
    """A number as it is printed: ten significant digits where ``decimals`` is not given, − as minus."""
    text = f"{value:.10g}" if decimals is None else f"{value:.{decimals}f}"
    if "e" in text:
        text = f"{value:.12f}".rstrip("0").rstrip(".")
    if float(text) == 0.0:
        text = text.removeprefix("-")
    return text.replace("-", "−")


def term(value: float, decimals: int | None = None) -> str:
    """A number inside a sum: a negative one stands in brackets."""
    text = fig(value, decimals)
    return f"({text})" if value < 0 and text.startswith("−") else text


def total(values: Iterable[float], decimals: int | None = None) -> str:
    """``341 + 233 + 145``; ``0`` for none."""
    return " + ".join(term(value, decimals) for value in values) or "0"


def made(what: str, rule: str, numbers: str, value: float | None, decimals: int, unit: str = "") -> Sum:
    """A line whose result is ``value`` as the engine has it, checked against the printed numbers."""
    if value is None:
        return Sum(what=what, rule=rule, numbers=numbers, result="no value", unit="")
    try:
        found = worth(numbers)
    except ValueError:
        agrees = False
    else:
        agrees = abs(found - value) <= 1.001 * 10.0**-decimals
    return Sum(what=what, rule=rule, numbers=numbers, result=fig(value, decimals), unit=unit, agrees=agrees)


def rows(items: Iterable[Sequence[object]]) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(str(cell) for cell in item) for item in items)
