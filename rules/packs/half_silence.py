"""Vehicles that a pack covers and speaks for, while each of its triggers leaves them out by model or year."""

from typing import Final

from rules.packs.coverage import asking_operations, asking_triggers, unneeded_operations
from rules.packs.model import Condition, PackEdition
from rules.packs.reach import can_be

# What is known of a vehicle before anything is done to it.
_OF_VEHICLE: Final = ("model", "year")
_ALWAYS: Final = Condition(kind="always")
_NEVER: Final = Condition(kind="none", parts=(_ALWAYS,))


def left_out(edition: PackEdition) -> dict[str, tuple[str, ...]]:
    """Sensors with the operations that are asked about, but not on every vehicle that the pack covers.

    A maker was then read for some models or years only, and the others would count as in need of nothing.
    Everything else, the build date too, is taken as it suits the trigger best.
    """
    found: dict[str, tuple[str, ...]] = {}
    for sensor in edition.speaks_for if edition.is_maker else ():
        unneeded = unneeded_operations(edition, sensor)
        for name in asking_operations(edition, sensor):
            if name in unneeded:
                continue
            asking = tuple(_at_best(one.when, True) for one in asking_triggers(edition, sensor, name))
            if can_be(Condition(kind="none", parts=asking), True, edition):
                found[sensor] = (*found.get(sensor, ()), name)
    return found


def _at_best(condition: Condition, wanted: bool) -> Condition:
    """The condition with every leaf that is not about the vehicle as it is ``wanted``."""
    if not condition.parts:
        if condition.kind in _OF_VEHICLE:
            return condition
        return _ALWAYS if wanted else _NEVER
    inner = wanted if condition.kind != "none" else not wanted
    return Condition(kind=condition.kind, parts=tuple(_at_best(part, inner) for part in condition.parts))
