"""What a pack says about which sensor: who speaks for it, what asks for it, and where the pack is silent."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from rules.packs.conditions import ANY_SENSOR
from rules.packs.model import Condition, PackEdition, Trigger
from rules.vocabulary import DEFAULT_ZONES, OPERATIONS

TAUGHT_SENSOR = "steering_angle_sensor"


def covering(
    editions: tuple[PackEdition, ...], make: str, model_year: int, model: str
) -> tuple[PackEdition, ...]:
    """The editions that apply to the vehicle, in the given order."""
    return tuple(edition for edition in editions if edition.covers(make, model_year, model))


def speaks_for(editions: tuple[PackEdition, ...], sensor: str) -> bool:
    """True if a maker's pack among the covering ``editions`` is the maker's voice for ``sensor``."""
    return any(edition.is_maker and sensor in edition.speaks_for for edition in editions)


def zones_of(editions: tuple[PackEdition, ...]) -> Mapping[str, tuple[str, ...]]:
    """The zones of operations: default ones, over them common practice's, the house's, then the maker's."""
    zones = dict(DEFAULT_ZONES)
    for edition in sorted(editions, key=lambda one: (one.is_maker, one.house, one.pack)):
        zones.update(edition.zones)
    return zones


def leaves(condition: Condition) -> Iterator[Condition]:
    """The conditions without parts, in reading order."""
    if not condition.parts:
        yield condition
    for part in condition.parts:
        yield from leaves(part)


def asked_leaves(condition: Condition) -> Iterator[Condition]:
    """The conditions without parts that are asked for, not excluded: those under none are left out."""
    if condition.kind == "none":
        return
    if not condition.parts:
        yield condition
    for part in condition.parts:
        yield from asked_leaves(part)


def fitted_sensors(trigger: Trigger) -> tuple[str, ...]:
    """The sensors that the trigger asks for under fitted."""
    return _named(trigger, "fitted")


def named_operations(trigger: Trigger) -> tuple[str, ...]:
    """The operations that the trigger asks for."""
    return _named(trigger, "operation")


def _named(trigger: Trigger, kind: str) -> tuple[str, ...]:
    names = [name for leaf in asked_leaves(trigger.when) if leaf.kind == kind for name in leaf.names]
    return tuple(name for name in dict.fromkeys(names) if name != ANY_SENSOR)


def asking_operations(edition: PackEdition, sensor: str) -> tuple[str, ...]:
    """The operations in triggers that ask for ``sensor``, or that teach the straight-ahead position anew."""
    names: dict[str, None] = {}
    zones = zones_of((edition,))
    for trigger in edition.triggers:
        touched = sensor in _named(trigger, "touched")
        if touched or sensor in fitted_sensors(trigger) or _teaches(trigger, edition, sensor):
            names.update(dict.fromkeys(named_operations(trigger)))
        if touched:
            names.update(dict.fromkeys(name for name, sensors in zones.items() if sensor in sensors))
    return tuple(names)


def unneeded_operations(edition: PackEdition, sensor: str) -> tuple[str, ...]:
    """The operations for which the maker was read and asks nothing for ``sensor``."""
    return tuple(name for entry in edition.not_needed if sensor in entry.sensors for name in entry.operations)


def silent_pairs(edition: PackEdition) -> tuple[tuple[str, str], ...]:
    """(sensor, operation) that meet by zone, while the pack speaks for the sensor but not of them."""
    zones = zones_of((edition,))
    found = []
    for sensor in edition.speaks_for:
        said = asking_operations(edition, sensor) + unneeded_operations(edition, sensor)
        met = [name for name in (*OPERATIONS, *_added(edition)) if sensor in zones.get(name, ())]
        found += [(sensor, name) for name in met if name not in said]
    return tuple(found)


def asking_triggers(edition: PackEdition, sensor: str, operation: str) -> tuple[Trigger, ...]:
    """The triggers that make ``operation`` one after which something is asked for ``sensor``."""
    return tuple(
        trigger
        for trigger in edition.triggers
        if operation in asking_operations(replace(edition, triggers=(trigger,)), sensor)
    )


def contradicting_pairs(edition: PackEdition) -> tuple[tuple[str, str], ...]:
    """(sensor, operation) for which the pack asks for something and also says that nothing is needed."""
    return tuple(
        (sensor, name)
        for sensor in edition.speaks_for
        for name in unneeded_operations(edition, sensor)
        if name in asking_operations(edition, sensor)
    )


def _teaches(trigger: Trigger, edition: PackEdition, sensor: str) -> bool:
    if sensor != TAUGHT_SENSOR or fitted_sensors(trigger):
        return False
    called = [edition.procedure(name) for name in trigger.procedures]
    return any(procedure is not None and procedure.kind == "initialise" for procedure in called)


def _added(edition: PackEdition) -> tuple[str, ...]:
    return tuple(name for name in edition.zones if name not in OPERATIONS)
