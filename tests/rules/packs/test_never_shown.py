"""Proofs that no record can meet are told before the pack is in force."""

import pytest

from rules.packs.errors import Fault
from rules.packs.linter import lint
from rules.packs.reader import read_pack
from tests.rules.cast import pack
from tests.rules.packs.guide import RADAR_EXAMPLE
from tests.rules.packs.texts import line_of

TEXT = RADAR_EXAMPLE.read_text(encoding="utf-8")
UNMOVED = "check: statement, at: after_session, says: [nothing_moved"
COMPARED = "check: codes_compare, from: before_repair, to: final, scope: touched"


def told(text: str) -> list[Fault]:
    edition = read_pack(text.encode())
    return [fault for fault in lint(edition, (pack("common-practice", 3),)) if fault.code == "never_shown"]


def test_the_example_can_be_met() -> None:
    assert told(TEXT) == []


def test_what_ends_with_the_session_is_not_stated_before_it() -> None:
    assert UNMOVED in TEXT
    text = TEXT.replace(UNMOVED, UNMOVED.replace("at: after_session, ", ""))
    (fault,) = told(text)
    assert fault.line == line_of("id: unmoved", text)
    assert "TH-FR, unmoved" in fault.message
    assert "at: after_session" in fault.expected


@pytest.mark.parametrize(
    ("stage", "trips"),
    [("final", True), ("later", True), ("before_repair", False), ("before_calibration", False)],
)
def test_no_codes_looks_at_a_scan_before_the_session(stage: str, trips: bool) -> None:
    assert COMPARED in TEXT
    text = TEXT.replace(COMPARED, f"check: no_codes, module: front_radar, stage: {stage}")
    found = told(text)
    assert [fault.line for fault in found] == ([line_of("id: clean", text)] if trips else [])


def test_without_a_session_there_is_no_before() -> None:
    text = TEXT.replace(COMPARED, "check: no_codes, module: front_radar, stage: final")
    text = text.replace("    kind: static\n", "").replace(
        "    order: [before_scan, session_start, session_end, final_scan]\n", ""
    )
    assert told(text) == []


def test_each_of_several_ways_is_looked_at() -> None:
    one = next(line for line in TEXT.splitlines() if "id: zone" in line)
    several = """\
      - id: zone
        any_of:
          - {check: statement, says: [clear_zone_marked]}
          - {check: statement, says: [nothing_moved_from_set_up_to_session_end]}"""
    (fault,) = told(TEXT.replace(one, several))
    assert "TH-FR, zone" in fault.message
