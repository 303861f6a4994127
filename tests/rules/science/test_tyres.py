"""Warm tyres brought to ambient temperature: the worked example and its uncertainty."""

import math

import pytest

from rules.conformity import decide
from rules.science.tyres import Measured, cold_pressure


def test_worked_example() -> None:
    cold = cold_pressure(
        Measured(value=258.0, u=1.4434),
        Measured(value=38.0, u=3 / math.sqrt(3)),
        Measured(value=18.0, u=1 / math.sqrt(3)),
    )
    assert cold.value == pytest.approx(234.9, abs=0.05)
    assert cold.u == pytest.approx(2.40, abs=5e-3)
    decision = decide(cold.value, cold.u, 230, 250, 1.645)
    assert decision.guard == pytest.approx(3.95, abs=5e-3)
    assert decision.accept_lower == pytest.approx(233.95, abs=5e-3)
    assert decision.verdict == "met"


def test_equal_temperatures_change_nothing() -> None:
    cold = cold_pressure(
        Measured(value=240.0, u=0.0), Measured(value=20.0, u=0.0), Measured(value=20.0, u=0.0)
    )
    assert cold.value == pytest.approx(240.0)
    assert cold.u == 0.0


def test_uncertainty_is_that_of_small_changes() -> None:
    base = (Measured(value=258.0, u=1.0), Measured(value=38.0, u=2.0), Measured(value=18.0, u=0.5))
    total = 0.0
    for place, part in enumerate(base):
        moved = [Measured(value=item.value, u=0.0) for item in base]
        moved[place] = Measured(value=part.value + part.u * 1e-4, u=0.0)
        change = (cold_pressure(*moved).value - cold_pressure(*base).value) / 1e-4
        total += change * change
    assert cold_pressure(*base).u == pytest.approx(math.sqrt(total), rel=1e-4)


def test_below_absolute_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="absolute zero"):
        cold_pressure(
            Measured(value=240.0, u=1.0), Measured(value=-273.15, u=1.0), Measured(value=20.0, u=1.0)
        )
