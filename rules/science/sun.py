"""Where the sun stands: geometric elevation and azimuth, good to 0.1 degree between 1950 and 2050."""

import math
from functools import lru_cache
from typing import Final

# 2000-01-01 12:00 UTC as POSIX seconds; the low-precision formulas count days from there.
J2000_S: Final = 946728000.0


# Each fix of a drive ends one step and begins the next.
@lru_cache(maxsize=4096)
def position_deg(at_s: float, lat: float, lon: float) -> tuple[float, float]:
    """Elevation of the disc's centre without refraction, and azimuth clockwise from true north, in degrees.

    Args:
        at_s: the instant, POSIX seconds (UTC).
        lat, lon: degrees, north and east positive.

    Source: low-precision formulas for the sun of the Astronomical Almanac (0.01 degree), from memory, checked
    against independent values in the tests.
    """
    days = (at_s - J2000_S) / 86400.0
    anomaly = math.radians((357.528 + 0.9856003 * days) % 360.0)
    mean_longitude = (280.460 + 0.9856474 * days) % 360.0
    ecliptic = math.radians(mean_longitude + 1.915 * math.sin(anomaly) + 0.020 * math.sin(2 * anomaly))
    obliquity = math.radians(23.439 - 0.0000004 * days)
    right_ascension = math.degrees(math.atan2(math.cos(obliquity) * math.sin(ecliptic), math.cos(ecliptic)))
    declination = math.asin(math.sin(obliquity) * math.sin(ecliptic))
    sidereal = (280.46062 + 360.98564737 * days) % 360.0
    hour_angle = math.radians(sidereal + lon - right_ascension)
    phi = math.radians(lat)
    height = math.sin(phi) * math.sin(declination)
    height += math.cos(phi) * math.cos(declination) * math.cos(hour_angle)
    east = -math.sin(hour_angle) * math.cos(declination)
    north = math.sin(declination) * math.cos(phi)
    north -= math.cos(declination) * math.cos(hour_angle) * math.sin(phi)
    return (
        math.degrees(math.asin(max(-1.0, min(1.0, height)))),
        math.degrees(math.atan2(east, north)) % 360.0,
    )


SCAN_STEP_S: Final = 60.0
EDGE_S: Final = 0.5


def stretch_above(
    limit_deg: float, start_s: float, end_s: float, lat: float, lon: float
) -> tuple[float, float] | None:
    """The first stretch within [start, end] (POSIX seconds) in which the sun stands at or above the limit.

    Geometric elevation as in ``position_deg``. None where it stays below. The edges are found to half a
    second; a time above the limit shorter than a minute may be missed.
    """
    first = _next(limit_deg, start_s, end_s, (lat, lon), above=True)
    if first is None:
        return None
    last = _next(limit_deg, first, end_s, (lat, lon), above=False)
    return first, end_s if last is None else last


def _next(
    limit_deg: float, start_s: float, end_s: float, place: tuple[float, float], *, above: bool
) -> float | None:
    """The first instant at which the sun is on that side of the limit, None where it never is."""

    def is_there(at_s: float) -> bool:
        return (position_deg(at_s, *place)[0] >= limit_deg) == above

    if is_there(start_s):
        return start_s
    before, after = start_s, min(start_s + SCAN_STEP_S, end_s)
    while not is_there(after):
        if after >= end_s:
            return None
        before, after = after, min(after + SCAN_STEP_S, end_s)
    while after - before > EDGE_S:
        middle = (before + after) / 2.0
        before, after = (before, middle) if is_there(middle) else (middle, after)
    # The side that is sure: inside the stretch for its start, still inside for its end.
    return after if above else before
