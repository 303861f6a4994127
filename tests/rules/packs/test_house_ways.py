"""House rules that ask for something else than the maker, or leave part of one of his ways unsaid."""

from dataclasses import replace

import pytest

from rules.packs.layering import layering_faults, loosenings, resolve
from rules.packs.model import PackEdition, Proof
from tests.rules.packs.test_layering import house, packs, proof_of

DRIVE = (
    '{check: drive_log, speed: "between 65 km/h and 110 km/h", total_time: "at least 600 s", '
    'time_is: mandatory, longest_gap: "3 s"%s}'
)
WHOLE = DRIVE % ', longest_stretch: "at least 120 s", turn_rate: "at most 5 deg/s", fresh_for: "4 h"'
PHOTO = "{check: photo_set, needs: [radar_zone]}"


def maker(text: str) -> PackEdition:
    return replace(house(text), pack="maker", house=False)


def effective(theirs: PackEdition, mine: PackEdition, proof_id: str) -> Proof:
    held = next(edition for edition in resolve((theirs, mine)) if edition.pack == "maker")
    return proof_of(held, proof_id)


def test_what_a_way_of_the_house_leaves_unsaid_is_still_asked() -> None:
    """A way that names fewer arguments must not drop the maker's longest stretch, nor its freshness."""
    theirs = maker(f"{{id: paint, any_of: [{WHOLE}, {PHOTO}]}}")
    mine = house(f"{{id: paint, any_of: [{DRIVE % ''}, {PHOTO}]}}")
    way = effective(theirs, mine, "paint").alternatives[0]
    asked = proof_of(theirs, "paint").alternatives[0]
    assert way.arguments == asked.arguments
    assert way.fresh_for_s == asked.fresh_for_s
    assert {"longest_stretch", "turn_rate"} <= set(way.arguments)


def test_a_way_that_tightens_one_argument_keeps_the_others() -> None:
    theirs = maker(f"{{id: paint, any_of: [{WHOLE}, {PHOTO}]}}")
    mine = house(f"{{id: paint, any_of: [{DRIVE.replace('600', '700') % ''}, {PHOTO}]}}")
    way = effective(theirs, mine, "paint").alternatives[0]
    total = way.arguments["total_time"]
    assert getattr(total, "lower", None) == 700.0
    assert "longest_stretch" in way.arguments


@pytest.mark.parametrize(
    ("proof", "key"),
    [
        ('{id: face, check: angle, of: radar_face_angle, each_of: [x], limit: "90 deg ± 1 deg"}', "each_of"),
        ('{id: turn, check: angle, of: radar_face_angle, place: x, limit: "90 deg ± 1 deg"}', "place"),
    ],
)  # fmt: skip
def test_another_place_is_no_tightening(proof: str, key: str) -> None:
    """The maker asks for the face at vertical; the house may not ask for it somewhere else instead."""
    own = ", place: vertical" if key == "each_of" else ""
    at = "face" if key == "each_of" else "turn"
    theirs = maker(f'{{id: {at}, check: angle, of: radar_face_angle{own}, limit: "90 deg ± 1 deg"}}')
    mine = house(proof)
    assert [name for name, _words in loosenings(mine.procedures[0].proofs[0], proof_of(theirs, at))] == [key]
    assert [fault.code for fault in layering_faults((theirs, mine))] == ["house_loosens"]
    assert effective(theirs, mine, at).arguments == proof_of(theirs, at).arguments


def test_another_line_to_measure_from_is_no_tightening() -> None:
    seven = packs()[1]
    target = proof_of(seven, "target")
    kept = {name: value for name, value in target.arguments.items() if name != "centred_on"}
    middle = replace(target, arguments=kept)
    assert "centred_on" in [name for name, _words in loosenings(target, middle)]
    assert loosenings(target, target) == ()


def test_between_two_ends_is_no_tightening_of_a_size() -> None:
    """ "At most 0.15 deg" of a thrust angle holds on both sides; "between -5 and 0.1" does not."""
    theirs = maker('{id: thrust, check: thrust_angle, limit: "at most 0.15 deg"}')
    for text, loose in (
        ("between -5 deg and 0.1 deg", True),
        ("0 deg ± 0.1 deg", False),
        ("at most 0.1 deg", False),
    ):
        mine = house(f'{{id: thrust, check: thrust_angle, limit: "{text}"}}')
        told = [fault.code for fault in layering_faults((theirs, mine))]
        assert told == (["house_loosens"] if loose else []), text
