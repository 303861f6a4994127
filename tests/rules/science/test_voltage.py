"""Supply voltage: the worked stretches, gaps, cranks, and sudden steps."""

import pytest

from rules.science.voltage import (
    Window,
    crank_windows,
    extremes,
    gaps,
    lasting,
    steps_in_order,
    stretches,
)

DIP = (
    (398.0, 13.2),
    (400.0, 13.1),
    (402.0, 11.8),
    (404.0, 11.7),
    (406.0, 11.9),
    (408.0, 12.6),
    (410.0, 13.0),
)
NEAR = ((600.0, 12.9), (602.0, 11.99), (604.0, 11.99), (606.0, 11.99), (608.0, 12.9))
GUARD = 1.645 * 0.015
WIDE = Window(start=0.0, end=1000.0)


def seconds(found: tuple[tuple[float, float], ...]) -> list[float]:
    return [end - start for start, end in found]


def test_worked_dip() -> None:
    below = stretches(DIP, WIDE, 10.0, below=12.0)
    assert below == ((pytest.approx(401.692, abs=1e-3), pytest.approx(406.286, abs=1e-3)),)
    assert seconds(below) == [pytest.approx(4.593, abs=1e-3)]
    guarded = stretches(DIP, WIDE, 10.0, below=12.0 - GUARD)
    assert guarded == ((pytest.approx(401.730, abs=1e-3), pytest.approx(406.215, abs=1e-3)),)
    assert seconds(guarded) == [pytest.approx(4.485, abs=1e-3)]
    assert lasting(guarded, 2.0) == guarded


def test_worked_near_miss() -> None:
    assert stretches(NEAR, WIDE, 10.0, below=12.0 - GUARD) == ()
    assert seconds(stretches(NEAR, WIDE, 10.0, below=12.0 + GUARD)) == [pytest.approx(4.152, abs=1e-3)]


def test_above_a_level_is_the_mirror_image() -> None:
    mirrored = tuple((t, 27.0 - volts) for t, volts in DIP)
    assert seconds(stretches(mirrored, WIDE, 10.0, above=15.0)) == pytest.approx(
        seconds(stretches(DIP, WIDE, 10.0, below=12.0))
    )


@pytest.mark.parametrize(("length", "lasts"), [(2.0, 0), (2.000001, 1), (1.999999, 0)])
def test_exactly_as_long_as_allowed_is_allowed(length: float, lasts: int) -> None:
    assert len(lasting(((10.0, 10.0 + length),), 2.0)) == lasts


def test_the_window_cuts_stretches() -> None:
    assert stretches(DIP, Window(start=403.0, end=405.0), 10.0, below=12.0) == ((403.0, 405.0),)
    assert stretches(DIP, Window(start=407.0, end=409.0), 10.0, below=12.0) == ()


def test_never_across_a_step_longer_than_the_gap() -> None:
    sparse = ((0.0, 13.0), (10.0, 11.0), (20.000002, 11.0), (30.0, 13.0))
    assert stretches(sparse, WIDE, 10.0, below=12.0) == (
        (5.0, 10.0),
        (20.000002, pytest.approx(25.000001)),
    )


@pytest.mark.parametrize(
    ("samples", "found"),
    [
        (((0.0, 13.0), (10.0, 13.0), (20.0, 13.0)), ()),
        (((0.0, 13.0), (10.000002, 13.0), (20.0, 13.0)), ((0.0, 10.000002),)),
        (((10.0, 13.0), (20.0, 13.0)), ()),
        (((10.5, 13.0), (20.0, 13.0)), ((0.0, 10.5),)),
        (((0.0, 13.0), (9.0, 13.0)), ((9.0, 20.0),)),
        ((), ((0.0, 20.0),)),
        (((-50.0, 13.0), (70.0, 13.0)), ((0.0, 20.0),)),
    ],
)
def test_gaps_between_before_and_after(
    samples: tuple[tuple[float, float], ...], found: tuple[tuple[float, float], ...]
) -> None:
    assert gaps(samples, Window(start=0.0, end=20.0), 10.0) == found


def test_a_declared_crank_is_taken_out_of_stretches_and_gaps() -> None:
    window = Window(start=0.0, end=30.0, removed=((5.0, 18.0),))
    samples = ((0.0, 13.0), (5.0, 9.0), (18.0, 9.0), (19.0, 13.0), (28.0, 13.0))
    assert gaps(samples, window, 10.0) == ()
    assert stretches(samples, window, 20.0, below=12.0) == (
        (pytest.approx(1.25), 5.0),
        (18.0, pytest.approx(18.75)),
    )
    assert extremes(samples, window) == (9.0, 13.0)


def test_cranks_allowed_and_refused() -> None:
    events = (
        (10.0, "crank_start"),
        (24.0, "crank_end"),
        (40.0, "crank_start"),
        (60.0, "crank_end"),
        (70.0, "crank_start"),
    )
    assert crank_windows(events, 1, 15.0) == (((10.0, 24.0),), ((40.0, 60.0),))
    assert crank_windows(events, 0, 15.0) == ((), ((10.0, 24.0), (40.0, 60.0)))
    assert crank_windows(((0.0, "crank_start"), (15.0, "crank_end")), 1, 15.0)[0] == ((0.0, 15.0),)
    assert crank_windows(((0.0, "crank_start"), (15.000002, "crank_end")), 1, 15.0)[0] == ()


def test_repeated_times_are_a_sudden_step_and_backward_ones_are_not_in_order() -> None:
    step = ((0.0, 13.0), (5.0, 13.0), (5.0, 11.0), (9.0, 11.0))
    assert steps_in_order(step)
    assert stretches(step, WIDE, 10.0, below=12.0) == ((5.0, 9.0),)
    assert not steps_in_order(((5.0, 13.0), (4.9, 13.0)))
