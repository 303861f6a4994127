"""Supply voltage over a session: time below or above a level, by straight lines between samples, and gaps."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from rules.rounding import to_six
from rules.science.log_time import Bounds, join, without

Sample = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The time to judge, in seconds of the log's clock, with the parts taken out (declared cranks)."""

    start: float
    end: float
    removed: tuple[Bounds, ...] = ()


def steps_in_order(samples: Sequence[Sample]) -> bool:
    """Whether no sample lies before its predecessor; repeated times are allowed (a sudden change)."""
    return all(b[0] >= a[0] for a, b in itertools.pairwise(samples))


def gaps(samples: Sequence[Sample], window: Window, longest_gap_s: float) -> tuple[Bounds, ...]:
    """Stretches of the window that no pair of samples close enough covers; declared cranks taken out.

    A step longer than ``longest_gap_s`` is a gap for its whole length, also before the first and after the
    last sample.
    """
    edges = [window.start] if not samples else [min(window.start, samples[0][0])]
    edges += [t for t, _ in samples] + [max(window.end, samples[-1][0] if samples else window.end)]
    found: list[Bounds] = []
    for start, end in itertools.pairwise(edges):
        if to_six(end - start) <= longest_gap_s:
            continue
        clipped = (max(start, window.start), min(end, window.end))
        if clipped[1] > clipped[0]:
            found += without(clipped, window.removed)
    return tuple((start, end) for start, end in found if to_six(end - start) > 0)


def stretches(
    samples: Sequence[Sample], window: Window, longest_gap_s: float, *, below: float | None = None,
    above: float | None = None,
) -> tuple[Bounds, ...]:  # fmt: skip
    """Stretches of the window in which the voltage lies below (or above) a level, each as long as it lasts.

    Between samples the line is straight; across a gap nothing is known and nothing is counted.
    """
    sign, level = (1.0, below) if below is not None else (-1.0, -(above or 0.0))
    if level is None:
        return ()
    found: list[Bounds] = []
    for (t1, v1), (t2, v2) in itertools.pairwise(samples):
        if t2 <= t1 or to_six(t2 - t1) > longest_gap_s:
            continue
        part = _part_below((t1, sign * v1), (t2, sign * v2), level)
        if part is None:
            continue
        clipped = (max(part[0], window.start), min(part[1], window.end))
        if clipped[1] > clipped[0]:
            found += without(clipped, window.removed)
    return join(found)


def _part_below(first: Sample, second: Sample, level: float) -> Bounds | None:
    (t1, v1), (t2, v2) = first, second
    if v1 >= level and v2 >= level:
        return None
    if v1 < level and v2 < level:
        return t1, t2
    crossing = t1 + (t2 - t1) * (level - v1) / (v2 - v1)
    return (t1, crossing) if v1 < level else (crossing, t2)


def lasting(found: Sequence[Bounds], ignore_shorter_than_s: float) -> tuple[Bounds, ...]:
    """The stretches that last longer than the allowance."""
    return tuple(part for part in found if to_six(part[1] - part[0]) > ignore_shorter_than_s)


def extremes(samples: Sequence[Sample], window: Window) -> tuple[float, float] | None:
    """Lowest and highest sample inside the window and outside declared cranks; None without one."""
    inside = [
        volts
        for t, volts in samples
        if window.start <= t <= window.end and not any(a < t < b for a, b in window.removed)
    ]
    return (min(inside), max(inside)) if inside else None


def crank_windows(
    events: Sequence[tuple[float, str]], count: int, longest_s: float
) -> tuple[tuple[Bounds, ...], tuple[Bounds, ...]]:
    """Declared cranks that may be taken out, and those that may not (too long, or one too many).

    Args:
        events: (t, name) with ``crank_start`` and ``crank_end``; a start without its end declares nothing.
        count: how many cranks the pack allows.
        longest_s: how long one may last.
    """
    found: list[Bounds] = []
    start = math.nan
    for t, name in sorted(events):
        if name == "crank_start":
            start = t
        elif name == "crank_end" and not math.isnan(start):
            found.append((start, t))
            start = math.nan
    short = [part for part in found if to_six(part[1] - part[0]) <= longest_s]
    allowed = join(short[:count])
    return allowed, tuple(part for part in found if part not in short[:count])
