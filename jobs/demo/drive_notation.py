"""Drives of the invented world: a few words of notation become one fix per second.

Parts of the notation, separated by ``;`` (a full stop at the end is allowed), starting from rest:

* ``to V s``: change speed evenly to V km/h within s seconds;
* ``hold s``: keep speed and course for s seconds;
* ``turn deg s``: turn evenly by deg (clockwise positive) within s seconds, keeping speed;
* ``lost s``: no position for s seconds: s - 1 fixes are left out and one is written at the end.

Positions are integrated step by step on the sphere, so the speed found from positions agrees with the column.
"""

from dataclasses import dataclass
from datetime import datetime

from rules.science.geodesy import destination

Fix = tuple[float, float, float, float, float]


class NotationError(ValueError):
    """The text is no drive."""

    code = "drive_notation"


@dataclass(slots=True)
class _Car:
    """Where the car is and how it moves."""

    t: float
    lat: float
    lon: float
    speed_kph: float
    course_deg: float

    def move(self, speed_kph: float, course_deg: float) -> None:
        """One second on, with even change of speed and course."""
        length_m = (self.speed_kph + speed_kph) / 2 / 3.6
        middle_deg = (self.course_deg + course_deg) / 2
        if length_m > 0:
            self.lat, self.lon = destination(self.lat, self.lon, middle_deg, length_m)
        self.t += 1.0
        self.speed_kph, self.course_deg = speed_kph, course_deg

    @property
    def fix(self) -> Fix:
        """(t POSIX s, latitude deg, longitude deg, speed km/h, course deg)."""
        return self.t, self.lat, self.lon, self.speed_kph, self.course_deg % 360.0


def drive(notation: str, start: datetime, lat: float, lon: float, *, course_deg: float = 0.0) -> list[Fix]:
    """Play a drive from rest at ``start``: fixes (t POSIX s, lat deg, lon deg, speed km/h, course deg).

    Raises:
        NotationError: an unknown part, or a duration that is no whole number of seconds from 1.
    """
    car = _Car(t=start.timestamp(), lat=lat, lon=lon, speed_kph=0.0, course_deg=course_deg)
    fixes = [car.fix]
    for part in notation.strip().rstrip(".").split(";"):
        fixes += _play(car, part.split())
    return fixes


def _play(car: _Car, words: list[str]) -> list[Fix]:
    try:
        word, *numbers = words
        amounts, seconds = [float(n) for n in numbers[:-1]], int(numbers[-1])
    except (ValueError, IndexError):
        raise NotationError(f"{' '.join(words)!r} is no part of a drive") from None
    if seconds < 1 or len(amounts) != {"to": 1, "turn": 1, "hold": 0, "lost": 0}.get(word, -1):
        raise NotationError(f"{' '.join(words)!r} is no part of a drive")
    from_kph, from_deg = car.speed_kph, car.course_deg
    to_kph = amounts[0] if word == "to" else from_kph
    to_deg = from_deg + amounts[0] if word == "turn" else from_deg
    if to_kph < 0:
        raise NotationError("a drive does not go backwards")
    fixes: list[Fix] = []
    for second in range(1, seconds + 1):
        share = second / seconds
        car.move(from_kph + (to_kph - from_kph) * share, from_deg + (to_deg - from_deg) * share)
        fixes.append(car.fix)
    return fixes[-1:] if word == "lost" else fixes
