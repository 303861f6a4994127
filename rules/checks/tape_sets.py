"""Repeated tape readings of one distance: whether they agree, what counts once, and their mean."""

import math
from collections.abc import Sequence
from typing import Final

from rules.checks.draft import Draft, listed, plain
from rules.checks.one_reading import u_of_mean
from rules.facts import Reading
from rules.rounding import to_six
from rules.science.pose import Observation

# Repeated readings of one distance lie no further apart than this many standard uncertainties (project
# default).
MOST_RANGE_U: Final = 4.0


def place_words(place: str) -> str:
    """``d_LR (left front mark to the right end of the bar)``."""
    sides = {"L": "left", "R": "right"}
    axle = "front" if place.startswith("d_") else "rear"
    return f"{place} ({sides[place[2]]} {axle} mark to the {sides[place[3]]} end of the bar)"


def independent_u(reading: Reading) -> float | None:
    """The part of u that another reading with the same instrument does not share, mm; None if not known."""
    u = None if reading.instrument is None else reading.u
    if u is None or reading.u_common is None or u <= 0.0:
        return None
    shared = reading.u_common * reading.value
    left = (u - shared) * (u + shared)
    return math.sqrt(left) if left > 0.0 else None


def uncertainties_known(draft: Draft, readings: Sequence[Reading]) -> bool:
    """Has every distance an independent part of its uncertainty? Tells which has none."""
    unknown = [item.place for item in readings if independent_u(item) is None]
    if not unknown:
        return True
    names = listed(dict.fromkeys(unknown))
    sentence = f"Read without a tape that has a method budget, so the uncertainty is unknown: {names}."
    draft.not_shown(
        "uncertainty_unknown", sentence, "Read the distances with a tape on the instrument list.", "now"
    )
    return False


def sets_agree(draft: Draft, by_place: dict[str, tuple[Reading, ...]]) -> bool:
    """Repeated readings of one distance that lie too far apart are not of one and the same set-up."""
    apart = []
    for place, row in by_place.items():
        values = [item.value for item in row]
        spread = to_six(max(values) - min(values))
        limit = to_six(MOST_RANGE_U * min(independent_u(item) or 0.0 for item in row))
        if spread > limit:
            apart.append(f"{place_words(place)} by {plain(spread, 1, (limit,))} mm")
    if not apart:
        return True
    draft.not_shown(
        "readings_disagree",
        f"Readings of the same distance differ by more than {MOST_RANGE_U:g} standard uncertainties: "
        f"{listed(apart)}.",
        "Correct or set aside the reading that is wrong.",
        "now",
    )
    return False


def one_value_each(draft: Draft, by_place: dict[str, tuple[Reading, ...]]) -> bool:
    """Two different values of one distance in one set, read at one time, contradict each other."""
    double = []
    for place, row in by_place.items():
        once = {(item.at, item.set_no) for item in without_copies(row)}
        if len(once) < len(without_copies(row)):
            double.append(place_words(place))
    if not double:
        return True
    draft.not_shown(
        "conflict",
        f"On record with two values for one set at one time: {listed(double)}.",
        "Correct or set aside the reading that is wrong.",
        "now",
    )
    return False


def without_copies(row: Sequence[Reading]) -> tuple[Reading, ...]:
    """Of readings with one value at one time the first: sent or written twice, it was still read once."""
    kept: dict[object, Reading] = {}
    for item in row:
        kept.setdefault((item.at, item.value, item.instrument), item)
    return tuple(kept.values())


def largest_scale(readings: Sequence[Reading], instrument: str | None) -> float:
    """The scale's relative uncertainty of one tape, the largest that a reading with it names."""
    return max(item.u_common or 0.0 for item in readings if item.instrument == instrument)


def mean_of(
    place: str, axle: tuple[float, float], row: Sequence[Reading], scale: dict[str | None, float]
) -> Observation:
    """The mean of the readings of one distance: independent parts shrink, shared ones do not."""
    count = len(row)
    total = math.fsum(item.value for item in row)
    own = [independent_u(item) or 0.0 for item in row]
    x, half_track = axle
    side, end = place[2], place[3]
    return Observation(
        place=place,
        mark=(x, half_track if side == "L" else -half_track),
        end="left" if end == "L" else "right",
        distance=total / count,
        u=u_of_mean(row, own),
        scale=tuple((str(item.instrument), scale[item.instrument], item.value / total) for item in row),
        additive=tuple((str(item.instrument), item.u_added, 1.0 / count) for item in row),
    )
