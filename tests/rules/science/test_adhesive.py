"""Adhesive ready time: the worked examples and every way a table, a log or a movement can end it."""

from dataclasses import replace

import pytest

from rules.science.adhesive import Cure, CureQuestion, find_ready, table_minutes
from tests.rules.windshield_job import TARVEK_U60

CELLS = TARVEK_U60.cells
GUARD_T, GUARD_RH = 1.645 * 0.25, 1.645 * 1.5
MINUTE = 60.0


def steady(temp: float, rh: float, minutes: int = 300) -> list[tuple[float, float, float]]:
    return [(m * MINUTE, temp, rh) for m in range(0, minutes + 1, 5)]


def question(sign: float, until_s: float | None = None) -> CureQuestion:
    return CureQuestion(
        cells=CELLS,
        counted_from_s=0.0,
        base_s=0.0,
        until_s=until_s,
        temp_shift=sign * GUARD_T,
        rh_shift=sign * GUARD_RH,
        hot_shift=-sign * GUARD_T,
    )


def cautious(samples: list[tuple[float, float, float]], until_s: float | None = None) -> Cure:
    return find_ready(samples, question(-1, until_s))


def hopeful(samples: list[tuple[float, float, float]], until_s: float | None = None) -> Cure:
    return find_ready(samples, question(+1, until_s))


@pytest.mark.parametrize(
    ("temp", "rh", "low", "high"),
    [
        (17.2, 44.0, 90, 90),
        (15.2, 44.0, 180, 90),
        (18.9, 52.0, 90, 60),
        (12.4, 41.0, 180, 180),
        (14.8, 60.0, 120, 60),
    ],
)
def test_worked_climates(temp: float, rh: float, low: int, high: int) -> None:
    assert cautious(steady(temp, rh)).minutes == low
    assert cautious(steady(temp, rh)).after_s == low * MINUTE
    assert hopeful(steady(temp, rh)).minutes == high


def test_guarded_values_of_the_worked_example() -> None:
    found = cautious(steady(17.2, 44.0))
    assert found.guarded_temp == pytest.approx(16.79, abs=5e-3)
    assert found.guarded_rh == pytest.approx(41.5, abs=5e-2)


@pytest.mark.parametrize(
    ("temp", "rh", "minutes"),
    [
        (25.0, 50.0, 45), (24.999999, 50.0, 60), (25.0, 49.999999, 60), (39.999999, 50.0, 45),
        (40.0, 50.0, None), (5.0, 20.0, 240), (4.999999, 50.0, None), (5.0, 19.999999, None),
        (15.0, 30.0, 90), (15.0, 29.999999, 120), (15.0, 100.0, 60), (14.999999, 30.0, 180), (25.0, 20.0, 90),
    ],
)  # fmt: skip
def test_lower_bounds_belong_to_their_band(temp: float, rh: float, minutes: int | None) -> None:
    assert table_minutes(CELLS, temp, rh) == minutes


def test_the_bay_cools_while_the_glass_waits() -> None:
    cooling = [(m * MINUTE, 17.2 if m < 80 else 14.0, 44.0) for m in range(0, 301, 5)]
    assert cautious(cooling).minutes == 180
    too_late = [(m * MINUTE, 17.2 if m < 95 else 14.0, 44.0) for m in range(0, 301, 5)]
    assert cautious(too_late).minutes == 90


def test_a_reading_at_the_very_moment_of_ready_still_counts() -> None:
    cooling = [(m * MINUTE, 17.2 if m < 90 else 14.0, 44.0) for m in range(0, 301, 5)]
    assert cautious(cooling).minutes == 180


@pytest.mark.parametrize(
    ("peak", "low", "high"), [(39.5, 45, 45), (39.7, None, 45), (40.3, None, 45), (40.5, None, None)]
)
def test_too_hot_before_ready(peak: float, low: int | None, high: int | None) -> None:
    warm = [(m * MINUTE, peak if m == 10 else 30.0, 60.0) for m in range(0, 301, 5)]
    assert cautious(warm).minutes == low
    assert hopeful(warm).minutes == high


def test_once_without_a_value_always_without() -> None:
    dry = [(m * MINUTE, 20.0, 10.0 if m == 30 else 60.0) for m in range(0, 601, 5)]
    assert cautious(dry).after_s is None
    assert cautious(dry).lowest_rh == 10.0


@pytest.mark.parametrize(
    ("first", "step", "covered"), [(900, 900, True), (901, 900, False), (900, 901, False)]
)
def test_a_reading_at_least_every_fifteen_minutes(first: int, step: int, covered: bool) -> None:
    samples = [(float(first + n * step), 17.2, 44.0) for n in range(20)]
    assert cautious(samples).covered is covered


@pytest.mark.parametrize(("last", "covered"), [(75, True), (74, False)])
def test_the_log_must_reach_ready(last: int, covered: bool) -> None:
    samples = [(float(m) * MINUTE, 17.2, 44.0) for m in (*range(0, last, 10), last)]
    found = cautious(samples)
    assert (found.minutes, found.covered) == (90, covered)


def test_readings_after_ready_do_not_count() -> None:
    samples = [*steady(17.2, 44.0, 90), (200 * MINUTE, -20.0, 5.0)]
    assert cautious(samples).minutes == 90
    assert cautious(samples).covered


def test_a_movement_ends_the_interval() -> None:
    cooling = [(m * MINUTE, 17.2 if m < 60 else 14.0, 44.0) for m in range(0, 301, 5)]
    moved = cautious(cooling, until_s=50 * MINUTE)
    assert (moved.minutes, moved.covered) == (90, True)
    assert cautious(cooling, until_s=120 * MINUTE).minutes == 180


def test_no_reading_at_all() -> None:
    found = cautious([])
    assert (found.minutes, found.after_s, found.covered, found.lowest_temp) == (None, None, False, None)


def test_a_quick_product_is_not_ready_before_its_first_reading() -> None:
    quick = replace(question(-1), cells=(replace(CELLS[0], temp_from=0, temp_to=50, rh_from=0, minutes=5),))
    found = find_ready([(600.0, 20.0, 50.0), (900.0, 20.0, 50.0)], quick)
    assert found.after_s == 600.0


@pytest.mark.parametrize("seed", range(8))
def test_agrees_with_asking_every_minute(seed: int) -> None:
    # The definition itself, tried second by second: earliest t with t >= set + m(t).
    samples = [
        (m * MINUTE, 24.0 - ((m * 7 + seed * 13) % 11), 55.0 - ((m * 5 + seed * 3) % 17))
        for m in range(0, 401, 5)
    ]
    found = cautious(samples)
    answer = None
    for t in range(0, 400 * 60, 5):
        seen = [sample for sample in samples if sample[0] <= t]
        temp, rh = min(s[1] for s in seen) - GUARD_T, min(s[2] for s in seen) - GUARD_RH
        minutes = table_minutes(CELLS, round(temp, 6), round(rh, 6))
        if minutes is None:
            break
        if t >= minutes * 60:
            answer = float(t)
            break
    assert found.after_s == answer
