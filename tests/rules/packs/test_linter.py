"""Each rule of the linter: a pack that trips it, and its neighbor that does not."""

import pytest

from rules.packs.errors import Fault
from rules.packs.linter import lint
from rules.packs.model import PackEdition
from rules.packs.reader import read_pack
from tests.rules.cast import pack
from tests.rules.packs.texts import BASE, changed, line_of

BESIDE = (pack("common-practice", 3),)


def read(text: str) -> PackEdition:
    return read_pack(text.encode())


def told(text: str, code: str) -> list[Fault]:
    found = [fault for fault in lint(read(text), BESIDE) if fault.code == code]
    assert all(fault.severity == "error" and fault.expected for fault in found)
    return found


@pytest.mark.parametrize(
    ("when", "trips"),
    [
        ("- fitted: front_radar", False),
        ("- {year: [2026, 2026]}", False),
        ("- {year: [2027, 2028]}", True),
        ("- none: [{operation: [bumper.front.refitted]}]", True),
        ("- none: [{operation: [hood.replaced]}]", False),
        ("- no_maker_pack: true", True),
        ("- {model: [Linnet]}", True),  # by_model has the Dray only
        ("- {model: [Dray]}", False),
        ('- built: {to: "2021-12-31"}', True),
        ('- built: {to: "2022-01-01"}', False),
    ],
)
def test_trigger_unreachable(when: str, trips: bool) -> None:
    found = told(changed("- fitted: front_radar", when), "trigger_unreachable")
    assert [fault.line for fault in found] == ([20] if trips else [])


def test_a_trigger_for_every_model_is_looked_at_too() -> None:
    text = changed("calls_for: {by_model: {Dray: KM-FR}}", "calls_for: KM-FR")
    assert told(text, "trigger_unreachable") == []
    never = changed("- fitted: front_radar", "- {year: [2027, 2028]}", text)
    assert [fault.line for fault in told(never, "trigger_unreachable")] == [20]


KINDS = ("static", "dynamic", "static_then_dynamic", "initialise")


@pytest.mark.parametrize(
    ("event", "kinds"),
    [
        ("before_scan", KINDS),
        ("session_end", KINDS),
        ("drive_start", ("dynamic", "static_then_dynamic")),
        ("still_end", ("static_then_dynamic",)),
        ("road_start", ("static_then_dynamic",)),
        ("target", ()),  # no target_pose here
        ("tyres", ()),  # dropped from the group
        ("volts", ()),  # a proof, but the record gives it no time
    ],
)
@pytest.mark.parametrize("kind", KINDS)
def test_order_unproduced(event: str, kinds: tuple[str, ...], kind: str) -> None:
    text = changed("order: [session_start, session_end]", f"order: [{event}, release]")
    text = changed("kind: static\n", f"kind: {kind}\n", text)
    found = told(text, "order_unproduced")
    assert [(fault.line, fault.found) for fault in found] == ([] if kind in kinds else [(44, event)])


def test_a_reading_set_that_a_proof_brings_may_stand_in_the_order() -> None:
    text = changed(
        "    drop: [tyres]\n", "", changed("[session_start, session_end]", "[tyres, session_start]")
    )
    assert told(text, "order_unproduced") == []


@pytest.mark.parametrize(
    ("proof", "trips"),
    [
        ('{id: more, check: within, from: session_start, to: session_end, limit: "at most 90 min"}', False),
        ('{id: more, check: within, from: drive_start, to: session_end, limit: "at most 90 min"}', True),
        ("{id: more, check: in_order, events: [before_scan, target]}", True),
        ("{id: more, check: ignition_unbroken, from: road_start, to: session_end}", True),
    ],
)
def test_events_of_proofs_are_looked_at_too(proof: str, trips: bool) -> None:
    text = changed("      - {id: lamps,", f"      - {proof}\n      - {{id: lamps,")
    assert [fault.line for fault in told(text, "order_unproduced")] == ([43] if trips else [])


@pytest.mark.parametrize(
    ("proof", "trips"),
    [
        ('{id: volts2, check: voltage_log, limit: "between 12 V and 15 V", longest_gap: "9 s"}', False),
        ('{id: volts2, check: voltage_log, limit: "between 12.000001 V and 15 V", longest_gap: "9 s"}', True),
        ('{id: tyres2, check: tyre_pressures, each: "placard ± 9 kPa"}', True),  # instead of the dropped one
        ('{id: tyres2, check: tyre_pressures, each: "placard ± 10 kPa"}', False),
        ('{id: step, check: value, of: seam_step, limit: "at most 3 mm"}', False),
    ],
)
def test_limit_contradicts_group(proof: str, trips: bool) -> None:
    text = changed("      - {id: lamps,", f"      - {proof}\n      - {{id: lamps,")
    assert [fault.line for fault in told(text, "limit_contradicts_group")] == ([43] if trips else [])


def test_readings_at_other_places_are_about_something_else() -> None:
    group = '    - {id: volts, check: voltage_log, limit: "between 12 V and 15 V", longest_gap: "10 s"}\n'
    seam = '    - {id: left, check: value, of: seam_step, place: left, limit: "at most 2 mm"}\n'
    text = changed(group, group + seam)
    own = '      - {id: other, check: value, of: seam_step, place: PLACE, limit: "at most 3 mm"}\n'
    lamps = "      - {id: lamps,"
    assert told(changed(lamps, own.replace("PLACE", "right") + lamps, text), "limit_contradicts_group") == []
    assert (
        len(told(changed(lamps, own.replace("PLACE", "left") + lamps, text), "limit_contradicts_group")) == 1
    )


def test_silence_counts_what_is_asked_not_what_is_excluded() -> None:
    """An operation under none asks for nothing; touched asks after every operation near the sensor."""
    excluded = changed(
        "- operation: [bumper.front.refitted]",
        "- operation: [bumper.front.refitted]\n        - none: [{operation: [bumper.front.repaired]}]",
    )
    silent = [fault.message for fault in told(excluded, "silence")]
    assert any("bumper.front.repaired" in words for words in silent)
    assert {fault.line for fault in told(BASE, "silence")} == {line_of("speaks_for")}
    touched = changed("- operation: [bumper.front.refitted]", "- touched: front_radar")
    assert told(touched, "silence") == []


def test_needed_and_not_needed() -> None:
    text = changed("operations: [hood.replaced]", "operations: [hood.replaced, bumper.front.refitted]")
    assert [fault.line for fault in told(text, "needed_and_not_needed")] == [18]
    assert told(BASE, "needed_and_not_needed") == []


def test_before_circle_over_two_triggers() -> None:
    second = """\
  - id: KM-T-2
    plain: "Hood"
    when: {operation: [hood.replaced]}
    calls_for: KM-2
    before: [KM-FR]
    cite: {source: CP}
groups:
"""
    procedure = """\
  - id: KM-2
    title: "Second"
    cite: {source: CP}
    proofs: [{id: done, check: step_list_signed}]
examples:
"""
    text = changed("groups:\n", second, changed("examples:\n", procedure))
    assert told(text, "before_circle") == []
    both = changed("    calls_for: {by_model", "    before: [KM-2]\n    calls_for: {by_model", text)
    assert [fault.line for fault in told(both, "before_circle")] == [20, 29]


def test_another_pack_s_fault_names_its_file_and_line() -> None:
    house = """\
pack: house
edition: 1
title: "House"
in_force: {from: "2026-04-01"}
covers: {makes: any}
house: yes
written_by: {name: "Perla Vantongeren", role: operations_manager, dated: "2026-03-01"}
approved_by: {name: "Dagny Pell", role: quality_reviewer, dated: "2026-03-02"}
sources: [{id: BW, kind: house_rule}]
procedures:
  - id: KM-FR
    title: "Front radar"
    cite: {source: BW}
    proofs: [{id: film, check: film_build, points: 5, zone: front_radar, limit: "at most 200 um"}]
"""
    (fault,) = [one for one in lint(read(BASE), (*BESIDE, read(house))) if one.code == "house_loosens"]
    assert fault.line == 1
    assert fault.message.startswith("house 1, line 14: ")
    (own,) = [one for one in lint(read(house), (*BESIDE, read(BASE))) if one.code == "house_loosens"]
    assert (own.line, own.found) == (14, "limit: at most 200 um")
    tight = changed("200 um", "180 um", house)
    assert [one for one in lint(read(tight), (*BESIDE, read(BASE))) if one.code == "house_loosens"] == []


def test_an_older_edition_of_the_same_pack_does_not_stand_beside_it() -> None:
    assert lint(pack("orrinvale", 8), (*BESIDE, pack("orrinvale", 7))) == ()
