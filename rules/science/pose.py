"""Where a bar stands in front of an axle, from tape readings between floor marks, and how well that is known.

Axes after ISO 8855: x forward, y to the left, angles anticlockwise seen from above. Lengths in mm, angles in
radians unless a name says degrees. The bar's left mark lies at (x - b/2 sin psi, y + b/2 cos psi), its right
mark at (x + b/2 sin psi, y - b/2 cos psi), for a centre (x, y), a turn psi and a length b.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

from rules.science.chi_square import point
from rules.science.least_squares import least_squares

End = Literal["left", "right"]
Row = tuple[float, ...]

# Changes below this (mm, rad) end the iteration; an iteration that goes on for longer has no solution.
SETTLED: Final = 1e-9
MOST_STEPS: Final = 50
UNKNOWNS: Final = 3
# A share of the readings small enough for a straight line, large enough for the digits.
SCALE_STEP: Final = 1e-5
SHARE: Final = 0.95


class PoseError(ValueError):
    """No position: ``code`` is few, singular or no_solution."""

    def __init__(self, code: Literal["few", "singular", "no_solution"], message: str) -> None:
        super().__init__(message)
        self.code = code


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """One level distance from a floor mark to one end of the bar, or the mean of several such readings.

    Attributes:
        place: the reading's name, as d_LL.
        mark: (x, y) of the floor mark.
        end: which end of the bar.
        distance: mm, level; see ``level_distance`` for a slanted tape.
        u: independent standard uncertainty, mm; above zero.
        scale: (instrument, relative standard uncertainty, share of this observation read with it): the part
            that all readings with one instrument share in proportion to their length.
        additive: (instrument, standard uncertainty in mm, share): the part they share as one amount, as the
            uncertainty of a correction does.
    """

    place: str
    mark: tuple[float, float]
    end: End
    distance: float
    u: float
    scale: tuple[tuple[str, float, float], ...] = ()
    additive: tuple[tuple[str, float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """The bar's centre (mm) and turn (rad) with the covariance of (x, y, psi).

    ``independent`` is the part of the covariance that repeating shrinks. ``residuals``: observed minus
    computed, mm; ``standardized``: each divided by its own standard deviation, None where it has none.
    """

    x: float
    y: float
    psi: float
    covariance: tuple[Row, ...]
    independent: tuple[Row, ...]
    residuals: Row
    standardized: tuple[float | None, ...]
    chi_squared: float
    degrees_of_freedom: int

    @property
    def chi_squared_limit(self) -> float | None:
        """The 95 % point of chi-square for these degrees of freedom; None for none."""
        return point(self.degrees_of_freedom, SHARE) if self.degrees_of_freedom > 0 else None


def level_distance(tape: float, height_difference: float) -> float:
    """The level distance under a slanted tape, by Pythagoras: 3210 mm over 120 mm is 3207.76 mm.

    Raises:
        ValueError: a height difference that the tape cannot span.
    """
    if not abs(height_difference) < tape:
        raise ValueError("the height difference is as long as the tape")
    return math.sqrt((tape - height_difference) * (tape + height_difference))


# ------------------------------------------------------------------ solving


def solve(observations: Sequence[Observation], bar: float, start_x: float) -> Pose:
    """The pose that fits the readings best, each weighed by 1/u^2 (Gauss-Newton), with its covariance.

    Starts at (``start_x``, 0, 0). Covariance: (J'WJ)^-1 for the independent parts; each part that an
    instrument's readings share is carried through by solving once more with those readings changed
    (JCGM 100:2008, 5.2: full correlation within one instrument, none between two).

    Raises:
        PoseError: fewer than three readings (few), readings that do not fix the position (singular), an
            iteration without end (no_solution).
        ValueError: a number that is not finite, or an uncertainty that is not positive.
    """
    _check(observations, bar, start_x)
    distances = [item.distance for item in observations]
    found = _iterate(observations, bar, distances, (start_x, 0.0, 0.0))
    design = _design(observations, bar, found)
    residuals = _residuals(observations, bar, distances, found)
    weights = [1.0 / (item.u * item.u) for item in observations]
    independent = _fit(design, residuals, weights).covariance
    covariance = independent
    for u, effects in _common_parts(observations):
        sensitivity = _sensitivity(observations, bar, found, effects)
        covariance = _with_common(covariance, sensitivity, u)
    return Pose(
        x=found[0],
        y=found[1],
        psi=found[2],
        covariance=covariance,
        independent=independent,
        residuals=residuals,
        standardized=_standardized(observations, design, residuals, independent),
        chi_squared=math.fsum((r / o.u) * (r / o.u) for r, o in zip(residuals, observations, strict=True)),
        degrees_of_freedom=len(observations) - UNKNOWNS,
    )


def _check(observations: Sequence[Observation], bar: float, start_x: float) -> None:
    numbers = [bar, start_x]
    for item in observations:
        numbers += [item.distance, item.u, *item.mark]
        numbers += [value for _, u, share in (*item.scale, *item.additive) for value in (u, share)]
    if not all(math.isfinite(number) for number in numbers):
        raise ValueError("a distance, length or uncertainty is not a finite number")
    if bar <= 0.0 or any(item.u <= 0.0 or item.distance <= 0.0 for item in observations):
        raise ValueError("a length or an uncertainty is not positive")
    if any(u < 0.0 for item in observations for _, u, _ in (*item.scale, *item.additive)):
        raise ValueError("an uncertainty is negative")
    if len(observations) < UNKNOWNS:
        raise PoseError("few", "fewer than three readings")


def _iterate(
    observations: Sequence[Observation], bar: float, distances: Sequence[float], start: Row
) -> tuple[float, float, float]:
    weights = [1.0 / (item.u * item.u) for item in observations]
    x, y, psi = start
    for _ in range(MOST_STEPS):
        residuals = _residuals(observations, bar, distances, (x, y, psi))
        step = _fit(_design(observations, bar, (x, y, psi)), residuals, weights).coefficients
        x, y, psi = x + step[0], y + step[1], psi + step[2]
        if not all(math.isfinite(value) for value in (x, y, psi)):
            break
        if max(abs(value) for value in step) < SETTLED:
            return x, y, psi
    raise PoseError("no_solution", "the iteration does not come to rest")


def _fit(design: Sequence[Row], residuals: Sequence[float], weights: Sequence[float]) -> "_Fit":
    try:
        fit = least_squares(design, residuals, weights)
    except ValueError as error:
        raise PoseError("singular", "the readings do not fix the position") from error
    return _Fit(coefficients=fit.coefficients, covariance=fit.covariance)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    coefficients: Row
    covariance: tuple[Row, ...]


def _arm(item: Observation, bar: float, pose: Row) -> tuple[float, float, float, float]:
    """From the floor mark to the end of the bar (dx, dy), and how that end moves with the turn."""
    x, y, psi = pose
    half = bar / 2.0 if item.end == "left" else -bar / 2.0
    sine, cosine = math.sin(psi), math.cos(psi)
    return (
        x - half * sine - item.mark[0],
        y + half * cosine - item.mark[1],
        -half * cosine,
        -half * sine,
    )


def _residuals(observations: Sequence[Observation], bar: float, distances: Sequence[float], pose: Row) -> Row:
    computed = (math.hypot(dx, dy) for dx, dy, _, _ in (_arm(item, bar, pose) for item in observations))
    return tuple(observed - value for observed, value in zip(distances, computed, strict=True))


def _design(observations: Sequence[Observation], bar: float, pose: Row) -> tuple[Row, ...]:
    """One row for each reading: how it grows with x, y and psi."""
    rows = []
    for item in observations:
        dx, dy, turn_x, turn_y = _arm(item, bar, pose)
        length = math.hypot(dx, dy)
        if length == 0.0:
            raise PoseError("singular", "a floor mark lies under the bar")
        rows.append((dx / length, dy / length, (dx * turn_x + dy * turn_y) / length))
    return tuple(rows)


# ------------------------------------------------------------------ what readings share


def _common_parts(observations: Sequence[Observation]) -> list[tuple[float, Row]]:
    """For each instrument's shared part: its u, and how each reading changes with it."""
    parts: list[tuple[float, Row]] = []
    for name, u in _sources(item.scale for item in observations):
        parts.append((u, tuple(item.distance * _share(item.scale, name, u) for item in observations)))
    for name, u in _sources(item.additive for item in observations):
        parts.append((u, tuple(_share(item.additive, name, u) for item in observations)))
    return parts


def _sources(parts: Iterable[tuple[tuple[str, float, float], ...]]) -> list[tuple[str, float]]:
    return list(dict.fromkeys((name, u) for row in parts for name, u, _ in row if u > 0.0))


def _share(row: tuple[tuple[str, float, float], ...], name: str, u: float) -> float:
    return math.fsum(share for other, other_u, share in row if (other, other_u) == (name, u))


def _sensitivity(observations: Sequence[Observation], bar: float, found: Row, effects: Row) -> Row:
    """Change of (x, y, psi) per unit of a shared part: solved again with all its readings changed."""
    longest = max(abs(effect) for effect in effects)
    if longest == 0.0:
        return (0.0, 0.0, 0.0)
    unit = SCALE_STEP * max(item.distance for item in observations) / longest
    distances = [item.distance + unit * effect for item, effect in zip(observations, effects, strict=True)]
    moved = _iterate(observations, bar, distances, found)
    return tuple((after - before) / unit for after, before in zip(moved, found, strict=True))


def _with_common(covariance: tuple[Row, ...], sensitivity: Row, u: float) -> tuple[Row, ...]:
    return tuple(
        tuple(covariance[i][j] + sensitivity[i] * u * (sensitivity[j] * u) for j in range(UNKNOWNS))
        for i in range(UNKNOWNS)
    )


def _standardized(
    observations: Sequence[Observation], design: Sequence[Row], residuals: Row, covariance: tuple[Row, ...]
) -> tuple[float | None, ...]:
    """Residuals over their own standard deviations: u^2 less what the fit took of it."""
    found: list[float | None] = []
    for item, row, residual in zip(observations, design, residuals, strict=True):
        taken = math.fsum(
            row[i] * covariance[i][j] * row[j] for i in range(UNKNOWNS) for j in range(UNKNOWNS)
        )
        left = item.u * item.u - taken
        found.append(residual / math.sqrt(left) if left > 1e-9 * item.u * item.u else None)
    return tuple(found)


# ------------------------------------------------------------------ predicting


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A way of measuring, before anything is read: mm and deg.

    Attributes:
        distance: x of the bar's centre from the marks measured from.
        track: how far the two marks lie apart.
        bar: length of the bar.
        u: independent standard uncertainty of one reading, mm.
        u_relative: relative standard uncertainty that all readings share (the tape's scale).
        other_axle_x: x of the marks at the other axle, None where they are not used.
        other_track: how far those lie apart.
        sets: how often each reading is taken, by place (d_ for the marks measured from, b_ for the other
            axle's); a place left out is taken ``times`` times.
        thrust_arm: length over which the thrust line moves aside, mm; 0 without thrust line.
        u_thrust_deg: standard uncertainty of the thrust line.
    """

    distance: float
    track: float
    bar: float
    u: float
    u_relative: float = 0.0
    other_axle_x: float | None = None
    other_track: float | None = None
    times: int = 1
    sets: Mapping[str, int] = field(default_factory=dict)
    thrust_arm: float = 0.0
    u_thrust_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicted:
    """Standard uncertainties to expect: mm, mm, deg."""

    u_distance: float
    u_sideways: float
    u_yaw_deg: float


def predict(design: Design) -> Predicted:
    """The uncertainties of distance, sideways position and yaw under a way of measuring.

    No reading is needed: the rows of J depend on where the bar stands only, here straight ahead at the
    design's distance. Repeats shrink the independent part, never the scale's or the thrust line's.

    Raises:
        PoseError, ValueError: as ``solve``.
    """
    observations = planned(design)
    pose = solve(observations, design.bar, design.distance)
    u_thrust = math.radians(design.u_thrust_deg)
    return Predicted(
        u_distance=math.sqrt(pose.covariance[0][0]),
        u_sideways=sideways_u(pose, design.thrust_arm, u_thrust),
        u_yaw_deg=math.degrees(math.hypot(math.sqrt(pose.covariance[2][2]), u_thrust)),
    )


def sideways_u(pose: Pose, arm: float, u_thrust: float) -> float:
    """u of the sideways position: of y, and of the thrust line over ``arm`` (mm, rad)."""
    return math.hypot(math.sqrt(pose.covariance[1][1]), arm * u_thrust)


def planned(design: Design) -> tuple[Observation, ...]:
    """What the tape would show on every planned line if the bar stood straight ahead at its distance."""
    axles = [("d", 0.0, design.track)]
    if design.other_axle_x is not None:
        axles.append(("b", design.other_axle_x, design.other_track or design.track))
    found = []
    for prefix, x, track in axles:
        for side, y in (("L", track / 2.0), ("R", -track / 2.0)):
            for letter, end, half in (("L", "left", design.bar / 2.0), ("R", "right", -design.bar / 2.0)):
                place = f"{prefix}_{side}{letter}"
                count = design.sets.get(place, design.times)
                if count < 1:
                    continue
                found.append(
                    Observation(
                        place=place,
                        mark=(x, y),
                        end="left" if end == "left" else "right",
                        distance=math.hypot(design.distance - x, half - y),
                        u=design.u / math.sqrt(count),
                        scale=(("tape", design.u_relative, 1.0),),
                    )
                )
    return tuple(found)
