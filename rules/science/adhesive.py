"""Adhesive ready time: a scan over the climate log with the lowest readings so far, guarded both ways."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.facts import AdhesiveCell
from rules.rounding import to_six

# Longest time between climate readings, and to setting and ready (common practice, no source), seconds.
LONGEST_GAP_S: Final = 15 * 60.0
Sample = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class CureQuestion:
    """What the scan needs.

    Attributes:
        cells: the data sheet's table, minutes by temperature band and humidity band.
        counted_from_s: readings at or after this instant count (log seconds).
        base_s: the instant of setting from which minutes run (log seconds).
        until_s: readings after this instant do not count: the car moved then; None while it stands.
        temp_shift, rh_shift: added to the lowest readings (degC, percent): minus the guard for the cautious
            answer, plus the guard for the hopeful one.
        hot_shift: added to the highest temperature.
    """

    cells: tuple[AdhesiveCell, ...]
    counted_from_s: float
    base_s: float
    until_s: float | None
    temp_shift: float
    rh_shift: float
    hot_shift: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure:
    """The answer: ready ``after_s`` seconds from setting by ``minutes`` of the table; None where no value is.

    ``lowest_temp``, ``lowest_rh``, ``highest_temp``: raw readings that led to it (None without a reading);
    ``guarded_temp``, ``guarded_rh``: as looked up. ``covered``: no step longer than 15 minutes from setting
    to the first reading, between readings, and from the last one to ready or to the movement.
    ``last_s``: the last reading that counted.
    """

    after_s: float | None
    minutes: int | None
    lowest_temp: float | None
    lowest_rh: float | None
    highest_temp: float | None
    guarded_temp: float | None
    guarded_rh: float | None
    covered: bool
    last_s: float | None


def table_minutes(cells: Sequence[AdhesiveCell], temp: float, rh: float) -> int | None:
    """Minutes of the band that holds both values, lower bounds belonging to it; None where none does."""
    for cell in cells:
        in_temp = cell.temp_from <= temp < cell.temp_to
        if in_temp and cell.rh_from <= rh and (cell.rh_to is None or rh < cell.rh_to):
            return cell.minutes
    return None


@dataclass(slots=True)
class _Lows:
    """Lowest and highest readings so far, with the table value they lead to."""

    question: CureQuestion
    hottest_allowed: float
    temp: float | None = None
    rh: float | None = None
    high: float | None = None
    minutes: int | None = None

    def add(self, temp: float, rh: float) -> None:
        self.temp = temp if self.temp is None else min(self.temp, temp)
        self.rh = rh if self.rh is None else min(self.rh, rh)
        self.high = temp if self.high is None else max(self.high, temp)
        self.minutes = self._look_up(self.temp, self.rh, self.high)

    def _look_up(self, temp: float, rh: float, high: float) -> int | None:
        if to_six(high + self.question.hot_shift) >= self.hottest_allowed:
            return None
        guarded_temp = to_six(temp + self.question.temp_shift)
        return table_minutes(self.question.cells, guarded_temp, to_six(rh + self.question.rh_shift))


def find_ready(samples: Sequence[Sample], question: CureQuestion) -> Cure:
    """The earliest t with t >= set + m(t), m from the lowest readings in [set, t] (data sheet table).

    Never interpolated towards shorter. Once the readings have no value in the table there is no ready time
    later either. Readings after ready do not count; while the log goes no further, the answer is "not
    before".
    """
    lows = _Lows(
        question=question, hottest_allowed=max((cell.temp_to for cell in question.cells), default=0.0)
    )
    counted = [sample for sample in samples if _counts(sample, question)]
    widest = 0.0
    previous = question.counted_from_s
    ready: float | None = None
    for place, (t, temp, rh) in enumerate(counted):
        widest = max(widest, t - previous)
        previous = t
        lows.add(temp, rh)
        if lows.minutes is None:
            ready = None
            break
        ready = max(t, question.base_s + lows.minutes * 60.0)
        if place + 1 < len(counted) and ready < counted[place + 1][0]:
            break
    return _answer(lows, question, ready, (widest, previous if counted else None))


def _counts(sample: Sample, question: CureQuestion) -> bool:
    until = question.until_s
    return sample[0] >= question.counted_from_s and (until is None or sample[0] <= until)


def _answer(
    lows: _Lows, question: CureQuestion, ready: float | None, steps: tuple[float, float | None]
) -> Cure:
    widest, last = steps
    if last is None:
        covered = False
    else:
        ends = [end for end in (ready, question.until_s) if end is not None]
        tail = min(ends) - last if ends else 0.0
        covered = to_six(max(widest, tail)) <= LONGEST_GAP_S
    return Cure(
        after_s=None if ready is None else to_six(ready - question.base_s),
        minutes=lows.minutes,
        lowest_temp=lows.temp,
        lowest_rh=lows.rh,
        highest_temp=lows.high,
        guarded_temp=_shifted(lows.temp, question.temp_shift),
        guarded_rh=_shifted(lows.rh, question.rh_shift),
        covered=covered,
        last_s=last,
    )


def _shifted(value: float | None, shift: float) -> float | None:
    return None if value is None else to_six(value + shift)
