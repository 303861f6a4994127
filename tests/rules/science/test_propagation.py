"""Uncertainty carried through a calculation whose inputs vary together: resistance and reactance of the GUM.

Source: JCGM 100:2008, annex H.2 (five simultaneous sets of voltage, current and phase), with the outputs of a
public uncertainty library; the vectors and their source stand in tests/reference/gum_examples.json.
"""

import json
import math
from pathlib import Path
from typing import Any

import pytest

from rules.science.propagation import carried_through


@pytest.fixture(scope="module")
def example() -> dict[str, Any]:
    text = (Path(__file__).parents[2] / "reference" / "gum_examples.json").read_text(encoding="utf-8")
    found: dict[str, Any] = json.loads(text)["H2"]
    return found


def inputs(example: dict[str, Any]) -> tuple[list[float], list[list[float]]]:
    """Means of the five sets and the covariance of those means, from the readings themselves."""
    sets = example["raw"]
    n = len(sets)
    means = [math.fsum(row[i] for row in sets) / n for i in range(3)]
    covariance = [
        [
            math.fsum((row[i] - means[i]) * (row[j] - means[j]) for row in sets) / (n * (n - 1))
            for j in range(3)
        ]
        for i in range(3)
    ]
    return means, covariance


def steps(volts: float, amperes: float, phase: float) -> list[list[float]]:
    """J of R = V/I cos phi, X = V/I sin phi and Z = V/I."""
    z, cosine, sine = volts / amperes, math.cos(phase), math.sin(phase)
    return [
        [cosine / amperes, -z * cosine / amperes, -z * sine],
        [sine / amperes, -z * sine / amperes, z * cosine],
        [1.0 / amperes, -z / amperes, 0.0],
    ]


def test_the_readings_give_the_published_means_and_deviations(example: dict[str, Any]) -> None:
    means, covariance = inputs(example)
    assert means == pytest.approx(example["means"], rel=1e-9)
    assert [math.sqrt(covariance[i][i]) for i in range(3)] == pytest.approx(example["s_mean"], rel=1e-7)


def test_resistance_reactance_and_impedance(example: dict[str, Any]) -> None:
    means, covariance = inputs(example)
    found = carried_through(steps(*means), covariance)
    u = [math.sqrt(found[i][i]) for i in range(3)]
    assert u == pytest.approx([example[name][1] for name in "RXZ"], rel=1e-7)
    published = [example["r_out"][name] for name in ("R_X", "R_Z", "X_Z")]
    pairs = [found[i][j] / (u[i] * u[j]) for i, j in ((0, 1), (0, 2), (1, 2))]
    assert pairs == pytest.approx(published, abs=1e-6)


def test_leaving_the_covariance_out_would_be_wrong_by_half(example: dict[str, Any]) -> None:
    """Taken as independent, the inputs give R an uncertainty of 0.20 ohm instead of 0.07."""
    means, covariance = inputs(example)
    alone = [[covariance[i][j] if i == j else 0.0 for j in range(3)] for i in range(3)]
    found = carried_through(steps(*means), alone)
    assert math.sqrt(found[0][0]) > 2.5 * example["R"][1]


def test_the_result_is_symmetric_and_one_step_is_a_sum() -> None:
    covariance = ((4.0, 1.0), (1.0, 9.0))
    found = carried_through(((1.0, 1.0), (1.0, -1.0), (2.0, 0.0)), covariance)
    assert found == ((15.0, -5.0, 10.0), (-5.0, 11.0, 6.0), (10.0, 6.0, 16.0))
