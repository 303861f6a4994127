"""The list of repair operations of a visit: what is on it, whether it is closed, and which zones it meets."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from rules.facts import Closing, EstimateLine, JobFacts, OperationDone, live, once
from rules.fitment import fitted_truth
from rules.verdict import Truth
from rules.vocabulary import AIMED_SENSORS, DEFAULT_ZONES, OPERATIONS, ZONE_DETAIL_OPERATIONS

Zones = Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedOperation:
    """One operation on the list: recorded as done, or named by a mapped estimate line."""

    operation: str
    zone_detail: str | None
    record: OperationDone | EstimateLine

    @property
    def is_done(self) -> bool:
        return isinstance(self.record, OperationDone)


@once
def listed_operations(facts: JobFacts) -> tuple[ListedOperation, ...]:
    """Everything on the list: operations done, then what estimate lines plan and nothing has carried out.

    Withdrawn and corrected records are gone. A planned name is taken as carried out when at least as many
    records of that name exist as lines plan it.
    """
    done = [
        ListedOperation(operation=record.operation, zone_detail=record.zone_detail, record=record)
        for record in live(facts.operations)
    ]
    lines = [(name, line) for line in live(facts.estimate_lines) for name in line.operations]
    carried_out = Counter(listed.operation for listed in done)
    wanted = Counter(name for name, _line in lines)
    planned = [
        ListedOperation(operation=name, zone_detail=None, record=line)
        for name, line in lines
        if carried_out[name] < wanted[name]
    ]
    return tuple(done + planned)


@once
def names_on_list(facts: JobFacts) -> tuple[str, ...]:
    """The operation names on the list, each once, in the order of :func:`listed_operations`."""
    return tuple(dict.fromkeys(listed.operation for listed in listed_operations(facts)))


def unmapped_lines(facts: JobFacts) -> tuple[EstimateLine, ...]:
    """Estimate lines that name no operation and do not say that they touch nothing."""
    return tuple(
        line for line in live(facts.estimate_lines) if not line.operations and not line.touches_nothing
    )


def governing_closing(facts: JobFacts) -> Closing | None:
    """The last closing of the list that was not opened again."""
    closings = sorted(live(facts.closings), key=lambda closing: (closing.received_at, closing.id))
    return closings[-1] if closings else None


@once
def operations_list_closed(facts: JobFacts) -> bool:
    """True while a closing stands, no estimate line is unmapped, and nothing was added or withdrawn since.

    What came later opens the list again by itself: what was closed did not hold it. Recording as done what an
    estimate line had planned adds nothing; doing it once more does.
    """
    closing = governing_closing(facts)
    if closing is None or unmapped_lines(facts):
        return False
    closed_at = closing.received_at
    rows: tuple[OperationDone | EstimateLine, ...] = (*facts.operations, *facts.estimate_lines)
    if any(_withdrawn_since(row, closed_at) for row in rows):
        return False
    lines = [(name, line) for line in live(facts.estimate_lines) for name in line.operations]
    planned = Counter(name for name, line in lines if line.received_at <= closed_at)
    now = Counter(row.operation for row in live(facts.operations))
    now_planned = Counter(name for name, _line in lines)
    done = Counter(row.operation for row in facts.operations if _stood(row, closed_at))
    return all(
        max(now.get(name, 0), now_planned.get(name, 0)) <= max(planned.get(name, 0), done.get(name, 0))
        for name in (*now, *now_planned)
    )


def _stood(row: OperationDone, at: datetime) -> bool:
    return row.received_at <= at and (row.ended_at is None or row.ended_at > at)


def _withdrawn_since(row: OperationDone | EstimateLine, closed_at: datetime) -> bool:
    was_there = row.received_at <= closed_at and row.ended_at is not None and row.ended_at > closed_at
    return was_there and row.ended_how != "corrected"


def zones_met(listed: ListedOperation, zones: Zones) -> tuple[str, ...] | None:
    """The sensors whose zone the operation may meet; None where nobody has said which (an added name)."""
    if listed.zone_detail is not None and listed.operation in ZONE_DETAIL_OPERATIONS:
        return (listed.zone_detail,)
    if listed.operation in zones:
        return zones[listed.operation]
    if listed.operation in OPERATIONS:
        return DEFAULT_ZONES.get(listed.operation, ())
    return (listed.zone_detail,) if listed.zone_detail is not None else None


def operation_truth(facts: JobFacts, names: tuple[str, ...]) -> Truth:
    """True if one of ``names`` is on the list; false only if the list is closed; else unknown."""
    if any(name in names for name in names_on_list(facts)):
        return "true"
    return "false" if operations_list_closed(facts) else "unknown"


def touch_of(listed: ListedOperation, sensor: str, facts: JobFacts, zones: Zones) -> Truth:
    """Whether this operation met the sensor's zone.

    Operations on wheels, chassis and modules meet every aimed sensor that is fitted, so with them the answer
    is as certain as the fitting. A name whose zones nobody has said leaves it unknown.
    """
    met = zones_met(listed, zones)
    if met is None:
        return "unknown"
    if sensor not in met:
        return "false"
    if met == AIMED_SENSORS:
        return fitted_truth(facts, sensor)
    return "true"


def touched_truth(facts: JobFacts, sensor: str, zones: Zones) -> Truth:
    """True if an operation on the list meets the sensor's zone; false only if the list is closed."""
    touches = {touch_of(listed, sensor, facts, zones) for listed in listed_operations(facts)}
    if "true" in touches:
        return "true"
    if "unknown" in touches or not operations_list_closed(facts):
        return "unknown"
    return "false"


def touching_names(facts: JobFacts, sensor: str, zones: Zones) -> tuple[str, ...]:
    """The names on the list that meet, or may meet, the sensor's zone."""
    return tuple(
        dict.fromkeys(
            listed.operation
            for listed in listed_operations(facts)
            if touch_of(listed, sensor, facts, zones) != "false"
        )
    )
