"""What a condition reads of a job: where that is equal, so is what is said of the condition."""

from collections.abc import Callable, Hashable
from typing import Final

from rules.facts import JobFacts, once
from rules.fitment import fitted_fact, fitted_truths
from rules.packs.conditions import ANY_SENSOR
from rules.packs.coverage import leaves
from rules.packs.model import Condition
from rules.packs.triggers import codes_truth
from rules.scans import first_scan
from rules.verdict import Truth
from rules.vocabulary import SENSORS
from rules.work_list import listed_operations, names_on_list, operations_list_closed

Reads = Callable[[JobFacts], Hashable]

_ANY_OR_KNOWN: Final = frozenset((*SENSORS, ANY_SENSOR))


def reads(condition: Condition) -> tuple[Reads, ...] | None:
    """Functions of the facts that together settle every word said of the condition on one compiled vehicle.

    The ids of the operations that speak for it are left out. None where a part reads what no key is made of.
    """
    found: list[Reads] = []
    for leaf in leaves(condition):
        own = _OF_LEAF.get(leaf.kind, _none)(leaf)
        if own is None:
            return None
        found += own
    return tuple(found)


def _none(_leaf: Condition) -> tuple[Reads, ...] | None:
    return None


def _settled(_leaf: Condition) -> tuple[Reads, ...] | None:
    """What the vehicle's make, model and year and the editions settle is part of the compilation."""
    return ()


@once
def _told(facts: JobFacts) -> dict[str, tuple[Truth, str]]:
    truths = fitted_truths(facts)
    return {sensor: (truths[sensor], fitted_fact(facts, sensor)) for sensor in SENSORS}


def _fitted(leaf: Condition) -> tuple[Reads, ...] | None:
    if not _ANY_OR_KNOWN.issuperset(leaf.names):
        return None
    names = SENSORS if ANY_SENSOR in leaf.names else leaf.names
    if len(names) == 1:
        name = names[0]
        return (lambda facts: _told(facts)[name],)
    return (lambda facts: tuple([_told(facts)[name] for name in names]),)


def _operation(leaf: Condition) -> tuple[Reads, ...] | None:
    wanted = frozenset(leaf.names)

    def read(facts: JobFacts) -> Hashable:
        on_list = names_on_list(facts)
        if wanted.isdisjoint(on_list):
            return operations_list_closed(facts)
        return tuple([name for name in on_list if name in wanted])

    return (read,)


@once
def _touches(facts: JobFacts) -> Hashable:
    return (
        tuple([(listed.operation, listed.zone_detail) for listed in listed_operations(facts)]),
        operations_list_closed(facts),
        tuple(fitted_truths(facts).values()),
    )


def _touched(leaf: Condition) -> tuple[Reads, ...] | None:
    return (_touches,) if _ANY_OR_KNOWN.issuperset(leaf.names) else None


def _code_seen(leaf: Condition) -> tuple[Reads, ...] | None:
    def read(facts: JobFacts) -> Hashable:
        scan, stands_in = first_scan(facts)
        return codes_truth(facts, leaf.module, leaf.names), scan is None, stands_in

    return (read,)


def _built(_leaf: Condition) -> tuple[Reads, ...] | None:
    return (lambda facts: facts.vehicle.build_date,)


_OF_LEAF: Final[dict[str, Callable[[Condition], tuple[Reads, ...] | None]]] = {
    "always": _settled,
    "fitted": _fitted,
    "operation": _operation,
    "touched": _touched,
    "code_seen": _code_seen,
    "no_maker_pack": _settled,
    "model": _settled,
    "year": _settled,
    "built": _built,
}
