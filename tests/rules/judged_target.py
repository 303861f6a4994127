"""target_pose judged on changed readings of one set-up, for its tests."""

import math
from collections.abc import Iterable
from typing import Any

from rules.checks.target_pose import target_pose
from rules.facts import Reading
from rules.verdict import Number, Outcome
from tests.rules.target_set import context, distances, job, set_up

TAU = math.radians(-0.075)


def outcome(readings: Iterable[Reading], **fields: Any) -> Outcome:
    facts = {key: fields.pop(key) for key in ("state_changes", "vehicle", "sessions") if key in fields}
    return target_pose(context(job(readings, **facts), **fields))


def number(found: Outcome, name: str) -> Number:
    return next(item for item in found.numbers if item.name == name)


def names(found: Outcome) -> set[str]:
    return {item.name for item in found.numbers}


def stands(x: float = 3200.0, aside: float = 0.0, yaw_deg: float = 0.0) -> tuple[float, ...]:
    """True distances to a bar at ``x``, ``aside`` of the thrust line and turned ``yaw_deg`` against it."""
    y = (x + 2760.0) * math.tan(TAU) + aside
    psi = TAU + math.radians(yaw_deg)
    found = []
    for mark in (790.0, -790.0):
        for half in (600.0, -600.0):
            end = (x - half * math.sin(psi), y + half * math.cos(psi))
            found.append(math.hypot(end[0], end[1] - mark))
    return tuple(found)


def at(**where: float) -> Outcome:
    return outcome(set_up(four=distances(stands(**where))))
