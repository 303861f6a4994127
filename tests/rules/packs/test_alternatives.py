"""Reading a proof with several ways, and what may not stand among them."""

import pytest

from rules.packs.errors import PackError
from rules.packs.model import Proof
from rules.packs.reader import read_pack
from tests.rules.packs.texts import BASE, changed

FILM = '      - {id: film, check: film_build, points: 5, zone: front_radar, limit: "at most 180 um"}\n'
TWO = """\
      - id: film
        any_of:
          - {check: film_build, points: 5, zone: front_radar, limit: "at most 180 um"}
          - {check: photo_set, needs: [radar_zone], fresh_for: "2 h", cite: {source: CP}}
        waivable: yes
        waive_role: quality_manager
"""


def film(text: str) -> Proof:
    procedure = read_pack(changed(FILM, text).encode()).procedure("KM-FR")
    assert procedure is not None
    return next(proof for proof in procedure.proofs if proof.id == "film")


def codes(text: str) -> list[tuple[int, str]]:
    with pytest.raises(PackError) as caught:
        read_pack(changed(FILM, text).encode())
    return [(fault.line, fault.code) for fault in caught.value.faults]


def test_what_is_read() -> None:
    proof = film(TWO)
    assert (proof.check, proof.arguments, proof.waivable, proof.waive_role) == (
        "any_of", {}, True, "quality_manager",
    )  # fmt: skip
    first, second = proof.alternatives
    assert [way.id for way in (first, second)] == ["film", "film"]
    assert (first.check, first.arguments["points"], first.line) == ("film_build", 5, 44)
    assert first.cite.text == "KM-1, edition 2026-01, 3"
    assert (second.check, second.fresh_for_s, second.cite.text) == (
        "photo_set", 7200.0, "common practice, no source",
    )  # fmt: skip


PHOTO = "photo_set, needs: [radar_zone]"


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("check: photo_set", "check: photo_sets", (45, "unknown_word")),
        ("needs: [radar_zone],", "", (45, "missing_key")),
        ("points: 5", "pints: 5", (44, "unknown_key")),
        ('"at most 180 um"', '"at most 180 mm"', (44, "unit_does_not_fit")),
        ("{check: photo_set", "{id: a, check: photo_set", (45, "unknown_key")),
        (PHOTO, "adhesive_ready, before: [release]", (45, "alternative_not_allowed")),
        (PHOTO, "equipment_valid", (45, "alternative_not_allowed")),
        (PHOTO, "people_qualified", (45, "alternative_not_allowed")),
        (PHOTO, "in_order, events: [release]", (45, "alternative_not_allowed")),
        ("        waive_role: quality_manager\n", "", (46, "waive_role_missing")),
        ("        waivable: yes\n", "        fresh_for: \"4 h\"\n", (46, "unknown_key")),
        ("      - id: film\n", "      - id: film\n        check: film_build\n", (43, "unknown_key")),
    ],
)  # fmt: skip
def test_faults_have_their_line(old: str, new: str, fault: tuple[int, str]) -> None:
    assert fault in codes(changed(old, new, TWO))


def test_one_way_is_no_choice_and_two_alike_are_one() -> None:
    one = changed(TWO.splitlines(keepends=True)[3], "", TWO)
    assert (43, "alternatives_form") in codes(one)
    lines = TWO.splitlines(keepends=True)
    assert (45, "alternatives_form") in codes("".join([*lines[:3], lines[2], *lines[4:]]))


def test_the_word_is_no_check() -> None:
    assert (42, "unknown_word") in codes("      - {id: film, check: any_of}\n")


def test_a_group_may_share_one_and_a_procedure_may_change_it() -> None:
    shared = "    - {id: volts, check: voltage_log"
    way = '    - {id: paint, any_of: [{check: film_build, points: 5, zone: front_radar, limit: "at most 180 um"}, {check: photo_set, needs: [radar_zone]}]}\n'  # noqa: E501
    text = changed(shared, way + shared)
    other = '{volts: {longest_gap: "5 s"}, paint: {waivable: yes, waive_role: quality_manager}}'
    text = changed('{volts: {longest_gap: "5 s"}}', other, text)
    procedure = read_pack(text.encode()).procedure("KM-FR")
    assert procedure is not None
    paint = next(proof for proof in procedure.proofs if proof.id == "paint")
    assert (len(paint.alternatives), paint.waivable, paint.group) == (2, True, "shared")
    assert {one.group for one in paint.alternatives} == {"shared"}


def test_the_base_has_none() -> None:
    assert all(not proof.alternatives for one in read_pack(BASE.encode()).procedures for proof in one.proofs)
