"""Judging a trigger's condition on the facts of one job: true, false or unknown, each part with its fact."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from rules.facts import JobFacts, OperationDone, once
from rules.fitment import fitted_fact, fitted_truth
from rules.packs.conditions import ANY_SENSOR
from rules.packs.coverage import leaves, speaks_for, zones_of
from rules.packs.kleene import all_of, any_of, none_of
from rules.packs.model import Condition, PackEdition
from rules.scans import first_scan, normal_code, own_scans
from rules.verdict import Truth
from rules.vocabulary import SENSORS, plain_operation, plain_sensor
from rules.work_list import (
    listed_operations,
    names_on_list,
    operation_truth,
    operations_list_closed,
    touch_of,
    touched_truth,
)

LIST_OPEN: Final = "the list of repair operations is not closed"
SCAN_MISSING: Final = "the before-repair scan is missing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """One fact that is not known: the reason code, and the plain words that name it."""

    code: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One node of a condition as judged.

    ``operation_ids`` are records of operations that speak for this node; ``sensor`` is set where the node was
    judged for one sensor of any; ``why`` says in plain words why a leaf is true.
    """

    text: str
    truth: Truth
    fact: str = ""
    why: str = ""
    gaps: tuple[Gap, ...] = ()
    operation_ids: tuple[str, ...] = ()
    sensor: str | None = None
    parts: tuple["Judged", ...] = ()
    negates: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """The facts of one job with the editions that cover its vehicle."""

    facts: JobFacts
    editions: tuple[PackEdition, ...]
    zones: Mapping[str, tuple[str, ...]]
    sensor: str | None = None

    @classmethod
    def of(cls, facts: JobFacts, covering_editions: tuple[PackEdition, ...]) -> "Situation":
        return cls(facts=facts, editions=covering_editions, zones=zones_of(covering_editions))

    def about(self, sensor: str) -> "Situation":
        return Situation(facts=self.facts, editions=self.editions, zones=self.zones, sensor=sensor)


def judge(condition: Condition, situation: Situation) -> Judged:
    """Judge one condition. What ``all`` says of any sensor is judged sensor by sensor: it must hold for one
    and the same sensor."""
    if condition.kind == "all" and situation.sensor is None and _asks_any_sensor(condition):
        return _per_sensor(condition, situation)
    return _JUDGES[condition.kind](condition, situation)


def _asks_any_sensor(condition: Condition) -> bool:
    return any(ANY_SENSOR in leaf.names for leaf in leaves(condition))


def _per_sensor(condition: Condition, situation: Situation) -> Judged:
    each = []
    for sensor in SENSORS:
        judged = judge(condition, situation.about(sensor))
        if judged.truth != "false":
            each.append(
                Judged(
                    text=f"{plain_sensor(sensor)}: all of these",
                    truth=judged.truth,
                    gaps=judged.gaps,
                    sensor=sensor,
                    parts=judged.parts,
                )
            )
    truth = any_of(part.truth for part in each)
    return Judged(
        text="for one and the same sensor, all of these",
        truth=truth,
        fact="" if each else "no sensor for which all parts may hold",
        gaps=_gaps(truth, tuple(each)),
        parts=tuple(each),
    )


def _all(condition: Condition, situation: Situation) -> Judged:
    return _joined("all of these", all_of, condition, situation)


def _any(condition: Condition, situation: Situation) -> Judged:
    return _joined("any of these", any_of, condition, situation)


def _none(condition: Condition, situation: Situation) -> Judged:
    return _joined("none of these", none_of, condition, situation, negates=True)


def _joined(
    text: str,
    join: Callable[[list[Truth]], Truth],
    condition: Condition,
    situation: Situation,
    *,
    negates: bool = False,
) -> Judged:
    parts = tuple(judge(part, situation) for part in condition.parts)
    truth = join([part.truth for part in parts])
    return Judged(text=text, truth=truth, gaps=_gaps(truth, parts), parts=parts, negates=negates)


def _gaps(truth: Truth, parts: tuple[Judged, ...]) -> tuple[Gap, ...]:
    if truth != "unknown":
        return ()
    return tuple(dict.fromkeys(gap for part in parts if part.truth == "unknown" for gap in part.gaps))


def _always(_condition: Condition, _situation: Situation) -> Judged:
    return Judged(text="on every job", truth="true", why="it belongs to every job")


def _sensors(condition: Condition, situation: Situation) -> tuple[str, ...]:
    if ANY_SENSOR not in condition.names:
        return condition.names
    return SENSORS if situation.sensor is None else (situation.sensor,)


def _shown(sensors: tuple[str, ...]) -> str:
    return "any sensor" if sensors == SENSORS else ", ".join(plain_sensor(sensor) for sensor in sensors)


def _fitted(condition: Condition, situation: Situation) -> Judged:
    return _fitted_of(situation.facts, _sensors(condition, situation))


@once
def _fitted_of(facts: JobFacts, sensors: tuple[str, ...]) -> Judged:
    """Many triggers ask for the same sensors."""
    truths: dict[str, Truth] = {sensor: fitted_truth(facts, sensor) for sensor in sensors}
    truth = any_of(truths.values())
    open_sensors = [sensor for sensor in sensors if truths[sensor] == "unknown"]
    told = [sensor for sensor in sensors if truths[sensor] == truth]
    fact = "; ".join(f"{plain_sensor(sensor)}: {fitted_fact(facts, sensor)}" for sensor in told)
    gaps = tuple(Gap(code="fit_unknown", words=_fit_gap(sensor)) for sensor in open_sensors)
    return Judged(
        text=f"fitted: {_shown(sensors)}", truth=truth, fact=fact, gaps=gaps if truth == "unknown" else ()
    )


def _fit_gap(sensor: str) -> str:
    return f"it is not established whether the vehicle has its {plain_sensor(sensor)}"


@lru_cache(maxsize=4096)
def _operations_text(names: tuple[str, ...]) -> str:
    return "operation: " + ", ".join(plain_operation(name) for name in names)


def _operation(condition: Condition, situation: Situation) -> Judged:
    facts = situation.facts
    truth = operation_truth(facts, condition.names)
    on_list = [plain_operation(name) for name in names_on_list(facts) if name in condition.names]
    known = "on the list: " + ", ".join(on_list) if on_list else "none of them is on the closed list"
    return Judged(
        text=_operations_text(condition.names),
        truth=truth,
        fact=LIST_OPEN if truth == "unknown" else known,
        why=", ".join(on_list) + " is on the list of repair operations" if on_list else "",
        gaps=(Gap(code="operations_open", words=LIST_OPEN),) if truth == "unknown" else (),
        operation_ids=tuple(
            listed.record.id
            for listed in listed_operations(facts)
            if isinstance(listed.record, OperationDone) and listed.operation in condition.names
        ),
    )


def _touched(condition: Condition, situation: Situation) -> Judged:
    facts, zones = situation.facts, situation.zones
    sensors = _sensors(condition, situation)
    truths: dict[str, Truth] = {sensor: touched_truth(facts, sensor, zones) for sensor in sensors}
    truth = any_of(truths.values())
    told = [sensor for sensor in sensors if truths[sensor] == truth]
    listed = [
        one
        for one in listed_operations(facts)
        if any(touch_of(one, sensor, facts, zones) != "false" for sensor in told)
    ]
    names = ", ".join(dict.fromkeys(plain_operation(one.operation) for one in listed))
    gap = _touch_gaps(truth, tuple(told), situation)
    return Judged(
        text=f"surroundings touched: {_shown(sensors)}",
        truth=truth,
        fact=f"on the list: {names}" if names else "; ".join(one.words for one in gap) or "nothing meets it",
        why=f"{names} touched the surroundings of the {_shown(tuple(told))}" if names else "",
        gaps=gap,
        operation_ids=tuple(one.record.id for one in listed if isinstance(one.record, OperationDone)),
    )


def _touch_gaps(truth: Truth, sensors: tuple[str, ...], situation: Situation) -> tuple[Gap, ...]:
    if truth != "unknown":
        return ()
    if not operations_list_closed(situation.facts):
        return (Gap(code="operations_open", words=LIST_OPEN),)
    gaps = [
        Gap(code="fit_unknown", words=_fit_gap(sensor))
        if fitted_truth(situation.facts, sensor) == "unknown"
        else Gap(code="operations_open", words="nobody has said which sensors an added operation meets")
        for sensor in sensors
    ]
    return tuple(dict.fromkeys(gaps))


def _code_seen(condition: Condition, situation: Situation) -> Judged:
    facts = situation.facts
    scan, stands_in = first_scan(facts)
    truth = codes_truth(facts, condition.module, condition.names)
    shown = ", ".join(condition.names)
    if truth == "true":
        fact = "seen in a scan of this visit"
    elif scan is None:
        fact = SCAN_MISSING
    elif truth == "unknown":
        fact = "a scan shows the code without its failure type"
    else:
        fact = "not seen" + (" (the scan before aiming stands in)" if stands_in else "")
    return Judged(
        text=f"code seen in {plain_sensor(condition.module)}: {shown}",
        truth=truth,
        fact=fact,
        why=f"code {' or '.join(condition.names)} was seen in the {plain_sensor(condition.module)}"
        if truth == "true"
        else "",
        gaps=(Gap(code="missing", words=fact),) if truth == "unknown" else (),
    )


@once
def codes_truth(facts: JobFacts, module: str, names: tuple[str, ...]) -> Truth:
    """True if any scan of this vehicle shows one of the codes; unknown while no scan stands for the start."""
    wanted = [normal_code(name) for name in names]
    matches = [_match(code, want) for code in _codes_of(module, facts) for want in wanted]
    scan, _stands_in = first_scan(facts)
    return any_of([*matches, "unknown" if scan is None else "false"])


def _codes_of(system: str, facts: JobFacts) -> tuple[tuple[str, str | None], ...]:
    return tuple(
        normal_code(code.code + (code.ftb or ""))
        for scan in own_scans(facts)
        for module in scan.modules
        if module.system == system
        for code in module.codes
    )


def _match(seen: tuple[str, str | None], wanted: tuple[str, str | None]) -> Truth:
    """The same code with another failure type is another fault; without one it may be this one."""
    if seen[0] != wanted[0]:
        return "false"
    if wanted[1] is None or seen[1] == wanted[1]:
        return "true"
    return "unknown" if seen[1] is None else "false"


def _no_maker_pack(_condition: Condition, situation: Situation) -> Judged:
    sensor = situation.sensor
    if sensor is None:
        covered = any(edition.is_maker for edition in situation.editions)
        return Judged(
            text="no maker pack covers the vehicle",
            truth="false" if covered else "true",
            fact="a maker pack covers it" if covered else "none is on file",
        )
    speaks = speaks_for(situation.editions, sensor)
    return Judged(
        text=f"no maker pack speaks for the {plain_sensor(sensor)}",
        truth="false" if speaks else "true",
        fact="one does" if speaks else "none does",
    )


def _model(condition: Condition, situation: Situation) -> Judged:
    model = situation.facts.vehicle.model
    truth: Truth = "true" if model in condition.names else "false"
    return Judged(text=f"model: {', '.join(condition.names)}", truth=truth, fact=f"the model is {model}")


def _year(condition: Condition, situation: Situation) -> Judged:
    year = situation.facts.vehicle.model_year
    first, last = condition.years or (0, 0)
    truth: Truth = "true" if first <= year <= last else "false"
    return Judged(text=f"model year {first} to {last}", truth=truth, fact=f"the model year is {year}")


def _built(condition: Condition, situation: Situation) -> Judged:
    first, last = condition.built or (None, None)
    text = (
        "built"
        + (f" from {first.isoformat()}" if first else "")
        + (f" to {last.isoformat()}" if last else "")
    )
    built = situation.facts.vehicle.build_date
    if built is None:
        gap = Gap(code="missing", words="the build date is missing")
        return Judged(text=text, truth="unknown", fact=gap.words, gaps=(gap,))
    inside = (first is None or first <= built) and (last is None or built <= last)
    return Judged(text=text, truth="true" if inside else "false", fact=f"built on {built.isoformat()}")


_JUDGES: Final[dict[str, Callable[[Condition, Situation], Judged]]] = {
    "always": _always,
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
