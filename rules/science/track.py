"""Which seconds of a drive count: every step between two fixes with the reason it counts or does not."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from rules.facts import Fix
from rules.rounding import to_six
from rules.science import sun
from rules.science.geodesy import wrapped_deg
from rules.science.log_time import Bounds
from rules.science.motion import Motion, motion, speed_column_conflicts, times_increase

Reason = Literal[
    "counts", "outside", "key_off", "gap", "slow", "fast", "uneven", "turning", "low_sun", "clock_open",
    "short_run",
]  # fmt: skip
# Over a wider spread of the log's clock the sun's height is taken as unknown (project default), seconds.
SUN_CLOCK_SPREAD_S: Final = 600.0
GLARE_COURSE_DEG: Final = 20.0
GLARE_ELEVATION_DEG: Final = 25.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveLimits:
    """Limits of one procedure: km/h, m/s2, deg/s, s, deg; None where the pack asks for nothing.

    ``sun_above_deg``: lowest geometric elevation of the sun at both fixes of a step.
    """

    v_min_kph: float | None
    v_max_kph: float | None
    speed_change_mps2: float | None
    turn_rate_dps: float | None
    longest_gap_s: float
    shortest_counted_s: float
    sun_above_deg: float | None = None
    v_min_included: bool = True
    v_max_included: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveTime:
    """When the session ran and the key was off, in seconds of the log's clock.

    Clocks leave edges open, so each is an interval: a step counts only where it is surely inside the session
    and surely not with the key off, and is left out of the second pass only where it is surely not.

    Attributes:
        start, end: earliest and latest log reading at the session's start and end; end None while it runs.
        key_off: pairs of (bounds of the key going off, bounds of it going on again).
        edges_are_gaps: session time before the first and after the last fix is a gap.
        offset_low_s, offset_high_s: log clock minus true time, for the sun.
    """

    start: Bounds
    end: Bounds | None
    key_off: tuple[tuple[Bounds, Bounds], ...] = ()
    edges_are_gaps: bool = False
    offset_low_s: float = 0.0
    offset_high_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step between two fixes: why it counts or not, its length, and whether the second pass counts it."""

    start_s: float
    end_s: float
    reason: Reason
    length_m: float
    counts_high: bool

    @property
    def seconds(self) -> float:
        return to_six(self.end_s - self.start_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A maximal chain of counting steps that is long enough to count."""

    start_s: float
    end_s: float
    distance_m: float

    @property
    def seconds(self) -> float:
        return to_six(self.end_s - self.start_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """One drive judged step by step.

    Attributes:
        steps: every step in order of time, with ``short_run`` for steps of dropped runs.
        runs, runs_high: kept runs of the first pass, and of the second in which every gap counts.
        counted_s, longest_s, distance_m: of the first pass.
        high_s, longest_high_s: of the second pass.
        uncounted: seconds by reason, in the order of the rules.
        track_m, gap_s: length of the whole track and seconds without fixes inside it.
        speed_conflict: the speed column contradicts the positions.
        glare_s: counted seconds driven towards a low sun (a note, never a verdict).
    """

    steps: tuple[Step, ...]
    runs: tuple[Run, ...]
    runs_high: tuple[Run, ...]
    counted_s: float
    longest_s: float
    distance_m: float
    high_s: float
    longest_high_s: float
    uncounted: tuple[tuple[Reason, float], ...]
    track_m: float
    gap_s: float
    speed_conflict: bool
    glare_s: float


@dataclass(slots=True)
class _Judge:
    """Applies the rules to one step after the other."""

    fixes: Sequence[Fix]
    limits: DriveLimits
    time: DriveTime
    motion: Motion

    def step(self, place: int) -> Step:
        a, b = self.fixes[place], self.fixes[place + 1]
        manner = self._manner(place)
        possible = self._possibly_inside(a.t, b.t, is_gap=manner == "gap") and not self.key_surely_off(
            a.t, b.t
        )
        sunny_low, sunny_high = self.sunny((a, b)) if manner in ("counts", "gap") else (True, True)
        return Step(
            start_s=a.t,
            end_s=b.t,
            reason=self._reason((a.t, b.t), manner, possible=possible, sunny=(sunny_low, sunny_high)),
            length_m=self.motion.lengths_m[place],
            counts_high=possible and manner in ("counts", "gap") and sunny_high,
        )

    def _reason(self, span: Bounds, manner: Reason, *, possible: bool, sunny: tuple[bool, bool]) -> Reason:
        if not self._possibly_inside(*span, is_gap=manner == "gap"):
            return "outside"
        if self._key_possibly_off(*span):
            return "clock_open" if possible and manner == "counts" else "key_off"
        if manner == "gap" and not sunny[1]:
            return "low_sun"
        if manner != "counts":
            return manner
        if not self._surely_inside(*span):
            return "clock_open"
        return "counts" if sunny[0] else "low_sun"

    def _manner(self, place: int) -> Reason:
        """Rules 3 to 6: how the car moved in this step, wherever it lies. The first that applies decides."""
        a, b = self.fixes[place], self.fixes[place + 1]
        seconds = to_six(b.t - a.t)
        slower, faster = sorted(self.motion.speeds_kph[place : place + 2])
        turned = abs(wrapped_deg(self.motion.courses_deg[place + 1] - self.motion.courses_deg[place]))
        limits = self.limits
        rules: tuple[tuple[Reason, bool], ...] = (
            ("gap", seconds > limits.longest_gap_s),
            ("slow", _too_slow(slower, limits)),
            ("fast", _too_fast(faster, limits)),
            ("uneven", _above((faster - slower) / 3.6 / seconds, limits.speed_change_mps2)),
            ("turning", _above(turned / seconds, limits.turn_rate_dps)),
        )
        return next((reason for reason, applies in rules if applies), "counts")

    def _possibly_inside(self, start: float, end: float, *, is_gap: bool) -> bool:
        low, high = self.time.start[0], math.inf if self.time.end is None else self.time.end[1]
        if is_gap:
            return end > low and start < high
        return start >= low and end <= high

    def _surely_inside(self, start: float, end: float) -> bool:
        return start >= self.time.start[1] and (self.time.end is None or end <= self.time.end[0])

    def _key_possibly_off(self, start: float, end: float) -> bool:
        return any(start < on[1] and end > off[0] for off, on in self.time.key_off)

    def key_surely_off(self, start: float, end: float) -> bool:
        return any(off[1] < on[0] and start < on[0] and end > off[1] for off, on in self.time.key_off)

    def sunny(self, pair: tuple[Fix, Fix]) -> tuple[bool, bool]:
        """Is the sun surely, and possibly, high enough at both fixes?"""
        limit = self.limits.sun_above_deg
        if limit is None:
            return True, True
        if self.time.offset_high_s - self.time.offset_low_s > SUN_CLOCK_SPREAD_S:
            return False, True
        heights = [self._heights(fix) for fix in pair]
        return all(low >= limit for low, _ in heights), all(high >= limit for _, high in heights)

    def _heights(self, fix: Fix) -> tuple[float, float]:
        ends = (self.time.offset_high_s, self.time.offset_low_s)
        heights = [to_six(sun.position_deg(fix.t - offset, fix.lat, fix.lon)[0]) for offset in ends]
        return min(heights), max(heights)


def _too_slow(speed_kph: float, limits: DriveLimits) -> bool:
    if limits.v_min_kph is None:
        return False
    speed = to_six(speed_kph)
    return speed < limits.v_min_kph or (speed == limits.v_min_kph and not limits.v_min_included)


def _too_fast(speed_kph: float, limits: DriveLimits) -> bool:
    if limits.v_max_kph is None:
        return False
    speed = to_six(speed_kph)
    return speed > limits.v_max_kph or (speed == limits.v_max_kph and not limits.v_max_included)


def _above(value: float, limit: float | None) -> bool:
    return limit is not None and to_six(value) > limit


def analyse(fixes: Sequence[Fix], limits: DriveLimits, time: DriveTime) -> Analysis:
    """Judge every step of a drive; fixes strictly increasing in time, speeds in km/h.

    The rules, first that applies: outside the session, key off, gap, slow, fast, uneven, turning, low sun.
    Limits belong to "counts"; speeds and seconds are compared plainly, after rounding to six decimals.
    Runs shorter than ``shortest_counted_s`` are dropped. In the second pass every gap counts and joins its
    neighbours, and so does what only the clocks leave open.

    Raises:
        ValueError: the times of the fixes do not strictly increase.
    """
    if not times_increase(fixes):
        raise ValueError("the times of the fixes do not strictly increase")
    moving = motion(fixes, limits.longest_gap_s)
    judge = _Judge(fixes, limits, time, moving)
    steps = tuple(judge.step(place) for place in range(len(fixes) - 1))
    runs, kept = _runs(steps, lambda step: step.reason == "counts", limits.shortest_counted_s)
    before, after = _edge_steps(judge, fixes, first=True), _edge_steps(judge, fixes, first=False)
    clipped = _clip_gaps((*before, *steps, *after), time)
    runs_high, _ = _runs(clipped, lambda step: step.counts_high, limits.shortest_counted_s)
    told = tuple(
        replace(step, reason="short_run") if step.reason == "counts" and not kept[place] else step
        for place, step in enumerate(steps)
    )
    return Analysis(
        steps=told,
        runs=runs,
        runs_high=runs_high,
        counted_s=_total(runs),
        longest_s=max((run.seconds for run in runs), default=0.0),
        distance_m=to_six(math.fsum(run.distance_m for run in runs)),
        high_s=_total(runs_high),
        longest_high_s=max((run.seconds for run in runs_high), default=0.0),
        uncounted=_by_reason(told),
        track_m=to_six(math.fsum(moving.lengths_m)),
        gap_s=to_six(math.fsum(s.seconds for s in steps if s.seconds > limits.longest_gap_s)),
        speed_conflict=speed_column_conflicts(fixes, limits.longest_gap_s),
        glare_s=_glare_seconds(fixes, told, moving),
    )


def _total(runs: Sequence[Run]) -> float:
    return to_six(math.fsum(run.seconds for run in runs))


def _runs(
    steps: Sequence[Step], counts: Callable[[Step], bool], shortest_s: float
) -> tuple[tuple[Run, ...], tuple[bool, ...]]:
    """Kept maximal chains of counting steps, and for every step whether it is in one."""
    runs: list[Run] = []
    kept = [False] * len(steps)
    place = 0
    while place < len(steps):
        first = place
        while place < len(steps) and counts(steps[place]):
            place += 1
        chain = steps[first:place]
        if chain and to_six(chain[-1].end_s - chain[0].start_s) >= shortest_s:
            length = to_six(math.fsum(step.length_m for step in chain))
            runs.append(Run(start_s=chain[0].start_s, end_s=chain[-1].end_s, distance_m=length))
            kept[first:place] = [True] * len(chain)
        place = max(place, first + 1)
    return tuple(runs), tuple(kept)


def _edge_steps(judge: _Judge, fixes: Sequence[Fix], *, first: bool) -> tuple[Step, ...]:
    """Session time before the first or after the last fix as a gap step of the second pass."""
    time = judge.time
    if not time.edges_are_gaps:
        return ()
    if not fixes:
        spans = [(time.start[0], time.end[1])] if first and time.end is not None else []
    elif first:
        spans = [(time.start[0], fixes[0].t)]
    else:
        spans = [] if time.end is None else [(fixes[-1].t, time.end[1])]
    return tuple(
        Step(
            start_s=start,
            end_s=end,
            reason="gap",
            length_m=0.0,
            counts_high=_edge_counts(judge, fixes, (start, end)),
        )
        for start, end in spans
        if end > start
    )


def _edge_counts(judge: _Judge, fixes: Sequence[Fix], span: Bounds) -> bool:
    if judge.key_surely_off(*span):
        return False
    if not fixes:
        return True
    near = fixes[0] if span[1] <= fixes[0].t else fixes[-1]
    ends = tuple(Fix(t=t, lat=near.lat, lon=near.lon) for t in span)
    return judge.sunny((ends[0], ends[1]))[1]


def _clip_gaps(steps: Sequence[Step], time: DriveTime) -> tuple[Step, ...]:
    """Gap steps cut to the session, so that the second pass adds no time from outside it."""
    low, high = time.start[0], math.inf if time.end is None else time.end[1]
    return tuple(
        replace(step, start_s=max(step.start_s, low), end_s=min(step.end_s, high))
        if step.counts_high and (step.start_s < low or step.end_s > high)
        else step
        for step in steps
    )


def _by_reason(steps: Sequence[Step]) -> tuple[tuple[Reason, float], ...]:
    order: tuple[Reason, ...] = (
        "outside", "key_off", "gap", "slow", "fast", "uneven", "turning", "low_sun", "clock_open",
        "short_run",
    )  # fmt: skip
    sums = {reason: to_six(math.fsum(s.seconds for s in steps if s.reason == reason)) for reason in order}
    return tuple((reason, sums[reason]) for reason in order if sums[reason] > 0)


def _glare_seconds(fixes: Sequence[Fix], steps: Sequence[Step], moving: Motion) -> float:
    """Counted seconds with the sun low (0 to 25 deg) and within 20 deg of the course."""
    seconds: list[float] = []
    for place, step in enumerate(steps):
        if step.reason != "counts":
            continue
        elevation, azimuth = sun.position_deg(step.start_s, fixes[place].lat, fixes[place].lon)
        towards = abs(wrapped_deg(moving.courses_deg[place] - azimuth)) <= GLARE_COURSE_DEG
        if towards and 0 < elevation < GLARE_ELEVATION_DEG:
            seconds.append(step.seconds)
    return to_six(math.fsum(seconds))


def counted_between(analysis: Analysis, start_s: float, end_s: float) -> float:
    """Counted seconds of kept runs whose steps lie wholly between two instants of the log's clock."""
    return to_six(
        math.fsum(
            step.seconds
            for step in analysis.steps
            if step.reason == "counts" and step.start_s >= start_s and step.end_s <= end_s
        )
    )
