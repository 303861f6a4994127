"""The method budgets of the invented world give the uncertainties that its instruments are said to have.

Typed to the step of the instrument, as it is read. The figures are the invented world's own.
"""

from pathlib import Path
from typing import Any

import pytest
import yaml

from rules.conformity import standard_uncertainty

WORLD: dict[str, Any] = yaml.safe_load(
    (Path(__file__).parents[3] / "fixtures" / "world.yaml").read_text(encoding="utf-8")
)
# Quantity, class of instrument, a value and the step it is typed to, standard uncertainty (k = 1).
EXPECTED = [
    ("tyre_pressure", "tyre_gauge", 240.0, 1.0, 1.4434),
    ("arch_height", "rule", 452.0, 1.0, 0.80),
    ("mat_dx", "tape", 4.0, 1.0, 1.06),
    ("mat_dy", "tape", 4.0, 1.0, 1.06),
    ("mat_turn", "angle_gauge", 0.1, 0.1, 0.05),
    ("point_along", "tape", -2500.0, 1.0, 1.06),
    ("point_across", "tape", 1100.0, 1.0, 1.06),
    ("point_height", "tape", 610.0, 1.0, 1.06),
    ("radar_face_angle", "angle_gauge", 90.0, 0.1, 0.05),
    ("bracket_angle", "angle_gauge", 35.0, 0.1, 0.05),
    ("bar_tilt", "angle_gauge", 0.1, 0.1, 0.05),
    ("seam_step", "", 4.0, 1.0, 0.50),
    ("film_build", "film_gauge", 150.0, 1.0, 3.5),
    ("floor_z", "level", 22.4, 0.1, 0.30),
    ("stand_floor_z", "level", -1.0, 1.0, 0.50),
    ("target_height", "tape", 1347.0, 1.0, 1.06),
    ("rear_toe_left", "alignment_rack", 0.2, 0.01, 0.010),
]


def u_of(quantity: str, cls: str, value: float, step: float) -> float:
    (budget,) = [
        item for item in WORLD["method_budgets"] if (item["quantity"], item["class"]) == (quantity, cls)
    ]
    names = ("u_fixed", "u_relative", "u_repeat", "resolution")
    fixed, relative, repeat, resolution = (float(budget[name]) for name in names)
    return standard_uncertainty(fixed, relative, repeat, resolution, step, value)


@pytest.mark.parametrize(("quantity", "cls", "value", "step", "u"), EXPECTED)
def test_the_budget_gives_the_uncertainty(
    quantity: str, cls: str, value: float, step: float, u: float
) -> None:
    assert u_of(quantity, cls, value, step) == pytest.approx(u, abs=5e-5)


@pytest.mark.parametrize("value", [400.0, 800.0, 2500.0])
def test_a_light_meter_is_known_to_four_percent(value: float) -> None:
    assert u_of("light_level", "light_meter", value, 1.0) == pytest.approx(0.04 * value, abs=5e-3)


def test_a_value_typed_coarser_than_the_instrument_is_known_coarser() -> None:
    # "35 psi" on a gauge that shows 1 kPa: one psi is 6.895 kPa, which adds 1.990 kPa.
    coarse = u_of("tyre_pressure", "tyre_gauge", 241.3, 6.894757)
    assert coarse == pytest.approx((1.4434**2 + 1.990**2) ** 0.5, abs=1e-3)
    # A height typed to the inch: 25.4 mm add 7.332 mm.
    assert u_of("arch_height", "rule", 457.2, 25.4) == pytest.approx((0.80**2 + 7.332**2) ** 0.5, abs=1e-3)
