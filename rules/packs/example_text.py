"""Reading the examples a pack carries to test itself."""

from collections.abc import Callable
from typing import Final

from rules.packs.errors import one_of
from rules.packs.model import Example
from rules.packs.tree import Scalar, Section, Seq, unknown_operation
from rules.quantities import QuantityError, parse_quantity
from rules.verdict import MET, NOT_MET, NOT_SHOWN, REASON_ORDER
from rules.vocabulary import MODULE_SYSTEMS, SENSORS, is_operation_name

# What the facts of an example about one proof consist of.
ABOUT_PROOF: Final = ("procedure", "proof", "solved", "counted")
STATES: Final = ("required", "not_required", "cannot_tell")
FITTED_WORDS: Final = ("yes", "no", "unknown")
VERDICTS: Final = (MET, NOT_MET, NOT_SHOWN)


def read_examples(pack: Section) -> tuple[Example, ...]:
    """Every example; names are unique, and each expects something."""
    examples: dict[str, Example] = {}
    for section in pack.sections("examples", required=False):
        section.only("name", "given", "expect")
        name = section.text("name")
        given, expect = section.section("given"), section.section("expect")
        if name in examples:
            section.fault("name", "duplicate_id", f'an example "{name}" stands here already')
        if given is None or expect is None:
            continue
        examples[name] = Example(
            name=name,
            given=_read_all(given, _GIVEN),
            expect=_read_all(expect, _EXPECT),
            line=section.line,
        )
        if not expect.node.entries:
            section.fault("expect", "empty_value", "the example expects nothing")
        else:
            _check_form(section, examples[name])
    return tuple(examples.values())


def _check_form(section: Section, example: Example) -> None:
    """An example is about requirements, or about one proof with values already computed."""
    given, expect = set(example.given), set(example.expect)
    about_proof = bool(given & set(ABOUT_PROOF) or expect - set(STATES))
    if not about_proof:
        return
    wrong = ""
    if not {"procedure", "proof"} <= given:
        wrong = "an example about values names the procedure and the proof"
    elif ("solved" in given) == ("counted" in given):
        wrong = "an example about a proof gives either solved or counted"
    elif given - set(ABOUT_PROOF):
        wrong = f"beside a proof there is no {', '.join(sorted(given - set(ABOUT_PROOF)))}"
    elif expect & set(STATES) or not expect & {"verdict", "verdicts"}:
        wrong = "an example about a proof expects verdict or verdicts, and perhaps reason"
    elif not _rows_fit(example):
        wrong = "verdicts has one verdict for each row of values, verdict stands for one row"
    if wrong:
        section.fault("given", "example_form", wrong)


def _rows_fit(example: Example) -> bool:
    rows = example.given.get("solved", example.given.get("counted"))
    verdicts = example.expect.get("verdicts")
    count = len(rows) if isinstance(rows, tuple) else 1
    if "verdict" in example.expect:
        return count == 1 and verdicts is None
    return isinstance(verdicts, tuple) and len(verdicts) == count and "reason" not in example.expect


Reader = Callable[[Section, str], object]


def _read_all(section: Section, readers: dict[str, Reader]) -> dict[str, object]:
    section.only(*readers)
    return {key: read(section, key) for key, read in readers.items() if section.has(key)}


def _text(section: Section, key: str) -> object:
    return section.text(key)


def _year(section: Section, key: str) -> object:
    return section.integer(key, 1980, 2100)


def _truth(section: Section, key: str) -> object:
    return section.truth(key)


def _date(section: Section, key: str) -> object:
    return section.date(key)


def _words(section: Section, key: str) -> object:
    return section.words(key)


def _operations(section: Section, key: str) -> object:
    node = section.node.get(key)
    if isinstance(node, Seq) and not node.items:
        return ()
    names = section.words(key)
    for name in names:
        if not is_operation_name(name):
            unknown_operation(section, key, name)
    return names


def _fitted(section: Section, key: str) -> object:
    table = section.section(key)
    if table is None:
        return {}
    table.only(*SENSORS)
    return {entry.key: table.choice(entry.key, FITTED_WORDS) for entry in table.node.entries}


def _codes(section: Section, key: str) -> object:
    table = section.section(key)
    if table is None:
        return {}
    table.only(*SENSORS, *MODULE_SYSTEMS)
    return {entry.key: table.words(entry.key) for entry in table.node.entries}


def _solved(section: Section, key: str) -> object:
    """Rows of values already computed, each name with (value, unit); one mapping is one row."""
    if isinstance(section.node.get(key), Seq):
        return tuple(_solved_row(row) for row in section.sections(key))
    table = section.section(key)
    return () if table is None else (_solved_row(table),)


def _solved_row(table: Section) -> dict[str, tuple[float, str]]:
    found = {}
    for entry in table.node.entries:
        text = table.text(entry.key)
        if not text.strip():
            continue
        try:
            found[entry.key] = parse_quantity(text)
        except QuantityError as error:
            table.fault(entry.key, error.code, str(error))
    return found


def _counted(section: Section, key: str) -> object:
    rows = []
    for row in section.sections(key):
        row.only("low", "high", "longest_low", "longest_high")
        low, high = row.number("low", 0, 1e6), row.number("high", 0, 1e6)
        longest = [row.number(name, 0, 1e6) for name in ("longest_low", "longest_high") if row.has(name)]
        if len(longest) == 1:
            row.fault("low", "example_form", "longest_low and longest_high are given together")
        longest_low, longest_high = longest if len(longest) == 2 else (low, high)
        if low > high or longest_low > longest_high:
            row.fault("low", "range_reversed", "low is above high")
        rows.append((low, high, longest_low, longest_high))
    return tuple(rows)


def _verdict(section: Section, key: str) -> object:
    return section.choice(key, VERDICTS)


def _verdicts(section: Section, key: str) -> object:
    node = section.node.get(key)
    if not isinstance(node, Seq) or not all(isinstance(item, Scalar) for item in node.items):
        section.fault(key, "wrong_type", f'"{key}" is a list of verdicts', expected="a list of verdicts")
        return ()
    words = tuple(item.text for item in node.items if isinstance(item, Scalar))
    for word in words:
        if word not in VERDICTS:
            wanted = one_of(VERDICTS)
            section.fault(key, "unknown_word", f'"{word}" is no verdict', expected=wanted, found=word)
    return words


def _reason(section: Section, key: str) -> object:
    return section.choice(key, tuple(REASON_ORDER))


_GIVEN: Final[dict[str, Reader]] = {
    "make": _text,
    "model": _text,
    "year": _year,
    "built": _date,
    "fitted": _fitted,
    "fitted_known": _truth,
    "operations": _operations,
    "operations_closed": _truth,
    "before_scan": _truth,
    "codes_seen": _codes,
    "procedure": _text,
    "proof": _text,
    "solved": _solved,
    "counted": _counted,
}
_EXPECT: Final[dict[str, Reader]] = {
    **dict.fromkeys(STATES, _words),
    "verdict": _verdict,
    "verdicts": _verdicts,
    "reason": _reason,
}
