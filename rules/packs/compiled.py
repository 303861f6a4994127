"""The triggers of the editions that cover a vehicle, made ready once: closures on projected facts, index."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from rules.facts import JobFacts, Remembers, once
from rules.fitment import fitted_truths
from rules.packs.conditions import ANY_SENSOR
from rules.packs.coverage import fitted_sensors, leaves, speaks_for, zones_of
from rules.packs.kleene import any_of, none_of
from rules.packs.model import Condition, PackEdition, Procedure, Trigger
from rules.packs.triggers import codes_truth
from rules.verdict import Truth
from rules.vocabulary import SENSORS
from rules.work_list import names_on_list, operations_list_closed, touched_truth

# How many sets of editions stay ready: one per make, model and year on the way through many jobs.
KEPT_READY: Final = 2048
_FALSE: Final[Truth] = "false"


@dataclass(frozen=True, slots=True, kw_only=True)
class Projected:
    """What conditions ask of one job, worked out once.

    Attributes:
        facts: where it comes from, for what only few conditions ask.
        fitted: for every sensor.
        names: the operations on the list.
        if_absent: the truth of an operation that is not on the list.
    """

    facts: JobFacts
    fitted: Mapping[str, Truth]
    names: frozenset[str]
    if_absent: Truth


@once
def projected(facts: JobFacts) -> Projected:
    """The projection of one job; the facts as held at the gate instant."""
    return Projected(
        facts=facts,
        fitted=fitted_truths(facts),
        names=frozenset(names_on_list(facts)),
        if_absent=_FALSE if operations_list_closed(facts) else "unknown",
    )


Judging = Callable[[Projected], Truth]


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """One trigger with what it calls for on this model, and its condition made ready.

    ``procedure`` is None where the pack names none for the model, or names one that stands nowhere;
    ``sensors`` are those that the trigger names under fitted.
    """

    name: str
    trigger: Trigger
    edition: PackEdition
    procedure: Procedure | None
    defined_in: PackEdition
    sensors: tuple[str, ...]
    truth: Judging


@dataclass(frozen=True, slots=True, kw_only=True)
class Compiled(Remembers):
    """Every call of the covering editions, in their order.

    Attributes:
        editions: those that cover the vehicle.
        zones: the zones of operations under them.
        calls: in the order of editions and triggers.
        by_operation: places of calls that are false on a closed list without that operation.
        always: places of the calls that no operation rules out.
    """

    editions: tuple[PackEdition, ...]
    zones: Mapping[str, tuple[str, ...]]
    calls: tuple[Call, ...]
    by_operation: Mapping[str, tuple[int, ...]]
    always: tuple[int, ...]

    def truths(self, facts: JobFacts) -> tuple[tuple[int, Truth], ...]:
        """(place, truth) of every call that is not false, by place.

        On a closed list only those are looked at that some operation on it, or none, can make true.
        """
        seen = projected(facts)
        if seen.if_absent == _FALSE:
            places: set[int] = set(self.always)
            for name in seen.names:
                places.update(self.by_operation.get(name, ()))
            order = sorted(places)
        else:
            order = list(range(len(self.calls)))
        judged = [(place, self.calls[place].truth(seen)) for place in order]
        return tuple((place, truth) for place, truth in judged if truth != _FALSE)


class _Vehicle:
    """The key of one compilation: the very editions, found by their hashes, and what is read of the vehicle.

    House rules laid over an edition keep its hash: equal hashes are not enough, it must be the same object.
    """

    __slots__ = ("editions", "vehicle")

    def __init__(self, editions: tuple[PackEdition, ...], vehicle: tuple[object, ...]) -> None:
        self.editions = editions
        self.vehicle = vehicle

    def __hash__(self) -> int:
        return (self.vehicle, *(edition.sha256 for edition in self.editions)).__hash__()

    def __eq__(self, other: object) -> bool:
        return (
            isinstance(other, _Vehicle)
            and self.vehicle == other.vehicle
            and len(self.editions) == len(other.editions)
            and all(mine is theirs for mine, theirs in zip(self.editions, other.editions, strict=True))
        )


def compiled(editions: tuple[PackEdition, ...], facts: JobFacts) -> Compiled:
    """The editions of ``editions`` that cover the vehicle of ``facts``, made ready; kept for the next job."""
    vehicle = facts.vehicle
    return _compile(_Vehicle(editions, (vehicle.make, vehicle.model, vehicle.model_year)))


@lru_cache(maxsize=KEPT_READY)
def _compile(key: _Vehicle) -> Compiled:
    make, model, model_year = key.vehicle
    covering = tuple(
        edition
        for edition in key.editions
        if isinstance(make, str) and isinstance(model, str) and isinstance(model_year, int)
        if edition.covers(make, model_year, model)
    )
    bench = _Bench(editions=covering, zones=zones_of(covering), vehicle=(model, model_year))
    calls = tuple(_call(bench, edition, trigger) for edition in covering for trigger in edition.triggers)
    places: dict[str, list[int]] = {}
    always = []
    for place, call in enumerate(calls):
        needed = _needed(call.trigger.when)
        if needed is None:
            always.append(place)
        for name in needed or ():
            places.setdefault(name, []).append(place)
    return Compiled(
        editions=covering,
        zones=bench.zones,
        calls=calls,
        by_operation={name: tuple(found) for name, found in places.items()},
        always=tuple(always),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bench:
    """What closures are made from."""

    editions: tuple[PackEdition, ...]
    zones: Mapping[str, tuple[str, ...]]
    vehicle: tuple[object, ...]
    sensor: str | None = None


def _call(bench: _Bench, edition: PackEdition, trigger: Trigger) -> Call:
    model = bench.vehicle[0]
    name = trigger.procedure_for(model) if isinstance(model, str) else None
    procedure, defined_in = _defined(name, edition, bench.editions)
    return Call(
        name=name or trigger.id,
        trigger=trigger,
        edition=edition,
        procedure=procedure,
        defined_in=defined_in,
        sensors=fitted_sensors(trigger),
        truth=_judging(trigger.when, bench),
    )


def _defined(
    name: str | None, edition: PackEdition, applying: tuple[PackEdition, ...]
) -> tuple[Procedure | None, PackEdition]:
    if name is None:
        return None, edition
    for one in (edition, *applying):
        procedure = one.procedure(name)
        if procedure is not None:
            return procedure, one
    return None, edition


def _needed(condition: Condition) -> frozenset[str] | None:
    """Operations of which one must be on a closed list, or the condition is false; None: nothing is known."""
    if condition.kind == "operation":
        return frozenset(condition.names)
    if condition.kind == "all":
        found = [names for names in map(_needed, condition.parts) if names is not None]
        return min(found, key=len, default=None)
    if condition.kind == "any" and condition.parts:
        each = [_needed(part) for part in condition.parts]
        known = [names for names in each if names is not None]
        return frozenset().union(*known) if len(known) == len(each) else None
    return None


# ------------------------------------------------------------------ closures


def _judging(condition: Condition, bench: _Bench) -> Judging:
    if condition.kind == "all" and bench.sensor is None and _asks_any_sensor(condition):
        each = [_judging(condition, _about(bench, sensor)) for sensor in SENSORS]
        return lambda seen: any_of([judge(seen) for judge in each])
    return _MAKERS[condition.kind](condition, bench)


def _asks_any_sensor(condition: Condition) -> bool:
    return any(ANY_SENSOR in leaf.names for leaf in leaves(condition))


def _about(bench: _Bench, sensor: str) -> _Bench:
    return _Bench(editions=bench.editions, zones=bench.zones, vehicle=bench.vehicle, sensor=sensor)


def _settled(truth: Truth) -> Judging:
    return lambda _seen: truth


def _sensors(condition: Condition, bench: _Bench) -> tuple[str, ...]:
    if ANY_SENSOR not in condition.names:
        return condition.names
    return SENSORS if bench.sensor is None else (bench.sensor,)


def _fitted(condition: Condition, bench: _Bench) -> Judging:
    sensors = _sensors(condition, bench)
    if len(sensors) == 1:
        sensor = sensors[0]
        return lambda seen: seen.fitted[sensor]
    return lambda seen: any_of([seen.fitted[sensor] for sensor in sensors])


def _operation(condition: Condition, _bench: _Bench) -> Judging:
    names = frozenset(condition.names)
    return lambda seen: seen.if_absent if names.isdisjoint(seen.names) else "true"


def _touched(condition: Condition, bench: _Bench) -> Judging:
    sensors, zones = _sensors(condition, bench), bench.zones
    return lambda seen: any_of([touched_truth(seen.facts, sensor, zones) for sensor in sensors])


def _code_seen(condition: Condition, _bench: _Bench) -> Judging:
    module, names = condition.module, condition.names
    return lambda seen: codes_truth(seen.facts, module, names)


def _no_maker_pack(_condition: Condition, bench: _Bench) -> Judging:
    if bench.sensor is None:
        return _settled(_FALSE if any(edition.is_maker for edition in bench.editions) else "true")
    return _settled(_FALSE if speaks_for(bench.editions, bench.sensor) else "true")


def _model(condition: Condition, bench: _Bench) -> Judging:
    return _settled("true" if bench.vehicle[0] in condition.names else _FALSE)


def _year(condition: Condition, bench: _Bench) -> Judging:
    first, last = condition.years or (0, 0)
    year = bench.vehicle[1]
    return _settled("true" if isinstance(year, int) and first <= year <= last else _FALSE)


def _built(condition: Condition, _bench: _Bench) -> Judging:
    first, last = condition.built or (None, None)

    def judge(seen: Projected) -> Truth:
        built = seen.facts.vehicle.build_date
        if built is None:
            return "unknown"
        inside = (first is None or first <= built) and (last is None or built <= last)
        return "true" if inside else _FALSE

    return judge


def _all(condition: Condition, bench: _Bench) -> Judging:
    parts = [_judging(part, bench) for part in condition.parts]

    def judge(seen: Projected) -> Truth:
        truth: Truth = "true"
        for part in parts:
            found = part(seen)
            if found == _FALSE:
                return _FALSE
            if found != "true":
                truth = "unknown"
        return truth

    return judge


def _any(condition: Condition, bench: _Bench) -> Judging:
    parts = [_judging(part, bench) for part in condition.parts]
    return lambda seen: any_of([part(seen) for part in parts])


def _none(condition: Condition, bench: _Bench) -> Judging:
    parts = [_judging(part, bench) for part in condition.parts]
    return lambda seen: none_of([part(seen) for part in parts])


_MAKERS: Final[dict[str, Callable[[Condition, _Bench], Judging]]] = {
    "always": lambda _condition, _bench: _settled("true"),
    "fitted": _fitted,
    "operation": _operation,
    "touched": _touched,
    "code_seen": _code_seen,
    "no_maker_pack": _no_maker_pack,
    "model": _model,
    "year": _year,
    "built": _built,
    "all": _all,
    "any": _any,
    "none": _none,
}
