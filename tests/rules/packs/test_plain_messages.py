"""Slips that somebody makes who has never programmed, and the words that tell what to mend."""

import pytest

from rules.packs.errors import Fault, PackError
from rules.packs.reader import read_pack
from tests.rules.packs.guide import RADAR_EXAMPLE
from tests.rules.packs.texts import line_of

TEXT = RADAR_EXAMPLE.read_text(encoding="utf-8")


def faults_of(old: str, new: str) -> tuple[Fault, ...]:
    assert old in TEXT
    with pytest.raises(PackError) as caught:
        read_pack(TEXT.replace(old, new, 1).encode())
    return caught.value.faults


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("      - {id: zone", "\t- {id: zone", "a tab stands here; indent with spaces only"),
        ("        - fitted: front", "       - fitted: front", "indented otherwise than what"),
        ('plain: "The radar stores C1A64-78,', "plain: The radar: stores C1A64-78,", "a colon too many"),
        (
            'title: "Front radar, standing still"',
            'title: "Front radar, standing still',
            "quotes above are not closed",
        ),
        ('plain: "The radar', "plain: @The radar", "must stand in quotes"),
        ("check: tool_result, says: completed,", "check: tool_result, says: [completed,", "is not closed"),
        ("calls_for: TH-FR\n", "calls_for TH-FR\n", "a key without a colon"),
        ('cite: {source: S-FR, section: "1.1"}', 'cite: {source: S-FR, section: "\\1"}', "a backslash"),
    ],
)
def test_what_is_wrong_with_the_form(old: str, new: str, words: str) -> None:
    (fault,) = faults_of(old, new)
    assert fault.code == "yaml_syntax"
    assert words in fault.message
    assert not any(jargon in fault.message for jargon in ("token", "mapping", "block", "scalar", "node"))


def test_a_bracket_left_open_names_the_line_on_which_it_was_opened() -> None:
    old = 'says: completed, cite: {source: S-FR, section: "6.1"}}'
    (fault,) = faults_of(old, old[:-1])
    assert f"opened on line {line_of('id: done', TEXT)} is not closed" in fault.message


@pytest.mark.parametrize("quotes", ["“1.5”", "„1.5“", "‘1.5’", "«1.5»"])
def test_quotes_of_a_word_processor_are_not_taken_for_text(quotes: str) -> None:
    (fault,) = faults_of('section: "1.5"', f"section: {quotes}")
    assert fault.code == "curly_quotes"
    assert "straight quotes" in fault.expected


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            "at most 180 um",
            "max 180 um",
            'TH-FR, paint: limit: "max 180 um" is not a limit; did you mean "at most',
        ),
        ("points: 5", 'points: "5"', 'TH-FR, paint: "points" must be a whole number, without quotes: 5'),
        ("placard ± 7 kPa", "placard ± 7 kpa", 'TH-FR, tires: each: "kpa" is not a unit'),
    ],
)
def test_a_fault_says_in_which_procedure_and_proof_it_stands(old: str, new: str, words: str) -> None:
    (fault,) = faults_of(old, new)
    assert words in fault.message
