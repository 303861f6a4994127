"""The thrust line against a vehicle maker's formula and the tangent."""

import json
import math
from pathlib import Path
from typing import Any

import pytest

from rules.science.thrust import ThrustLine, agrees_in_size, thrust_line

REFERENCE: dict[str, Any] = json.loads(
    (Path(__file__).parents[2] / "reference" / "thrust_and_angles.json").read_text(encoding="utf-8")
)


@pytest.mark.parametrize("case", REFERENCE["cases"])
def test_a_makers_formula_has_the_other_sign_and_the_same_size(case: dict[str, float]) -> None:
    """The text of that source counts a rear axle that points right as positive; here left is."""
    line = thrust_line(case["lr_toe_deg"], case["rr_toe_deg"], 0.01, 0.01)
    assert line.angle_deg == pytest.approx(-case["thrust_deg"], abs=1e-12)


@pytest.mark.parametrize("angle", sorted(REFERENCE["lateral_offset_mm"]))
def test_how_far_the_line_moves_aside(angle: str) -> None:
    line = ThrustLine(angle_deg=float(angle), u_deg=0.0)
    for metres, offset in REFERENCE["lateral_offset_mm"][angle].items():
        assert line.aside(float(metres) * 1000.0) == pytest.approx(offset, rel=1e-9)


def test_minutes_of_arc() -> None:
    """Left +15', right +5': 5'; left +15', right -5': 10' (a maker's service text, size only)."""
    assert abs(thrust_line(15 / 60, 5 / 60, 0, 0).angle_deg) == pytest.approx(5 / 60)
    assert abs(thrust_line(15 / 60, -5 / 60, 0, 0).angle_deg) == pytest.approx(10 / 60)


def test_worked_example() -> None:
    line = thrust_line(0.20, 0.05, 0.010, 0.010)
    assert line.angle_deg == pytest.approx(-0.075)
    assert round(line.u_deg, 4) == 0.0071
    assert round(line.aside(5960.0), 2) == -7.80
    assert round(ThrustLine(angle_deg=0.15, u_deg=0.0).aside(5960.0), 1) == 15.6


@pytest.mark.parametrize(
    ("printed", "agrees"),
    [(0.075, True), (-0.075, True), (0.095, True), (0.0951, False), (-0.055, True), (0.0549, False)],
)
def test_a_printout_agrees_in_size_to_two_hundredths(printed: float, agrees: bool) -> None:
    assert agrees_in_size(printed, -0.075, 0.02) is agrees


@pytest.mark.parametrize("numbers", [(math.nan, 0, 0, 0), (0, math.inf, 0, 0), (0, 0, -0.1, 0)])
def test_what_is_no_reading_gives_no_line(numbers: tuple[float, float, float, float]) -> None:
    with pytest.raises(ValueError, match=r"finite|negative"):
        thrust_line(*numbers)
