"""What a floor survey shows: counts of places, spans, points that stand out."""

import pytest

from rules.science.floor import floor_of, positions
from tests.rules.checks.standing import GRID, tilted


def test_places_are_counted_once() -> None:
    assert positions(GRID) == 18
    assert positions([*GRID, GRID[0], (GRID[0][0], GRID[0][1], 99.0)]) == 18


def test_the_spans() -> None:
    floor = floor_of(GRID, 0.3)
    assert (floor.span_x_mm, floor.span_y_mm) == (7000.0, 2400.0)


def test_the_worst_point_is_the_one_farthest_from_the_plane() -> None:
    floor = floor_of(GRID, 0.3)
    assert abs(floor.plane.residuals[floor.worst]) == max(abs(value) for value in floor.plane.residuals)


def test_uncertainties_grow_with_that_of_the_heights() -> None:
    one, two = floor_of(GRID, 0.3), floor_of(GRID, 0.6)
    assert two.u_flatness_mm == pytest.approx(2 * one.u_flatness_mm)
    assert two.u_slope_deg == pytest.approx(2 * one.u_slope_deg)


def test_nothing_stands_out_of_an_even_trough() -> None:
    assert floor_of(tilted(0.2, 4.0), 0.3).standing_out == ()


@pytest.mark.parametrize("index", [0, 7, 17])
def test_one_blunder_stands_out_wherever_it_is(index: int) -> None:
    spoiled = [(x, y, z + (12.0 if i == index else 0.0)) for i, (x, y, z) in enumerate(GRID)]
    assert floor_of(spoiled, 0.3).standing_out == (index,)


def test_a_perfect_plane_with_one_slip() -> None:
    slip = [(x, y, z + (0.5 if (x, y) == (0.0, 0.0) else 0.0)) for x, y, z in tilted(0.3)]
    assert len(floor_of(slip, 0.3).standing_out) == 1


def test_fewer_than_nine_places_are_no_survey() -> None:
    with pytest.raises(ValueError, match="nine"):
        floor_of(GRID[:8], 0.3)
