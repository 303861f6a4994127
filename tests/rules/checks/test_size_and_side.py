"""At most, of a quantity with a sign, is meant for its size: far on the other side is not within."""

from typing import Any

import pytest

from rules.checks.mats import mat_positions
from rules.checks.solved import decide_solved
from rules.checks.thrust import thrust_angle
from rules.checks.values import learned_aim, value
from rules.packs.signed import as_judged
from rules.quantities import parse_limit
from tests.rules.checks.standing import outcome, read, said
from tests.rules.checks.test_values import seams
from tests.rules.judged_target import at, number
from tests.rules.judged_target import outcome as posed
from tests.rules.target_set import STILL, context, distances, job, others, proof_of, set_up, toe


@pytest.mark.parametrize("step", [-20.0, -10.823, 20.0])
def test_a_seam_step_downwards_is_as_large_as_one_upwards(step: float) -> None:
    """Limit at most 10 mm, u 0.50, guard 0.8225."""
    assert said(outcome(value, "OV-SV-STILL/seams", *seams((3.0, step, 7.0, 4.0)))) == (
        "not_met",
        ("outside_limit",),
    )


@pytest.mark.parametrize(("step", "verdict"), [(-9.17, "met"), (-9.18, "not_shown"), (-10.82, "not_shown")])
def test_the_guard_holds_on_the_other_side_too(step: float, verdict: str) -> None:
    assert outcome(value, "OV-SV-STILL/seams", *seams((3.0, step, 7.0, 4.0))).verdict == verdict


@pytest.mark.parametrize(("left", "right"), [(1.0, -1.0), (-1.0, 1.0)])
def test_a_thrust_angle_to_either_side(left: float, right: float) -> None:
    facts = job(toe(left, right))
    found = thrust_angle(
        context(facts, STILL, "thrust", arguments={"limit": parse_limit("at most 0.15 deg")})
    )
    assert said(found) == ("not_met", ("outside_limit",))


@pytest.mark.parametrize(("name", "where"), [("sideways", {"aside": -40.0}), ("yaw", {"yaw_deg": -2.0})])
def test_a_target_off_to_either_side(name: str, where: dict[str, float]) -> None:
    wide: dict[str, Any] = {"sideways": parse_limit("0 mm ± 500 mm"), "yaw": parse_limit("0 deg ± 20 deg")}
    one_sided = {"sideways": "at most 10 mm", "yaw": "at most 0.4 deg"}[name]
    four = distances(
        tuple(number(at(**where), f"read_{place}").value for place in ("d_LL", "d_LR", "d_RL", "d_RR"))
    )
    found = posed(set_up(four=four), arguments={**wide, name: parse_limit(one_sided)})
    assert said(found) == ("not_met", ("outside_limit",))


def test_a_bar_tilted_to_either_side() -> None:
    limit = {"bar_tilt": parse_limit("at most 0.3 deg")}
    assert posed(set_up(rest=others(tilt=-1.5)), arguments=limit).verdict == "not_met"
    assert posed(set_up(rest=others(tilt=-0.1)), arguments=limit).verdict == "met"


def test_a_mat_turned_to_either_side() -> None:
    mats = [
        read(f"mat_{axis}", f"mats_{number}", amount, unit, 0.05 if axis == "turn" else 1.06)
        for number in range(1, 5)
        for axis, amount, unit in (("dx", 0.0, "mm"), ("dy", 0.0, "mm"), ("turn", -5.0, "deg"))
    ]
    found = outcome(
        mat_positions, "OV-SV-STILL/mats", *mats, arguments={"each_turn": parse_limit("at most 0.5 deg")}
    )
    assert said(found) == ("not_met", ("outside_limit",))


def test_a_learned_angle_to_either_side() -> None:
    readings = [
        read(f"learned_{axis}", "learned", amount, "deg", 0.0, "10:50", vehicle_shown=True)
        for axis, amount in (("yaw", -9.0), ("pitch", 0.1))
    ]
    found = outcome(
        learned_aim, "OV-FC-STILL/learned", *readings, arguments={"yaw": parse_limit("at most 1 deg")}
    )
    assert said(found) == ("not_met", ("outside_limit",))


def test_examples_inside_packs_are_judged_the_same_way() -> None:
    proof = proof_of("OV-SV-STILL", "seams")
    found = decide_solved(proof, {"value": (-20.0, "mm"), "u_value": (0.5, "mm")}, 1.645)
    assert found.verdict == "not_met"


def test_what_has_no_sign_and_what_has_a_lower_end_stays_as_it_is() -> None:
    flat = parse_limit("at most 8 mm")
    assert as_judged(proof_of(STILL, "floor"), "flatness", flat) == flat
    below = parse_limit("at most -2500 mm")
    assert as_judged(proof_of("OV-RC-STILL", "spot_l"), "along", below) == below
    both = parse_limit("0 deg ± 0.15 deg")
    assert as_judged(proof_of(STILL, "thrust"), "limit", both) == both
    open_ = as_judged(proof_of(STILL, "thrust"), "limit", parse_limit("less than 0.2 deg"))
    assert (open_.lower, open_.lower_included) == (-0.2, False)  # type: ignore[union-attr]
