"""Drives for tests: the notation of ``jobs.demo.drive_notation`` as fixes of the rules.

``drive`` is re-exported: ``drive(notation, start, lat, lon)`` gives (t, lat, lon, speed km/h, course deg).
"""

from datetime import datetime

from jobs.demo.drive_notation import NotationError, drive
from rules.facts import Fix

__all__ = ["NotationError", "drive", "fixes"]


def fixes(
    notation: str, start: datetime, *, lat: float = 43.1, lon: float = -98.2, columns: bool = True
) -> tuple[Fix, ...]:
    """The drive as fixes, with or without its speed and course columns."""
    return tuple(
        Fix(
            t=t,
            lat=at_lat,
            lon=at_lon,
            speed_kph=speed if columns else None,
            course_deg=course if columns else None,
        )
        for t, at_lat, at_lon, speed, course in drive(notation, start, lat, lon)
    )
