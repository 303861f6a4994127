"""Which budget a reading gets."""

import math
from datetime import date

import pytest

from jobs.facts.uncertainty import Budgets, Typed
from tests.factories import MethodBudgetFactory
from tests.jobs.shop import Shop


@pytest.mark.parametrize(
    ("day", "u"),
    [
        (date(2023, 12, 31), None),
        # sqrt(1 + 1 + 1/12)
        (date(2024, 1, 1), 1.443376),
        (date(2026, 5, 31), 1.443376),
        # sqrt(4 + 1 + 1/12)
        (date(2026, 6, 1), 2.254625),
    ],
)
def test_the_latest_budget_in_force_counts(shop: Shop, day: date, u: float | None) -> None:
    MethodBudgetFactory.create(organisation=shop.organisation, u_fixed=2.0, valid_from=date(2026, 6, 1))
    typed = Typed(value=240.0, resolution=1.0)
    assert Budgets.on_file(day).of("tyre_pressure", "tyre_gauge", typed)[0] == u


def test_a_share_of_the_value_is_counted(shop: Shop) -> None:
    """A light meter of 4 %: 0.04 x 1000 lx."""
    MethodBudgetFactory.create(
        organisation=shop.organisation, quantity="light_level", instrument_class="light_meter",
        u_fixed=0.0, u_repeat=0.0, u_relative=0.04, resolution=0.0,
    )  # fmt: skip
    budgets = Budgets.on_file(shop.day)
    assert budgets.of("light_level", "light_meter", Typed(value=1000.0, resolution=0.0))[0] == 40.0


@pytest.mark.parametrize(
    ("quantity", "cls", "u"),
    [
        ("tyre_pressure", "", None),
        ("tyre_pressure", "tape", None),
        ("arch_height", "rule", None),
        ("learned_pitch", "", 0.0),
        ("odometer", "", 0.0),
        ("steering_angle", "scan_device", 0.0),
        ("steering_angle", "angle_gauge", None),
        ("seam_step", "", 0.5),
    ],
)
def test_no_budget_gives_none_and_never_zero(shop: Shop, quantity: str, cls: str, u: float | None) -> None:
    MethodBudgetFactory.create(
        organisation=shop.organisation, quantity="seam_step", instrument_class="",
        u_fixed=0.5, u_repeat=0.0, resolution=0.0,
    )  # fmt: skip
    budgets = Budgets.on_file(shop.day)
    assert budgets.of(quantity, cls, Typed(value=3.0, resolution=0.0))[0] == u


def test_the_shared_part_is_the_relative_one_and_is_in_u(shop: Shop) -> None:
    """A tape of 0.85 mm and 1.6e-4 of the reading, on 3213 mm: sqrt(0.85^2 + 0.514^2)."""
    MethodBudgetFactory.create(
        organisation=shop.organisation, quantity="target_distance", instrument_class="tape",
        u_fixed=0.799479, u_repeat=0.0, u_relative=1.6e-4, resolution=1.0,
    )  # fmt: skip
    budgets = Budgets.on_file(shop.day)
    assert budgets.common("target_distance", "tape") == 1.6e-4
    u, _ = budgets.of("target_distance", "tape", Typed(value=3213.0, resolution=1.0))
    assert u == pytest.approx(math.hypot(0.85, 1.6e-4 * 3213.0), abs=2e-6)


@pytest.mark.parametrize(
    ("quantity", "cls", "shared"),
    [("tyre_pressure", "tyre_gauge", 0.0), ("tyre_pressure", "tape", None), ("odometer", "", 0.0)],
)
def test_no_budget_has_no_known_shared_part(
    shop: Shop, quantity: str, cls: str, shared: float | None
) -> None:
    assert Budgets.on_file(shop.day).common(quantity, cls) == shared
