"""Strict reading of packs: what is read, and every malformed case with its line and code."""

from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.packs.errors import Fault, PackError
from rules.packs.model import PackEdition
from rules.packs.reader import MAX_BYTES, read_pack
from rules.quantities import Limit
from tests.rules.packs.texts import BASE, changed, line_of

PACKS = sorted((Path(__file__).parents[3] / "fixtures" / "packs").glob("*.yaml"))


def faults(text: str | bytes) -> list[tuple[int, str]]:
    data = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(PackError) as caught:
        read_pack(data)
    assert list(caught.value.faults) == sorted(caught.value.faults)
    assert all(fault.message for fault in caught.value.faults)
    return [(fault.line, fault.code) for fault in caught.value.faults]


def read_or_faults(data: bytes) -> PackEdition | tuple[Fault, ...]:
    try:
        return read_pack(data)
    except PackError as error:
        return error.faults


def read(text: str) -> PackEdition:
    return read_pack(text.encode())


@pytest.mark.parametrize("path", PACKS, ids=lambda path: path.name)
def test_every_pack_on_file_is_read(path: Path) -> None:
    edition = read_pack(path.read_bytes(), name=path.name)
    assert path.name == f"{edition.pack}.{edition.edition}.yaml"
    assert edition.triggers
    assert edition.procedures
    assert edition.examples


def test_three_packs_are_on_file() -> None:
    assert [path.name for path in PACKS] == [
        "common-practice.3.yaml",
        "orrinvale.7.yaml",
        "orrinvale.8.yaml",
    ]


def test_what_is_read() -> None:
    edition = read(BASE)
    assert (edition.pack, edition.edition, edition.in_force_from) == ("kestmoor", 2, date(2026, 4, 1))
    assert (edition.makes, edition.model_years) == (("Kestmoor",), (2024, 2026))
    assert edition.builds_on == (("common-practice", 3),)
    assert edition.replaces == ("kestmoor", 1)
    assert edition.z == 1.96
    assert edition.depends_on == {"front_radar": ("brake",)}
    assert edition.zones == {"x.tow_bar.fitted": ("front_radar",), "hood.replaced": ()}
    assert edition.is_maker
    assert not edition.keep_plan_edition
    procedure = edition.procedure("KM-FR")
    assert procedure is not None
    assert procedure.refusable
    assert [proof.id for proof in procedure.proofs] == ["volts", "done", "film", "lamps"]
    volts, done, film, lamps = procedure.proofs
    assert volts.group == "shared"
    assert volts.arguments["longest_gap"] == 5.0
    assert isinstance(volts.arguments["limit"], Limit)
    assert volts.arguments["limit"].lower == 12.0
    assert (done.waivable, done.waive_role, done.group) == (True, "quality_manager", None)
    assert not film.waivable
    assert film.arguments["points"] == 5
    assert film.cite.text == "KM-1, edition 2026-01, 3"
    assert lamps.arguments["after"] == (("radar_fault", "unlit"),)


def test_a_change_replaces_only_what_it_names() -> None:
    edition = next(read_pack(path.read_bytes()) for path in PACKS if path.name == "orrinvale.7.yaml")
    both = edition.procedure("OV-FC-STILL-THEN-ROAD")
    assert both is not None
    height = next(proof for proof in both.proofs if proof.id == "height")
    front, across = height.arguments["front"], height.arguments["across_axle"]
    assert isinstance(front, Limit)
    assert isinstance(across, Limit)
    assert (front.lower, front.upper, across.upper) == (464.0, 492.0, 8.0)
    assert height.broken_by == ("vehicle_lifted", "load_changed")
    assert height.fresh_for_s == 14400.0
    assert height.cite.section == "2.3"
    text = both.proofs[0]
    assert (text.id, text.arguments["looked_up_within"]) == ("text_current", 7 * 86400.0)
    thrust = next(proof for proof in both.proofs if proof.id == "thrust")
    assert thrust.fresh_for_s == 30 * 86400.0
    floor = next(proof for proof in both.proofs if proof.id == "floor")
    assert floor.arguments["not_older_than"] == 12.0
    radar = edition.procedure("OV-FR-STILL")
    assert radar is not None
    assert "light" not in [proof.id for proof in radar.proofs]
    codes = next(proof for proof in radar.proofs if proof.id == "codes0")
    assert codes.arguments == {
        "module": "aimed_sensor",
        "stage": "before_calibration",
        "allow": ("C1B02-54",),
    }


def test_hash_is_of_the_exact_bytes() -> None:
    assert read(BASE).sha256 != read(BASE + "\n").sha256


@pytest.mark.parametrize("word", ["yes", "no", "on", "off", "y", "n"])
def test_words_stay_words_as_keys_and_values(word: str) -> None:
    text = changed("calls_for: {by_model: {Dray: KM-FR}}", f"calls_for: {{by_model: {{{word}: KM-FR}}}}")
    assert read(text).triggers[0].by_model == ((word, "KM-FR"),)
    assert read(changed('title: "Kestmoor vehicles"', f"title: {word}")).title == word


ONE_FAULT = [
    # the YAML itself
    ("edition: 2\n", "edition: 2\nedition: 3\n", 3, "duplicate_key"),
    ("decision: {z: 1.96}", "decision: {z: 1.96, z: 1.96}", 13, "duplicate_key"),
    ("{radar_fault: unlit}", "{radar_fault: unlit, radar_fault: lit}", 43, "duplicate_key"),
    ('title: "Kestmoor vehicles"', "title: &t Kestmoor", 3, "anchor_or_alias"),
    ('title: "Kestmoor vehicles"', "title: !!str Kestmoor", 3, "tag"),
    ('title: "Kestmoor vehicles"', "title: ! Kestmoor", 3, "tag"),
    ('{from: "2026-04-01"}', "{from: 2026-04-01}", 4, "date_unquoted"),
    ('{from: "2026-04-01"}', '{from: "2026-4-1"}', 4, "date_invalid"),
    ('{from: "2026-04-01"}', '{from: "2026-02-30"}', 4, "date_invalid"),
    ('title: "Kestmoor vehicles"', "title:", 3, "empty_value"),
    ('title: "Kestmoor vehicles"', 'title: " "', 3, "empty_value"),
    # keys and words
    ('title: "Kestmoor vehicles"', 'titel: "Kestmoor vehicles"', 3, "unknown_key"),
    ("speaks_for: [front_radar]", "speaks_for: [front_radr]", 14, "unknown_word"),
    ("speaks_for: [front_radar]", "speaks_for: [front_radar, front_radar]", 14, "duplicate_word"),
    ("speaks_for: [front_radar]", "speaks_for: front_radar", 14, "wrong_type"),
    ("speaks_for: [front_radar]", "speaks_for: []", 14, "empty_value"),
    ("edition: 2\n", 'edition: "2"\n', 2, "wrong_type"),
    ("edition: 2\n", "edition: 0\n", 2, "out_of_range"),
    ("edition: 2\n", "edition: 2.0\n", 2, "wrong_type"),
    ("edition: 2\n", "edition: true\n", 2, "wrong_type"),
    ('title: "Kestmoor vehicles"', "title: 12", 3, "wrong_type"),
    ('title: "Kestmoor vehicles"', "title: [a]", 3, "wrong_type"),
    ('{from: "2026-04-01"}', '{from: "2026-04-01", until: "2026-05-01"}', 4, "end_in_text"),
    ("edition: at_least 3", "edition: 3", 6, "wrong_type"),
    ("edition: at_least 3", "edition: from 3", 6, "edition_form"),
    ("replaces: {pack: kestmoor, edition: 1}", "replaces: {pack: kestmoor, edition: 2}", 7, "edition_order"),
    ("model_years: [2024, 2026]", "model_years: [2026, 2024]", 5, "range_reversed"),
    ("model_years: [2024, 2026]", "model_years: [2024]", 5, "wrong_type"),
    ("model_years: [2024, 2026]", "model_years: [24, 26]", 5, "out_of_range"),
    ("decision: {z: 1.96}", "decision: {z: 0.1}", 13, "out_of_range"),
    ("decision: {z: 1.96}", "decision: {z: .inf}", 13, "wrong_type"),
    ("role: quality_reviewer", "role: reviewer", 9, "unknown_word"),
    # sources and citations
    ("kind: common_practice}", "kind: hearsay}", 12, "unknown_word"),
    ('retrieved: "2026-02-01", ', "", 11, "missing_key"),
    ("{id: CP, kind", "{id: S-1, kind", 12, "duplicate_id"),
    ('    cite: {source: S-1, section: "1.1"}\n', "", 20, "citation_missing"),
    ('cite: {source: S-1, section: "1.1"}', 'cite: {source: S-9, section: "1.1"}', 27, "unknown_source"),
    ('section: "1.1"}', "section: 1.1}", 27, "wrong_type"),
    # triggers
    ("- fitted: front_radar", "- fitted: front_radr", 24, "unknown_word"),
    ("- fitted: front_radar", "- fited: front_radar", 24, "unknown_key"),
    ("- operation: [bumper.front.refitted]", "- operation: [bumper.front.refited]", 25, "unknown_word"),
    ("- fitted: front_radar", "- {fitted: front_radar, always: true}", 24, "condition_form"),
    ("- fitted: front_radar", "- always: yes", 24, "true_or_false"),
    ("- fitted: front_radar", "- always: false", 24, "condition_form"),
    ("- fitted: front_radar", "- any: []", 24, "condition_form"),
    ("- fitted: front_radar", "- code_seen: {module: front_radar, codes: [X1]}", 24, "code_form"),
    ("- fitted: front_radar", "- code_seen: {module: radar, codes: [C1B02-54]}", 24, "unknown_word"),
    ("- fitted: front_radar", "- year: [2026]", 24, "wrong_type"),
    ("- fitted: front_radar", "- built: {}", 24, "missing_key"),
    ("- fitted: front_radar", '- built: {from: "2026-02-01", to: "2026-01-01"}', 24, "range_reversed"),
    # procedures and proofs
    ("check: tool_result,", "check: tool_results,", 41, "unknown_word"),
    ("waivable: yes, waive_role: quality_manager", "waivable: true", 41, "yes_or_no"),
    ("waivable: yes, waive_role: quality_manager", "waivable: maybe", 41, "yes_or_no"),
    ("waivable: yes, waive_role: quality_manager", "waivable: yes", 41, "waive_role_missing"),
    ("waivable: yes, waive_role: quality_manager", "waive_role: quality_manager", 41, "waive_role_misplaced"),
    ("says: completed, ", "", 41, "missing_key"),
    ("says: completed,", "says: complete,", 41, "unknown_word"),
    ("says: completed,", "says: completed, part: road,", 41, "part_misplaced"),
    ("says: completed,", "says: completed, limit: 3,", 41, "unknown_key"),
    ("{id: film, check", "{id: done, check", 42, "duplicate_id"),
    ('limit: "at most 180 um"', 'limit: "at most 180"', 42, "unit_missing"),
    ('limit: "at most 180 um"', 'limit: "at most 0.18 mm"', 42, "unit_does_not_fit"),
    ('limit: "at most 180 um"', "limit: 180", 42, "wrong_type"),
    ('limit: "at most 180 um"', 'limit: "placard ± 3 um"', 42, "placard_misplaced"),
    ("points: 5,", "points: 0,", 42, "out_of_range"),
    ("{radar_fault: unlit}", "{radar_fault: of}", 43, "unknown_word"),
    ("{radar_fault: unlit}", "{radar_falt: unlit}", 43, "unknown_key"),
    (", after: {radar_fault: unlit}", "", 43, "missing_key"),
    ('each: "placard ± 10 kPa"', 'each: "placard ± 10 mm"', 30, "unit_does_not_fit"),
    ('fresh_for: "4 h"', 'fresh_for: "4"', 30, "unit_missing"),
    ('fresh_for: "4 h"', 'fresh_for: "4 mm"', 30, "unit_does_not_fit"),
    ("broken_by: [wheel_removed]", "broken_by: [wheel_off]", 30, "unknown_word"),
    ('{longest_gap: "5 s"}', '{longest_gap: "5 mm"}', 38, "unit_does_not_fit"),
    ('{longest_gap: "5 s"}', '{longest_gab: "5 s"}', 38, "unknown_key"),
    ('{longest_gap: "5 s"}', "{check: drive_log}", 38, "unknown_key"),
    ("change: {volts:", "change: {volt:", 38, "unknown_proof"),
    ("drop: [tyres]", "drop: [tires]", 39, "unknown_proof"),
    ("drop: [tyres]", "drop: [tyres, volts]", 38, "changed_and_dropped"),
    ("use: [shared]", "use: [shared, unshared]", 37, "unknown_word"),
    ("order: [session_start,", "order: [sesion_start,", 44, "unknown_event"),
    # examples
    ("{front_radar: yes}", "{front_radar: true}", 48, "unknown_word"),
    ("{front_radar: yes}", "{front_radar: maybe}", 48, "unknown_word"),
    ("operations_closed: true", "operations_closed: yes", 48, "true_or_false"),
    ("operations: [bumper.front.refitted]", "operations: [bumper.refitted]", 48, "unknown_word"),
    ("expect: {required: [KM-FR]}", "expect: {}", 49, "empty_value"),
    ("expect: {required: [KM-FR]}", "expect: {requires: [KM-FR]}", 49, "unknown_key"),
    ("expect: {required: [KM-FR]}", "expect: {verdict: okay}", 49, "unknown_word"),
]


@pytest.mark.parametrize(("old", "new", "line", "code"), ONE_FAULT)
def test_one_fault_with_its_line(old: str, new: str, line: int, code: str) -> None:
    found = faults(changed(old, new))
    assert (line, code) in found
    # A fault may entail that something is missing or unreachable elsewhere, but never hides behind that.
    entailed = {"missing_key", "unknown_event", "unknown_proof", "empty_value", "procedure_unreachable"}
    entailed |= {"example_form"}
    assert {other for place, other in found if (place, other) != (line, code)} <= entailed


def test_did_you_mean() -> None:
    with pytest.raises(PackError, match='did you mean "front_radar"'):
        read(changed("speaks_for: [front_radar]", "speaks_for: [front_radr]"))
    with pytest.raises(PackError, match='did you mean "title"'):
        read(changed('title: "Kestmoor vehicles"', 'titel: "Kestmoor vehicles"'))


def test_every_fault_is_told_not_only_the_first() -> None:
    text = BASE
    for old, new in (
        ("pack: kestmoor\n", "pack: kestmoor\npack: other\n"),
        ("speaks_for: [front_radar]", "speaks_for: [front_radr]"),
        ('limit: "at most 180 um"', 'limit: "at most 180"'),
        ("drop: [tyres]", "drop: [tires]"),
    ):
        text = changed(old, new, text)
    assert faults(text) == [
        (2, "duplicate_key"),
        (line_of("front_radr", text), "unknown_word"),
        (line_of("tires", text), "unknown_proof"),
        (line_of('"at most 180"', text), "unit_missing"),
    ]


def test_unknown_procedure_and_unreachable_one() -> None:
    text = changed("{by_model: {Dray: KM-FR}}", "{by_model: {Dray: KM-RF}}")
    assert faults(text) == [(26, "unknown_procedure"), (33, "procedure_unreachable")]


def test_glass_readiness_is_neither_waived_nor_refused() -> None:
    ready = "{id: done, check: adhesive_ready, before: [release], waivable: yes, waive_role: quality_manager}"
    old = "{id: done, check: tool_result, says: completed, waivable: yes, waive_role: quality_manager}"
    assert faults(changed(old, ready)) == [(41, "not_waivable"), (45, "not_refusable")]


def test_an_alias_is_refused_where_it_stands() -> None:
    text = changed("sensors: [front_radar], operations", "sensors: &s [front_radar], operations")
    text = changed("speaks_for: [front_radar]", "speaks_for: *s", text)
    assert (14, "anchor_or_alias") in faults(text)
    assert (18, "anchor_or_alias") in faults(text)


@pytest.mark.parametrize(
    ("text", "line", "code"),
    [
        ("", 1, "wrong_type"),
        ("just words", 1, "wrong_type"),
        ("[a, b]", 1, "wrong_type"),
        ("pack: a\n\tedition: 2", 2, "yaml_syntax"),
        ("pack: a\nedition: [1, 2", 2, "yaml_syntax"),
        ("pack: a\n---\npack: b", 2, "several_documents"),
        ("%YAML 1.1\n---\npack: a", 1, "directive"),
        ("pack: a\n? [x, y]\n: 3", 2, "key_not_text"),
        ('pack: "\\UFFFFFFFF"', 1, "yaml_syntax"),
        ('pack: a\ntitle: "\\ud800"', 2, "yaml_syntax"),
        ("pack: a\ntitle: \x01", 2, "yaml_syntax"),
        ("pack: " + "[" * 100_000, 1, "too_deep"),
        ("pack: " + "{a: " * 1000, 1, "too_deep"),
        ("a: [" + "[b], " * 1001 + "]", 1, "too_many_values"),
        ("".join(f"k{n}: 1\n" for n in range(1001)), 1001, "too_many_values"),
        ("- [" + "b, " * 900 + "]\n" + ("- [" + "b, " * 900 + "]\n") * 50, 45, "too_many_values"),
        ("#" * (MAX_BYTES + 1), 1, "too_large"),
    ],
)
def test_texts_that_cannot_be_read_on(text: str, line: int, code: str) -> None:
    assert (line, code) in faults(text)


def test_bytes_that_are_no_text() -> None:
    assert faults(b"pack: a\ntitle: \xff") == [(2, "not_utf8")]


def test_a_cut_pack_never_reads_as_a_whole_one() -> None:
    data = PACKS[1].read_bytes()
    whole = read_pack(data)
    for cut in range(200, len(data), 997):
        part = read_or_faults(data[:cut])
        if isinstance(part, PackEdition):
            assert part.sha256 != whole.sha256
            assert len(part.procedures) <= len(whole.procedures)
        else:
            assert part


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(BASE) - 1), st.sampled_from(list("{}[]:,&*!|>'\"%@`#-?\n\t 0x\u00e9")))
def test_any_one_character_is_read_or_refused_with_a_line(place: int, character: str) -> None:
    text = BASE[:place] + character + BASE[place + 1 :]
    found = read_or_faults(text.encode())
    if not isinstance(found, PackEdition):
        assert found
        assert all(1 <= fault.line <= text.count("\n") + 2 for fault in found)


# ------------------------------------------------------------------ what every fault says


@pytest.mark.parametrize(("old", "new", "line", "code"), ONE_FAULT)
def test_every_fault_says_what_was_expected_and_what_was_found(
    old: str, new: str, line: int, code: str
) -> None:
    found = read_or_faults(changed(old, new).encode())
    assert not isinstance(found, PackEdition)
    for fault in found:
        assert fault.expected, fault
        assert fault.found, fault
        assert "\n" not in fault.found
        assert fault.told("a.yaml").startswith(f"a.yaml:{fault.line}: ")
    assert (line, code) in [(fault.line, fault.code) for fault in found]


def test_expected_and_found_by_example() -> None:
    found = read_or_faults(changed("speaks_for: [front_radar]", "speaks_for: [front_radr]").encode())
    assert not isinstance(found, PackEdition)
    (fault,) = found
    assert fault.told("kestmoor.2.yaml") == (
        'kestmoor.2.yaml:14: pack: "front_radr" is not known as "speaks_for"; did you mean "front_radar"? '
        "[unknown_word]\n"
        "    expected: one of forward_camera, front_radar, front_corner_radar, rear_corner_radar, "
        "surround_cameras, rear_camera and 7 more\n"
        "    found: front_radr"
    )


@pytest.mark.parametrize(
    ("old", "new", "line", "code"),
    [
        ('change: {volts: {longest_gap: "5 s"}}', "change: {volts: {}}", 38, "empty_value"),
        ('change: {volts: {longest_gap: "5 s"}}', "change: {volts: 5}", 38, "wrong_type"),
        ('change: {volts: {longest_gap: "5 s"}}', "change: {volts: {id: other}}", 38, "unknown_key"),
        ("    use: [shared]\n    change:", "    change:", 37, "unknown_proof"),
        ("    - {id: volts, check: voltage_log", "    - {id: tyres, check: voltage_log", 31, "duplicate_id"),
        ("procedures:\n", "  spare: [{id: a, check: equipment_valid}]\nprocedures:\n", 32, "group_unused"),
    ],
)
def test_groups_and_changes(old: str, new: str, line: int, code: str) -> None:
    assert (line, code) in faults(changed(old, new))
