"""Readings of one clock that are all right together if the clock was off by one amount throughout."""

from collections.abc import Sequence

# (earliest, latest, reading, step of the display), whole microseconds; None where no interval is known.
Shown = tuple[int | None, int | None, int, int]


def one_offset(shown: Sequence[Shown]) -> tuple[int, ...] | None:
    """An instant (us) for each reading, with the earliest offset that the intervals allow; None without one.

    The display's step leaves room: what was read lies in [reading + offset, reading + offset + step).
    """
    known = [
        (low, high, reading, step)
        for low, high, reading, step in shown
        if low is not None and high is not None
    ]
    if any(low > high for low, high, _, _ in known):
        return None
    least = max([low - reading - max(step - 1, 0) for low, _, reading, step in known], default=0)
    if any(reading + least > high for _, high, reading, _ in known):
        return None
    return tuple(
        [reading + least if low is None else max(reading + least, low) for low, _, reading, _ in shown]
    )
