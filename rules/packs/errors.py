"""Faults of a pack text: where, which kind, what was expected and found, and what to do about it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from types import MappingProxyType
from typing import Final, Literal

MAX_FAULTS = 500
MAX_SHOWN = 90
Severity = Literal["error", "warning"]


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One fault of a pack, or one warning.

    Attributes:
        line: where it stands, from 1.
        message: plain words.
        code: stable, for programs.
        expected, found: plain words on what should stand there and what does.
        severity: an error forbids publishing; a warning is acknowledged by its name.
        name: stable name of a warning, such as ``limit:OV-FC-STILL/target/sideways``.
    """

    line: int
    message: str
    code: str = "fault"
    expected: str = ""
    found: str = ""
    severity: Severity = "error"
    name: str = ""

    def told(self, file: str) -> str:
        """``file:line: message [code]``; below an error what was expected and found."""
        shown = f"{file}:{self.line}: {self.message} [{self.name or self.code}]"
        if self.severity == "warning":
            return shown
        return f"{shown}\n    expected: {self.expected}\n    found: {self.found}"


class PackError(ValueError):
    """A pack text that cannot be used; every fault found in it is in ``faults``, in line order.

    ``unreadable`` is True where the text could not even be read as YAML to its end.
    """

    def __init__(self, name: str, faults: tuple[Fault, ...], *, unreadable: bool = False) -> None:
        lines = [f"{name}: {len(faults)} fault(s)"]
        lines += [f"  line {fault.line}: {fault.message} [{fault.code}]" for fault in faults]
        super().__init__("\n".join(lines))
        self.name = name
        self.faults = faults
        self.unreadable = unreadable


@dataclass(slots=True)
class FaultList:
    """Collects faults while reading goes on, so that an author sees all of them at once."""

    found: dict[Fault, None] = field(default_factory=dict)

    def add(self, line: int, code: str, message: str, *, expected: str = "", found: str = "") -> None:
        if len(self.found) < MAX_FAULTS:
            fault = Fault(line, message, code, expected or EXPECTED.get(code, ""), clipped(found))
            self.found.setdefault(fault)

    @property
    def ordered(self) -> tuple[Fault, ...]:
        return tuple(sorted(self.found))

    def shown_with(self, text: str) -> tuple[Fault, ...]:
        """In line order; a fault that does not say what was found shows its line of the text."""
        lines = text.splitlines()
        return tuple(
            fault if fault.found else replace(fault, found=_line_of(lines, fault.line))
            for fault in self.ordered
        )


def clipped(text: str) -> str:
    """One line of at most 90 characters."""
    flat = " ".join(text.split())
    return flat if len(flat) <= MAX_SHOWN else flat[: MAX_SHOWN - 1] + "…"


def _line_of(lines: list[str], number: int) -> str:
    text = lines[number - 1] if 0 < number <= len(lines) else ""
    shown = "".join(character if character.isprintable() else "?" for character in text)
    return clipped(shown) or "an empty line"


def did_you_mean(word: str, known: tuple[str, ...]) -> str:
    """``; did you mean "x"?`` where a known word is near, else nothing."""
    near = get_close_matches(word, known, n=1, cutoff=0.6)
    return f'; did you mean "{near[0]}"?' if near else ""


def one_of(words: tuple[str, ...]) -> str:
    """``one of a, b, c``; of a long list its beginning and its length."""
    if not words:
        return "a name that this program knows"
    if len(words) == 1:
        return words[0]
    if len(words) <= 10:
        return "one of " + ", ".join(words)
    return "one of " + ", ".join(words[:6]) + f" and {len(words) - 6} more"


def some_of(words: tuple[str, ...]) -> str:
    """``a, b and c``; of a long list its beginning and how many more there are."""
    if len(words) > 5:
        return ", ".join(words[:4]) + f" and {len(words) - 4} more"
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


# What should stand there, where the place of the fault does not say it more closely.
EXPECTED: Final[Mapping[str, str]] = MappingProxyType(
    {
        "too_large": "a file of at most 256 KiB",
        "not_utf8": "text saved as UTF-8",
        "yaml_syntax": "key, colon, space, value; what belongs together is indented alike",
        "several_documents": "one pack in one file, without a line ---",
        "directive": "a text without a line that begins with %",
        "too_many_values": "a pack that a person could read",
        "too_deep": "fewer brackets or indentations within each other",
        "anchor_or_alias": "the value itself, written out; put text that begins with & or * in quotes",
        "tag": "the value alone; put text that begins with ! in quotes",
        "empty_value": "a value",
        "curly_quotes": 'straight quotes, as in "3.10"; a word processor makes curly ones',
        "date_unquoted": 'a date in quotes, as in "2026-03-01"',
        "key_not_text": "one word before the colon",
        "duplicate_key": "each key once",
        "duplicate_id": "a name that nothing else of its kind bears",
        "duplicate_word": "each word once",
        "unknown_key": "a key that belongs here",
        "unknown_word": "a word that is known here",
        "wrong_type": "another kind of value",
        "out_of_range": "a value within bounds",
        "missing_key": "the key that is missing",
        "citation_missing": 'cite: {source: S-1, section: "3.4"}, or a source of kind common_practice',
        "unknown_source": "the id of an entry under sources",
        "condition_form": "one key per condition, several conditions as a list under all, any or none",
        "code_form": "a trouble code such as C1A45 or C1A45-54",
        "range_reversed": "the smaller or earlier value first",
        "end_in_text": "only from: an edition ends when its successor begins",
        "edition_form": "edition: at_least 3",
        "edition_order": "an edition before this one",
        "unknown_procedure": "the id of a procedure of this pack",
        "procedure_unreachable": "a trigger whose calls_for names this procedure",
        "group_unused": "a procedure with use: and the name of the group",
        "no_proofs": "at least one proof, or use: with the name of a group",
        "unknown_event": "an event, or the id of a proof of this procedure",
        "unknown_proof": "the id of a proof that a used group brings",
        "changed_and_dropped": "the proof under change or under drop, not both",
        "not_refusable": "refusable: no, or left out",
        "not_waivable": "waivable: no, or left out",
        "waive_role_missing": "waive_role: with the one role that may waive it",
        "waive_role_misplaced": "waivable: yes beside waive_role",
        "part_misplaced": "part only in a procedure of kind static_then_dynamic",
        "unit_does_not_fit": "the unit in which this check judges",
        "unit_missing": 'a number and its unit, as in "15 mm"',
        "unit_unknown": "a unit of the list in the guide",
        "unit_mismatch": "two quantities of the same kind",
        "limit_syntax": 'a limit, as in "3200 mm ± 15 mm", "between 12.0 V and 15.0 V" or "at least 65 km/h"',
        "limit_reversed": "the smaller value first, and no negative width",
        "limit_contradicts_group": "the group's limit, or the difference under change",
        "number_size": "a number with at most 15 digits",
        "quantity_syntax": 'a number and its unit, as in "4 h"',
        "placard_misplaced": 'placard only for tire pressures, as in "placard ± 10 kPa"',
        "example_form": "either facts with required, not_required, cannot_tell; or one proof with its values",
        "example_failed": "what the example says",
        "example_not_run": "an example that can be carried out",
        "alternatives_form": "any_of: with two or more ways, each with its own check",
        "alternative_not_allowed": "a check that may stand beside others",
        "models_misplaced": "makes: with the names of the makes whose models these are",
        "never_shown": "a proof that some record can meet",
        "silence": "the operation in a trigger for this sensor, or under not_needed for it",
        "needed_and_not_needed": "the operation in one of the two places",
        "before_circle": "before: that leads to no circle",
        "trigger_unreachable": "a condition that some vehicle of this pack can fulfil",
        "order_unproduced": "an event that this procedure has, and that the record gives a time",
        "foundation_missing": "the pack named under builds_on, in that edition or a later one",
        "house_loosens": "a rule that asks for the same or for more",
    }
)
