"""How a car moved between its fixes: speed, course and length, by their columns or from positions."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.facts import Fix
from rules.rounding import to_six
from rules.science.geodesy import course_deg, distance_m

# A speed column further than this share from the positions in the median is in doubt (project default).
SPEED_COLUMN_SHARE: Final = 0.15
# Below this speed the noise of positions says nothing about the speed column (project default), km/h.
SPEED_COLUMN_FROM_KPH: Final = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Speed (km/h) and course (deg from true north) at every fix, and the length of every step (m)."""

    speeds_kph: tuple[float, ...]
    courses_deg: tuple[float, ...]
    lengths_m: tuple[float, ...]


def times_increase(fixes: Sequence[Fix]) -> bool:
    """Whether every fix is later than the one before it."""
    return all(b.t > a.t for a, b in itertools.pairwise(fixes))


def motion(fixes: Sequence[Fix], longest_gap_s: float) -> Motion:
    """Speed and course by their columns where every fix has one, else from positions.

    From positions: central difference, one-sided at the ends and beside a gap. Where the car did not move the
    course before is kept. Lengths are mean speed times duration, or haversine without a speed column.
    """
    has_speed = bool(fixes) and all(fix.speed_kph is not None for fix in fixes)
    has_course = bool(fixes) and all(fix.course_deg is not None for fix in fixes)
    by_columns = has_speed and has_course
    moved = [] if by_columns else [_difference(fixes, place, longest_gap_s) for place in range(len(fixes))]
    speeds = tuple((fix.speed_kph or 0.0) if has_speed else moved[i][0] for i, fix in enumerate(fixes))
    courses = (
        tuple(fix.course_deg or 0.0 for fix in fixes)
        if has_course
        else _kept_where_still([course for _, course in moved])
    )
    return Motion(speeds_kph=speeds, courses_deg=courses, lengths_m=lengths_m(fixes))


def lengths_m(fixes: Sequence[Fix]) -> tuple[float, ...]:
    """Length of every step: mean speed times duration where every fix has a speed, else haversine."""
    if fixes and all(fix.speed_kph is not None for fix in fixes):
        return tuple(
            ((a.speed_kph or 0.0) + (b.speed_kph or 0.0)) / 2 / 3.6 * (b.t - a.t)
            for a, b in itertools.pairwise(fixes)
        )
    return tuple(distance_m(a.lat, a.lon, b.lat, b.lon) for a, b in itertools.pairwise(fixes))


def _difference(fixes: Sequence[Fix], place: int, longest_gap_s: float) -> tuple[float, float | None]:
    """Speed (km/h) and course from the neighbours of one fix; no course without movement."""
    back, ahead = max(place - 1, 0), min(place + 1, len(fixes) - 1)
    gap_back = to_six(fixes[place].t - fixes[back].t) > longest_gap_s
    gap_ahead = to_six(fixes[ahead].t - fixes[place].t) > longest_gap_s
    if gap_back and not gap_ahead and ahead > place:
        back = place
    elif gap_ahead and not gap_back and back < place:
        ahead = place
    a, b = fixes[back], fixes[ahead]
    if b.t <= a.t:
        return 0.0, None
    length = distance_m(a.lat, a.lon, b.lat, b.lon)
    course = course_deg(a.lat, a.lon, b.lat, b.lon) if length > 0 else None
    return length / (b.t - a.t) * 3.6, course


def _kept_where_still(courses: Sequence[float | None]) -> tuple[float, ...]:
    known = next((course for course in courses if course is not None), 0.0)
    kept: list[float] = []
    for course in courses:
        known = known if course is None else course
        kept.append(known)
    return tuple(kept)


def speed_column_conflicts(fixes: Sequence[Fix], longest_gap_s: float) -> bool:
    """Median of |column - positions| above 15 % of the speed by positions: was it metres per second?"""
    shares: list[float] = []
    for place, fix in enumerate(fixes):
        if fix.speed_kph is None:
            continue
        by_position = _difference(fixes, place, longest_gap_s)[0]
        if max(fix.speed_kph, by_position) >= SPEED_COLUMN_FROM_KPH:
            apart = abs(fix.speed_kph - by_position)
            shares.append(apart / by_position if by_position > 0 else math.inf)
    if not shares:
        return False
    shares.sort()
    middle = len(shares) // 2
    median = shares[middle] if len(shares) % 2 else (shares[middle - 1] + shares[middle]) / 2
    return not to_six(median) <= SPEED_COLUMN_SHARE
