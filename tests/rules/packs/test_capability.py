"""What a group's methods leave of each limit: against worked budgets, and at the edge of the possible."""

import math
from dataclasses import replace

import pytest

from rules.packs.capability import Capability, capabilities
from rules.packs.errors import PackError
from rules.packs.methods import Bench, GroupMethods, UnknownUncertaintyError
from rules.packs.methods_text import read_methods
from rules.packs.model import PackEdition, Proof
from rules.packs.reader import read_pack
from rules.quantities import parse_limit
from tests.rules.cast import pack
from tests.rules.packs.guide import FOLDER

TEXT = (FOLDER / "methods" / "brackwater.yaml").read_text(encoding="utf-8")
METHODS = read_methods(TEXT.encode())
Z = 1.645


def found(edition: PackEdition | None = None, methods: GroupMethods = METHODS) -> dict[str, Capability]:
    told = capabilities(edition or pack("orrinvale", 7), methods, Z)
    return {one.name.removeprefix("capability:"): one for one in told}


def u(name: str, place: str = "Eastmarch") -> float | None:
    return next(left.u for left in found()[name].places if left.place == place)


# Expected by hand. Tape between plumb marks: least squares of four readings at (3200, 0, 0), marks 1580 mm
# apart, bar 1200 mm, 0.85 mm each with 1.6e-4 in common, toe 0.010 deg per wheel over 3200 + 2760 mm:
# a worked example of the invented world (u 0.713 mm at 3206 mm, 1.95 mm, 0.0516 deg).
@pytest.mark.parametrize(
    ("name", "expected", "digits"),
    [
        ("OV-FC-STILL/target/distance", 0.713, 2),
        ("OV-FC-STILL/target/sideways", 1.95, 2),
        ("OV-FC-STILL/target/yaw", 0.0516, 4),
        ("OV-FC-STILL/target/height", math.hypot(1.06, 0.50), 6),
        ("standing_vehicle/height/across_axle", math.sqrt(2) * 0.80, 6),
        ("standing_vehicle/tyres/each", 1.4434, 6),
        ("standing_vehicle/thrust/limit", math.hypot(0.010, 0.010) / 2, 6),
        ("OV-FR-STILL/film/limit", 3.5 / math.sqrt(5), 6),
        ("standing_bay/floor/flatness", math.sqrt(2) * 0.3, 6),
        ("standing_bay/light/limit", 0.04 * 2500, 6),
        ("OV-SV-STILL/seams/limit", 0.5, 6),
    ],
)
def test_standard_uncertainties(name: str, expected: float, digits: int) -> None:
    value = u(name)
    assert value is not None
    assert round(value, digits) == round(expected, digits) or abs(value - expected) < 10**-digits


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("OV-FC-STILL/target/sideways", "your tape method leaves ±6.8 mm"),
        ("standing_vehicle/tyres/each", "placard ± 10 kPa: your tire gauge method leaves placard ±7.6 kPa"),
        ("standing_vehicle/height/across_axle", "leaves at most 6.1 mm"),
        ("OV-FR-STILL/film/limit", "film at most 180 um: your film gauge method leaves at most 177.4 um"),
        ("standing_vehicle/volts/limit", "leaves 12.025 V to 14.975 V"),
        # 4 % of each end of its own
        ("standing_bay/light/limit", "leaves 426.3 lx to 2335.5 lx"),
        ("OV-FC-STILL/target/height", "leaves 1338.9 mm to 1351.1 mm"),
    ],
)
def test_what_is_left_in_words(name: str, words: str) -> None:
    assert words in found()[name].text


def test_a_place_without_a_certified_rack_can_never_show_the_sideways_position() -> None:
    one = found()["OV-FC-STILL/target/sideways"]
    assert one.never
    assert one.line == 134
    assert one.text == (
        "OV-FC-STILL sideways 0 mm ± 10 mm: your tape method leaves ±6.8 mm; at Low Mill the rack is not "
        "certified for toe, thrust uncertainty unknown: this proof can never be met there"
    )
    assert not found()["OV-FC-STILL/target/distance"].never


def with_limit(argument: str, text: str) -> PackEdition:
    edition = pack("orrinvale", 7)
    camera = edition.procedure("OV-FC-STILL")
    assert camera is not None

    def changed(proof: Proof) -> Proof:
        return replace(proof, arguments={**proof.arguments, argument: parse_limit(text)})

    proofs = tuple(changed(proof) if proof.id == "target" else proof for proof in camera.proofs)
    return replace(edition, procedures=(replace(camera, proofs=proofs),))


def test_three_millimeters_cannot_be_shown_with_a_tape_and_it_says_why() -> None:
    one = found(with_limit("sideways", "0 mm ± 3 mm"))["OV-FC-STILL/target/sideways"]
    assert one.never
    assert (
        "your tape method leaves nothing: twice its guard, 6.4 mm, is more than the 6.0 mm allowed"
        in one.text
    )


@pytest.mark.parametrize(
    ("limit", "never"),
    [("0 mm ± 3.202 mm", True), ("0 mm ± 3.203 mm", False), ("at most 0 mm", False)],
)
def test_the_edge_of_the_possible(limit: str, never: bool) -> None:
    """z u = 1.645 x 1.946655 = 3.202247."""
    (eastmarch, _low_mill) = found(with_limit("sideways", limit))["OV-FC-STILL/target/sideways"].places
    assert eastmarch.never is never


@pytest.mark.parametrize(("limit", "never"), [("at most 1.8 mm", True), ("at most 1.9 mm", False)])
def test_a_size_cannot_be_below_zero(limit: str, never: bool) -> None:
    """Left against right: z u = 1.645 x 1.131371 = 1.861105; a difference of nothing must still be met."""
    edition = pack("orrinvale", 7)
    text = (FOLDER / "orrinvale.7.yaml").read_text(encoding="utf-8")
    text = text.replace(
        'rear: "461 mm ± 12 mm", across_axle: "at most 8 mm"',
        f'rear: "461 mm ± 12 mm", across_axle: "{limit}"',
    )
    assert edition.edition == 7
    assert found(read_pack(text.encode()))["standing_vehicle/height/across_axle"].never is never


def test_the_longest_car_of_the_procedure_counts() -> None:
    corran = found()["OV-FC-STILL/target/sideways"].places[0].u
    longer = TEXT.replace('model: Corran, wheelbase: "2760 mm"', 'model: Corran, wheelbase: "3760 mm"')
    other = TEXT.replace('model: Marrick, wheelbase: "3250 mm"', 'model: Marrick, wheelbase: "9250 mm"')
    assert corran is not None
    for text, grows in ((longer, True), (other, False)):
        now = found(methods=read_methods(text.encode()))["OV-FC-STILL/target/sideways"].places[0].u
        assert now is not None
        assert (now > corran) is grows


def test_values_compared_plainly_have_no_row() -> None:
    names = found()
    for name in (
        "OV-FC-STILL/learned/yaw",
        "OV-SAS/angle/limit",
        "OV-PK/park/limit",
        "OV-FC-ROAD/drive/speed",
    ):
        assert name not in names
    assert "standing_bay/light/brightest_over_darkest" not in names


def test_a_shared_limit_has_one_row_and_a_changed_one_its_own() -> None:
    heights = [name for name in found() if name.endswith("height/front")]
    assert heights == ["standing_vehicle/height/front", "OV-FC-STILL-THEN-ROAD/height/front"]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("  - {quantity: target_distance, instrument: tape, u: \"0.85 mm\", u_share: 0.00016}\n", "",
         "there is no method budget for target distance"),
        ("instrument: tape, certified_for: [target_distance, target_height,", "instrument: tape, certified_for: [target_height,",  # noqa: E501
         "the tape is not certified for target distance"),
        ("{tag: TM-014, instrument: tape", "{tag: TM-014, instrument: rule", "there is no tape"),
    ],
)  # fmt: skip
def test_why_nothing_is_known(old: str, new: str, words: str) -> None:
    methods = read_methods(TEXT.replace(old, new, 1).encode())
    bench = Bench(group=methods, place=methods.places[0])
    with pytest.raises(UnknownUncertaintyError) as told:
        bench.u("target_distance", 3200.0)
    assert str(told.value) == words


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("group: A\nmethods: []\nplaces: []\n", None),
        ("group: A\nplaces: []\n", "missing_key"),
        ('group: A\nmethods: [{quantity: toe, u: "1 deg"}]\nplaces: []\n', "unknown_word"),
        ('group: A\nmethods: [{quantity: rh, u: "1 deg"}]\nplaces: []\n', "unit_does_not_fit"),
        ('group: A\nmethods: [{quantity: bar_tilt, u: "-1 deg"}]\nplaces: []\n', "out_of_range"),
        ('group: A\nmethods: [{quantity: bar_tilt, u: "1 deg", u_share: 2}]\nplaces: []\n', "out_of_range"),
        ("group: A\nmethods: []\nplaces: [{code: EM, nam: B}]\n", "unknown_key"),
        ("group: [", "yaml_syntax"),
    ],
)
def test_the_methods_text_is_read_strictly(text: str, code: str | None) -> None:
    if code is None:
        assert read_methods(text.encode()).name == "A"
        return
    with pytest.raises(PackError) as caught:
        read_methods(text.encode())
    assert code in [fault.code for fault in caught.value.faults]
