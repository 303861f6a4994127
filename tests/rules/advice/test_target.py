"""Advice on open targets: from the finding's own numbers, the same as the check computed on the day."""

from dataclasses import replace
from typing import Any

import pytest

from rules.advice.next_measurement import next_measurements
from rules.advice.stand import stand_move
from rules.advice.target import advice_for
from rules.judging import finding
from rules.quantities import Limit
from rules.science.target_advice import Stands
from rules.verdict import Finding, Outcome
from tests.rules.judged_target import outcome, stands
from tests.rules.science.test_pose import PLAN
from tests.rules.science.test_target_advice import LINE, SPARE, Z
from tests.rules.target_set import context, distances, lengths, others, set_up


def found(judged: Outcome, **fields: Any) -> Finding:
    own = context()
    return replace(finding(own.current, own.proof, judged, None), **fields)


def at(**where: float) -> Finding:
    return found(outcome(set_up(four=distances(stands(**where)))))


def test_the_worked_move_in_words() -> None:
    move = stand_move(Stands(x=3206.0005, y=-4.1547, turn_deg=-0.11997), 3200.0, LINE)
    assert move.words == (
        "move the stand 6.0 mm towards the car and 3.6 mm to the right, turn it 0.045 deg anticlockwise"
    )


def test_a_met_finding_has_no_advice() -> None:
    assert advice_for(found(outcome(set_up()))) is None


@pytest.mark.parametrize("aside", [7.0, 7.2, 7.8, 9.0, 12.0, 14.0, -7.4, -30.0])
def test_the_advice_is_what_the_finding_says(aside: float) -> None:
    item = at(aside=aside)
    advice = advice_for(item)
    assert advice is not None
    assert advice.sentence == item.outcome.change
    assert advice.move.to_right_mm == pytest.approx(aside, abs=1e-2)
    assert advice.open_quantities == ("sideways",)


def test_the_options_are_the_worked_table() -> None:
    advice = advice_for(at(aside=7.4))
    assert advice is not None
    table = {
        option.name: (zone.quantity, round(zone.u, 2), round(zone.accept_upper or 0.0, 2), option.minutes)
        for option in advice.options
        for zone in option.zones
        if zone.quantity == "sideways"
    }
    assert table == {
        "as_is": ("sideways", 1.95, 6.80, 0),
        "one_more_set": ("sideways", 1.47, 7.58, 3),
        "two_more_sets": ("sideways", 1.27, 7.90, 6),
        "three_more_sets": ("sideways", 1.16, 8.09, 9),
        # 7.18 with the rear marks' own distance, which nobody has measured here; taken as the front's.
        "other_axle": ("sideways", 1.72, 7.17, 8),
        "move_stand": ("sideways", 1.95, 6.80, 5),
    }
    assert [option.name for option in advice.options if option.settles] == [
        "one_more_set",
        "two_more_sets",
        "three_more_sets",
        "move_stand",
    ]


def test_the_same_table_on_data_alone() -> None:
    limit = Limit(lower=-10.0, upper=10.0, unit="mm", text="")
    options = next_measurements(PLAN, {"sideways": limit}, {"sideways": 7.4}, Z, SPARE)
    assert [round(option.zones[0].accept_upper or 0.0, 2) for option in options] == [
        6.80, 7.58, 7.90, 8.09, 7.18, 6.80,
    ]  # fmt: skip
    assert options[0].words == "leave it as it is"


def test_an_option_settles_only_if_it_settles_every_quantity() -> None:
    """Sideways 7.4 would be settled by a second set, but the distance is too far out for any."""
    advice = advice_for(at(aside=7.4, x=3214.5))
    assert advice is not None
    assert advice.open_quantities == ("distance", "sideways")
    assert [option.name for option in advice.options if option.settles] == ["move_stand"]
    assert advice.sentence.startswith("Move the stand 14.5 mm towards the car and 7.4 mm to the right")


def test_two_sets_on_record_count_as_two() -> None:
    twice = (*distances(stands(aside=8.0)), *distances(stands(aside=8.0), "10:24", 2))
    advice = advice_for(found(outcome(set_up(four=twice))))
    assert advice is not None
    sizes = {option.name: round(option.zones[1].u, 2) for option in advice.options}
    assert (sizes["as_is"], sizes["one_more_set"], sizes["two_more_sets"]) == (1.47, 1.27, 1.16)
    assert advice.sentence == "Measure the four distances twice more, or move the stand 8.0 mm to the right."


def test_a_target_too_low_is_to_be_raised() -> None:
    advice = advice_for(found(outcome(set_up(rest=others(1338.0, 0.0)))))
    assert advice is not None
    assert advice.move.raise_mm == pytest.approx(7.0)
    assert "raise the target 7.0 mm" in advice.move.words
    assert advice.open_quantities == ("height",)
    assert advice.sentence == "Raise the target 7.0 mm and read its height again."


@pytest.mark.parametrize(
    "readings",
    [
        (),
        set_up(four=distances((3213.0, 3505.0, 3494.0, 3210.0))),
        set_up(four=distances((3213.0, 3495.0, 3494.0))),
        set_up(sizes=lengths()[:1]),
    ],
)
def test_without_a_position_there_is_no_advice(readings: tuple[Any, ...]) -> None:
    judged = outcome(readings)
    assert judged.verdict == "not_shown"
    assert advice_for(found(judged)) is None


def test_without_a_thrust_line_there_is_advice_on_distance() -> None:
    judged = outcome(set_up(axle=(), four=distances(stands(x=3214.5))))
    advice = advice_for(found(judged))
    assert advice is not None
    assert advice.open_quantities == ("distance",)
    assert {zone.quantity for option in advice.options for zone in option.zones} == {"distance"}
    assert "14.5 mm towards the car" in advice.sentence


def test_other_findings_have_none() -> None:
    assert advice_for(found(outcome(()), check="tyre_pressures")) is None


def test_numbers_that_were_lost_give_no_advice() -> None:
    item = at(aside=7.4)
    for name in ("distance", "across_body", "bar_length", "tape_scale_u"):
        kept = tuple(number for number in item.outcome.numbers if number.name != name)
        assert advice_for(replace(item, outcome=replace(item.outcome, numbers=kept))) is None
    bare = tuple(number for number in item.outcome.numbers if not number.name.startswith("read_"))
    assert advice_for(replace(item, outcome=replace(item.outcome, numbers=bare))) is None
