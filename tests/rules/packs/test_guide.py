"""The guide for pack authors: its tables and its example are the program's own, and the example is clean."""

import re
from pathlib import Path

import pytest

from rules.examples import run_examples
from rules.pack_review import review
from rules.packs.check_library import CHECKS
from rules.packs.check_words import ARGUMENT_WORDS, CHECK_WORDS, OWN_WORDS
from rules.packs.errors import EXPECTED
from rules.packs.methods_text import read_methods
from rules.packs.reader import read_pack
from tests.rules.cast import pack
from tests.rules.packs.guide import EXAMPLE, FOLDER, GUIDE, RADAR_EXAMPLE, between, parts

TEXT = GUIDE.read_text(encoding="utf-8")
RULES = Path(__file__).parents[3] / "rules"


@pytest.mark.parametrize("name", ["checks", "words", "zones", "example"])
def test_the_guide_is_current(name: str) -> None:
    """If not: python -m tests.rules.packs.guide."""
    assert between(name, TEXT) == parts()[name]


def test_every_check_and_argument_has_words() -> None:
    arguments = {key for spec in CHECKS.values() for key in spec.arguments}
    assert set(CHECK_WORDS) == set(CHECKS)
    assert set(ARGUMENT_WORDS) == arguments
    assert all(key in CHECKS[check].arguments for check, key in OWN_WORDS)


def test_the_example_has_neither_fault_nor_warning() -> None:
    edition = read_pack(EXAMPLE.read_bytes())
    methods = read_methods((FOLDER / "methods" / "brackwater.yaml").read_bytes())
    beside = (pack("common-practice", 3),)
    assert review(edition, beside, methods) == ()
    assert {result.outcome for result in run_examples(edition, beside)} == {"ok"}


def codes_in_use() -> set[str]:
    """Every fault code that stands as a word in a call of fault() or add()."""
    found: set[str] = set()
    for path in (RULES / "packs").glob("*.py"):
        text = path.read_text(encoding="utf-8")
        for call in re.findall(r"(?:\.fault|faults\.add|_stop)\((.*?)\)\n", text, re.DOTALL):
            found |= set(re.findall(r'"([a-z]+(?:_[a-z0-9]+)+)"', call))
    return found


def test_every_code_says_what_was_expected_somewhere() -> None:
    told_in_place = {
        "wrong_type",
        "unknown_word",
        "yes_or_no",
        "true_or_false",
        "out_of_range",
        "date_invalid",
    }
    keys = {key for spec in CHECKS.values() for key in spec.arguments}
    codes = codes_in_use() - keys
    assert {"duplicate_key", "limit_contradicts_group", "trigger_unreachable"} <= codes
    pack_keys = {"in_force", "calls_for", "waive_role", "by_model", "builds_on", "not_needed", "fresh_for"}
    pack_keys |= {"longest_low", "retrieved_by", "broken_by", "speaks_for", "any_of"}
    assert codes - set(EXPECTED) - told_in_place - pack_keys == set()


@pytest.mark.parametrize(
    "code",
    ["silence", "never_shown", "limit_contradicts_group", "order_unproduced", "example_failed"],
)
def test_the_guide_says_how_to_mend_it(code: str) -> None:
    assert f"`{code}`" in TEXT


def test_the_radar_example_warns_of_one_rack_only() -> None:
    edition = read_pack(RADAR_EXAMPLE.read_bytes())
    methods = read_methods((FOLDER / "methods" / "brackwater.yaml").read_bytes())
    beside = (pack("common-practice", 3),)
    told = review(edition, beside, methods)
    assert [fault.name for fault in told] == [
        "capability:TH-FR/thrust/limit",
        "capability:TH-FR/place/sideways",
        "capability:TH-FR/place/yaw",
    ]
    assert all("at Low Mill the rack is not certified for toe" in fault.message for fault in told)
    assert {result.outcome for result in run_examples(edition, beside)} == {"ok"}
