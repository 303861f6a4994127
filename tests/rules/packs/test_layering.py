"""A house pack may only tighten; what it loosens is told, and never takes effect."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.packs.errors import Fault
from rules.packs.layering import decision_factor, is_tighter_limit, layering_faults, loosenings, resolve
from rules.packs.linter import lint
from rules.packs.model import PackEdition, Proof
from rules.packs.reader import read_pack
from rules.packs.signed import as_judged
from rules.quantities import Limit, parse_limit
from tests.rules.cast import pack, packs
from tests.rules.packs.texts import BASE, changed

HOUSE = """\
pack: brackwater
edition: 1
title: "House rules"
in_force: {from: "2026-04-01"}
covers: {makes: any}
house: yes
written_by: {name: "Perla Vantongeren", role: operations_manager, dated: "2026-03-01"}
approved_by: {name: "Dagny Pell", role: quality_reviewer, dated: "2026-03-02"}
sources:
  - {id: BW, kind: house_rule}
procedures:
  - id: OV-FC-STILL
    title: "Forward camera"
    cite: {source: BW}
    proofs:
      - PROOF
"""


def house(proof: str) -> PackEdition:
    return read_pack(HOUSE.replace("PROOF", proof).encode())


def proof_of(edition: PackEdition, proof_id: str, procedure_id: str = "OV-FC-STILL") -> Proof:
    procedure = edition.procedure(procedure_id)
    assert procedure is not None
    return next(proof for proof in procedure.proofs if proof.id == proof_id)


@pytest.mark.parametrize(
    ("inner", "outer", "inside"),
    [
        ("0 mm ± 9 mm", "0 mm ± 10 mm", True),
        ("0 mm ± 10 mm", "0 mm ± 10 mm", True),
        ("0 mm ± 10.000001 mm", "0 mm ± 10 mm", False),
        ("1 mm ± 9.5 mm", "0 mm ± 10 mm", False),
        ("at most 5 mm", "at most 8 mm", True),
        ("less than 8 mm", "at most 8 mm", True),
        ("at most 8 mm", "less than 8 mm", False),
        ("at least 8 mm", "more than 8 mm", False),
        ("more than 8 mm", "at least 8 mm", True),
        ("between 1 mm and 8 mm", "at most 8 mm", True),
        ("at most 8 mm", "between 1 mm and 8 mm", False),
        ("at least 600 s", "at least 10 min", True),
        ("at most 8 mm", "at most 8 deg", False),
        ("placard ± 8 kPa", "placard ± 10 kPa", True),
        ("placard ± 12 kPa", "placard ± 10 kPa", False),
        ("240 kPa ± 1 kPa", "placard ± 10 kPa", False),
        ("placard ± 1 kPa", "240 kPa ± 10 kPa", False),
    ],
)
def test_interval_containment(inner: str, outer: str, inside: bool) -> None:
    assert is_tighter_limit(parse_limit(inner), parse_limit(outer)) is inside


VOLTS = '{id: volts, check: voltage_log, limit: "between 12.4 V and 14.8 V", longest_gap: "10 s"'
TYRES = '{id: tyres, check: tyre_pressures, each: "placard ± 10 kPa"'


@pytest.mark.parametrize(
    ("proof", "loose"),
    [
        (VOLTS + "}", []),
        (VOLTS.replace("12.4", "11.9") + "}", ["limit"]),
        (VOLTS.replace("10 s", "11 s") + "}", ["longest_gap"]),
        (VOLTS + ', ignore_shorter_than: "1 s"}', []),
        (VOLTS + ', ignore_shorter_than: "3 s"}', ["ignore_shorter_than"]),
        (VOLTS + ", crank_windows: 1}", ["crank_windows"]),
        (VOLTS + ", waivable: yes, waive_role: quality_manager}", ["waivable"]),
        (TYRES + "}", []),
        (TYRES + ', fresh_for: "3 h"}', []),
        (TYRES + ', fresh_for: "5 h"}', ["fresh_for"]),
        (TYRES + ", broken_by: [wheel_removed, load_changed]}", []),
        (TYRES + ", broken_by: [load_changed]}", ["broken_by"]),
        (TYRES + ", earlier_visit: yes}", ["earlier_visit"]),
        ("{id: board, check: tool_result, says: completed}", ["check"]),
        ('{id: board, check: target_identity, number: "OV-TB-08"}', ["number"]),
        ("{id: codes0, check: no_codes, module: aimed_sensor, stage: before_calibration}", []),
        (
            "{id: codes0, check: no_codes, module: aimed_sensor, stage: before_calibration,"
            " allow: [C1A45-55]}",
            ["allow"],
        ),
        ("{id: unmoved, check: statement, says: [cargo_empty], at: after_session}", ["says"]),
        (
            "{id: unmoved, check: statement, at: after_session,"
            " says: [nothing_moved_from_set_up_to_session_end, cargo_empty]}",
            [],
        ),
    ],
)
def test_loosenings(proof: str, loose: list[str]) -> None:
    mine = house(proof)
    (own,) = mine.procedures[0].proofs
    assert [key for key, _words in loosenings(own, proof_of(packs()[1], own.id))] == loose
    told = layering_faults((*packs(), mine))
    assert [fault.code for fault in told] == ["house_loosens"] * len(loose)
    assert all(fault.line == own.line for fault in told)


def test_what_tightens_takes_effect_and_what_loosens_does_not() -> None:
    mine = house(VOLTS.replace("14.8", "15.2").replace("10 s", "5 s") + "}")
    merged = resolve((*packs(), mine))
    volts = proof_of(merged[1], "volts")
    assert volts.arguments["limit"] == proof_of(packs()[1], "volts").arguments["limit"]
    assert volts.arguments["longest_gap"] == 5.0
    assert volts.arguments["ignore_shorter_than"] == 2.0
    assert volts.group == "standing_vehicle"
    assert [edition.pack for edition in merged] == ["common-practice", "orrinvale", "brackwater"]
    assert merged[2].procedures == ()


def test_a_further_house_proof_is_added_at_the_end() -> None:
    merged = resolve((*packs(), house("{id: extra, check: photo_set, needs: [wide_bay]}")))
    procedure = merged[1].procedure("OV-FC-STILL")
    assert procedure is not None
    assert procedure.proofs[-1].id == "extra"
    assert len(procedure.proofs) == len(packs()[1].procedures[0].proofs) + 1


PARK = (
    "{id: park, check: value, of: parking_reading, each_of: [f1, f2, f3, f4, r1, r2, r3, r4],"
    ' limit: "500 mm ± 60 mm"'
)


@pytest.mark.parametrize(
    ("waiver", "role", "told"),
    [
        ("", None, []),
        (", waivable: yes, waive_role: quality_manager", "quality_manager", []),
        (", waivable: yes, waive_role: technician", None, ["house_loosens"]),
    ],
)
def test_a_waiver_survives_only_where_both_allow_it(waiver: str, role: str | None, told: list[str]) -> None:
    text = HOUSE.replace("OV-FC-STILL", "OV-PK").replace("PROOF", PARK + waiver + "}")
    mine = read_pack(text.encode())
    assert proof_of(resolve((*packs(), mine))[1], "park", "OV-PK").waive_role == role
    assert codes(layering_faults((*packs(), mine))) == told


def test_packs_without_a_house_stay_as_they_are() -> None:
    assert resolve(packs()) == packs()
    assert layering_faults(packs()) == ()


def test_the_largest_factor_holds() -> None:
    small = read_pack(BASE.encode())
    assert decision_factor(packs()) == 1.645
    assert decision_factor((*packs(), small)) == 1.96


def test_foundations() -> None:
    small = read_pack(BASE.encode())
    assert [fault.code for fault in layering_faults((small,))] == ["foundation_missing"]
    assert layering_faults((pack("common-practice", 3), small)) == ()
    older = replace(pack("common-practice", 3), edition=2)
    assert [fault.code for fault in layering_faults((older, small))] == ["foundation_missing"]


def codes(found: tuple[Fault, ...]) -> list[str]:
    return [fault.code for fault in found]


@pytest.mark.parametrize("edition", [7, 8])
def test_packs_on_file_are_silent_about_nothing(edition: int) -> None:
    assert lint(pack("orrinvale", edition), (pack("common-practice", 3),)) == ()
    assert lint(pack("common-practice", 3)) == ()


def test_silence_is_told_operation_by_operation() -> None:
    small = read_pack(BASE.encode())
    told = lint(small, (pack("common-practice", 3),))
    assert set(codes(told)) == {"silence"}
    assert any("bumper.front.repaired" in fault.message for fault in told)
    assert any("x.tow_bar.fitted" in fault.message for fault in told)
    assert not any(
        "bumper.front.refitted" in fault.message or "hood.replaced" in fault.message for fault in told
    )


def test_dropping_one_entry_of_the_maker_is_noticed() -> None:
    seven = pack("orrinvale", 7)
    mute = replace(seven, not_needed=seven.not_needed[:-1])
    told = lint(mute, (pack("common-practice", 3),))
    assert [(fault.code, "battery.disconnected" in fault.message) for fault in told] == [("silence", True)]


def test_needed_and_not_needed_at_once() -> None:
    text = changed(
        "operations: [hood.replaced], plain", "operations: [hood.replaced, bumper.front.refitted], plain"
    )
    assert "needed_and_not_needed" in codes(lint(read_pack(text.encode()), (pack("common-practice", 3),)))


def test_an_order_that_bites_its_tail() -> None:
    text = changed(
        "    calls_for: {by_model: {Dray: KM-FR}}\n", "    calls_for: KM-FR\n    before: [KM-FR]\n"
    )
    assert "before_circle" in codes(lint(read_pack(text.encode()), (pack("common-practice", 3),)))


# ------------------------------------------------------------------ never looser, whatever the house writes


ENDS = st.integers(-30, 30).map(float)


@st.composite
def limits(draw: st.DrawFn) -> Limit:
    low, high = sorted((draw(ENDS), draw(ENDS)))
    form = draw(st.sampled_from(["between", "at least", "at most", "more than", "less than", "exactly"]))
    if form == "between":
        return parse_limit(f"between {low:.0f} mm and {high:.0f} mm")
    return parse_limit(f"{form} {low:.0f} mm")


def takes(limit: Limit, value: float) -> bool:
    """Written here anew, from the words of the grammar."""
    above = limit.lower is None or value > limit.lower or (value == limit.lower and limit.lower_included)
    below = limit.upper is None or value < limit.upper or (value == limit.upper and limit.upper_included)
    return above and below


PROBES = [step / 2 for step in range(-80, 81)]


@settings(max_examples=400, deadline=None)
@given(limits(), limits())
def test_containment_is_what_it_says(inner: Limit, outer: Limit) -> None:
    contained = all(takes(outer, value) for value in PROBES if takes(inner, value))
    if is_tighter_limit(inner, outer):
        assert contained
    elif any(takes(inner, value) for value in PROBES):
        assert not contained


@settings(max_examples=200, deadline=None)
@given(limits(), limits())
def test_no_house_limit_ever_lets_more_through(mine: Limit, theirs: Limit) -> None:
    seven = pack("orrinvale", 7)
    camera = seven.procedure("OV-FC-STILL")
    assert camera is not None
    target = proof_of(seven, "target")
    maker_proof = replace(target, arguments={**target.arguments, "sideways": theirs})
    proofs = tuple(maker_proof if one.id == "target" else one for one in camera.proofs)
    maker = replace(seven, procedures=(replace(camera, proofs=proofs),))
    text = (
        '{id: target, check: target_pose, measured_from: front_axle_marks, bar_length: "1200 mm", '
        f'distance: "3200 mm ± 15 mm", sideways: "{mine.text}"}}'
    )
    rules = house(text)
    held = next(edition for edition in resolve((maker, rules)) if edition.pack == "orrinvale")
    effective = proof_of(held, "target").arguments["sideways"]
    assert isinstance(effective, Limit)
    for value in PROBES:
        assert takes(theirs, value) or not takes(effective, value)
    told = "house_loosens" in codes(layering_faults((maker, rules)))
    judged = [as_judged(maker_proof, "sideways", one) for one in (mine, theirs)]
    inner, outer = (one for one in judged if isinstance(one, Limit))
    assert told is not (is_tighter_limit(mine, theirs) and is_tighter_limit(inner, outer))
    for value in PROBES:
        held_limit = as_judged(maker_proof, "sideways", effective)
        assert isinstance(held_limit, Limit)
        assert takes(outer, value) or not takes(held_limit, value)


WAYS = (
    '{check: film_build, points: 5, zone: front_radar, limit: "at most 180 um"}',
    "{check: photo_set, needs: [radar_zone]}",
    "{check: statement, says: [bracket_undamaged]}",
)


@pytest.mark.parametrize(
    ("ways", "loose"),
    [
        (WAYS[:2], False),
        ((WAYS[0].replace("180", "170"), WAYS[1]), False),
        ((WAYS[0].replace("180", "190"), WAYS[1]), True),
        (WAYS, True),  # one way more asks for less
    ],
)
def test_ways_of_a_house(ways: tuple[str, ...], loose: bool) -> None:
    """The house may leave one of the maker's ways out or tighten it, and never add one."""
    maker = house(f"{{id: paint, any_of: [{', '.join(WAYS[:2])}]}}")
    maker = replace(maker, pack="maker", house=False)
    rules = house(f"{{id: paint, any_of: [{', '.join(ways)}]}}")
    told = [fault.code for fault in layering_faults((maker, rules))]
    assert told == (["house_loosens"] if loose else [])
    held = next(edition for edition in resolve((maker, rules)) if edition.pack == "maker")
    expected = maker if loose else rules
    assert proof_of(held, "paint").alternatives == proof_of(expected, "paint").alternatives
