"""What a job needs, the slow way: every trigger looked at, every fact looked up anew. An oracle.

Nothing here is compiled, indexed, projected or remembered. The words of a requirement are not its business.
"""

from collections import Counter
from collections.abc import Callable, Iterable

from rules.facts import JobFacts, Scan
from rules.packs.model import Condition, PackEdition, Trigger
from rules.vocabulary import (
    AIMED_SENSORS,
    DEFAULT_ZONES,
    FITTED_WAYS_NOT_COUNTED,
    OPERATIONS,
    SENSORS,
    ZONE_DETAIL_OPERATIONS,
)

Truths = dict[tuple[str, int, str], str]


def trigger_truths(editions: tuple[PackEdition, ...], facts: JobFacts) -> Truths:
    """Truth of every trigger of the covering editions, by (pack, edition, trigger id)."""
    covering = tuple(
        one
        for one in editions
        if one.covers(facts.vehicle.make, facts.vehicle.model_year, facts.vehicle.model)
    )
    return {
        (edition.pack, edition.edition, trigger.id): truth_of(trigger.when, facts, covering, None)
        for edition in covering
        for trigger in edition.triggers
    }


def requirement_states(editions: tuple[PackEdition, ...], facts: JobFacts) -> dict[str, str]:
    """State of every procedure that a trigger can call for; a trigger without one stands under its own id."""
    covering = tuple(
        one
        for one in editions
        if one.covers(facts.vehicle.make, facts.vehicle.model_year, facts.vehicle.model)
    )
    truths = trigger_truths(editions, facts)
    calls: dict[str, list[tuple[str, bool]]] = {}
    for edition in covering:
        for trigger in edition.triggers:
            name = _called(trigger, facts.vehicle.model)
            stands = any(procedure.id == name for one in covering for procedure in one.procedures)
            truth = truths[edition.pack, edition.edition, trigger.id]
            calls.setdefault(name or trigger.id, []).append((truth, stands))
    return {name: _state(group) for name, group in calls.items()}


def _called(trigger: Trigger, model: str) -> str | None:
    if trigger.calls_for:
        return trigger.calls_for
    return next((procedure for name, procedure in trigger.by_model if name == model), None)


def _state(group: list[tuple[str, bool]]) -> str:
    if ("true", True) in group:
        return "required"
    if all(truth == "false" for truth, _stands in group):
        return "not_required"
    return "cannot_tell"


def truth_of(when: Condition, facts: JobFacts, covering: tuple[PackEdition, ...], sensor: str | None) -> str:
    """One condition, by its kind; ``sensor`` where it is judged for one sensor of any."""
    if when.kind in ("all", "any", "none"):
        if when.kind == "all" and sensor is None and _mentions_any_sensor(when):
            return _or(_and(truth_of(part, facts, covering, one) for part in when.parts) for one in SENSORS)
        parts = [truth_of(part, facts, covering, sensor) for part in when.parts]
        return {"all": _and, "any": _or, "none": lambda values: _not(_or(values))}[when.kind](parts)
    sensors = when.names
    if "any_sensor" in when.names:
        sensors = SENSORS if sensor is None else (sensor,)
    makers = [one for one in covering if one.makes and not one.house]
    speaking = [one for one in makers if sensor is None or sensor in one.speaks_for]
    ways: dict[str, Callable[[], str]] = {
        "always": lambda: "true",
        "fitted": lambda: _or(fitted(facts, one) for one in sensors),
        "operation": lambda: "true" if set(when.names) & _names(facts) else _absent(facts),
        "touched": lambda: _or(touched(facts, one, covering) for one in sensors),
        "code_seen": lambda: code_seen(facts, when.module, when.names),
        "no_maker_pack": lambda: "false" if speaking else "true",
    }
    return ways[when.kind]() if when.kind in ways else _of_vehicle(when, facts)


def _of_vehicle(when: Condition, facts: JobFacts) -> str:
    vehicle = facts.vehicle
    if when.kind == "model":
        return "true" if vehicle.model in when.names else "false"
    if when.kind == "year":
        assert when.years is not None
        return "true" if when.years[0] <= vehicle.model_year <= when.years[1] else "false"
    assert when.kind == "built"
    assert when.built is not None
    first, last = when.built
    if vehicle.build_date is None:
        return "unknown"
    early = first is not None and vehicle.build_date < first
    late = last is not None and vehicle.build_date > last
    return "false" if early or late else "true"


def _mentions_any_sensor(when: Condition) -> bool:
    return "any_sensor" in when.names or any(_mentions_any_sensor(part) for part in when.parts)


def _and(values: Iterable[str]) -> str:
    return min(values, key=("false", "unknown", "true").index, default="true")


def _or(values: Iterable[str]) -> str:
    return max(values, key=("false", "unknown", "true").index, default="false")


def _not(value: str) -> str:
    return {"true": "false", "false": "true", "unknown": "unknown"}[value]


# ------------------------------------------------------------------ facts


def fitted(facts: JobFacts, sensor: str) -> str:
    """A yes or no by two different ways that agree, and no module that answers against a no."""
    said = [
        (way.way, way.state)
        for way in facts.fitted_ways
        if way.ended_at is None
        and way.sensor == sensor
        and way.state in ("yes", "no")
        and way.way not in FITTED_WAYS_NOT_COUNTED
    ]
    states = {state for _way, state in said}
    if len(states) != 1 or len({way for way, _state in said}) < 2:
        return "unknown"
    if states == {"yes"}:
        return "true"
    answers = any(
        module.system == sensor and module.answered for scan in _own(facts) for module in scan.modules
    )
    return "unknown" if answers else "false"


def on_list(facts: JobFacts) -> list[tuple[str, str | None]]:
    """(operation, zone detail) of what was done, and of what is planned and not carried out as often."""
    done = [(one.operation, one.zone_detail) for one in facts.operations if one.ended_at is None]
    planned = [name for line in facts.estimate_lines if line.ended_at is None for name in line.operations]
    counts = Counter(name for name, _detail in done)
    wanted = Counter(planned)
    return done + [(name, None) for name in planned if counts[name] < wanted[name]]


def _names(facts: JobFacts) -> set[str]:
    return {name for name, _detail in on_list(facts)}


def _absent(facts: JobFacts) -> str:
    return "false" if closed(facts) else "unknown"


def closed(facts: JobFacts) -> bool:
    """The last closing that stands, with no open line, nothing withdrawn and nothing added since."""
    standing = [one for one in facts.closings if one.ended_at is None]
    lines = [one for one in facts.estimate_lines if one.ended_at is None]
    if not standing or any(not one.operations and not one.touches_nothing for one in lines):
        return False
    at = max((one.received_at, one.id) for one in standing)[0]
    for row in (*facts.operations, *facts.estimate_lines):
        gone = row.ended_at is not None and row.received_at <= at < row.ended_at
        if gone and row.ended_how != "corrected":
            return False
    held = Counter(
        one.operation
        for one in facts.operations
        if one.received_at <= at and (one.ended_at is None or one.ended_at > at)
    )
    named_then = Counter(name for one in lines if one.received_at <= at for name in one.operations)
    named_now = Counter(name for one in lines for name in one.operations)
    done_now = Counter(one.operation for one in facts.operations if one.ended_at is None)
    return all(
        max(done_now[name], named_now[name]) <= max(held[name], named_then[name])
        for name in {*done_now, *named_now}
    )


def touched(facts: JobFacts, sensor: str, covering: tuple[PackEdition, ...]) -> str:
    """Whether something on the list meets the sensor's zone; maker over house over common practice."""
    zones = dict(DEFAULT_ZONES)
    for edition in sorted(covering, key=lambda one: (bool(one.makes) and not one.house, one.house, one.pack)):
        zones.update(edition.zones)
    found = [_absent(facts)]
    for name, detail in on_list(facts):
        if detail is not None and name in ZONE_DETAIL_OPERATIONS:
            met: tuple[str, ...] | None = (detail,)
        elif name in zones:
            met = zones[name]
        elif name in OPERATIONS:
            met = DEFAULT_ZONES.get(name, ())
        else:
            met = None if detail is None else (detail,)
        if met is None:
            found.append("unknown")
        elif sensor in met:
            found.append(fitted(facts, sensor) if met == AIMED_SENSORS else "true")
    return _or(found)


def _own(facts: JobFacts) -> list[Scan]:
    vin = "".join(facts.vehicle.vin.split()).upper()
    mine = []
    for scan in facts.scans:
        seen = {"".join(read.split()).upper() for _module, read in scan.vin_per_module if read.strip()}
        if scan.ended_at is None and (not seen or vin in seen):
            mine.append(scan)
    return mine


def code_seen(facts: JobFacts, module: str, names: tuple[str, ...]) -> str:
    """True by the code, unknown where its failure type is not shown or no scan shows the state before."""
    found = ["false"]
    scans = _own(facts)
    if not any(scan.stage in ("before_repair", "before_calibration") for scan in scans):
        found.append("unknown")
    shown = [
        _letters(code.code + (code.ftb or ""))
        for scan in scans
        for part in scan.modules
        if part.system == module
        for code in part.codes
    ]
    for want in map(_letters, names):
        for seen in shown:
            if seen[:5] == want[:5]:
                same = not want[5:] or seen[5:] == want[5:]
                found.append("true" if same else "false" if seen[5:] else "unknown")
    return _or(found)


def _letters(text: str) -> str:
    return "".join(character for character in text.upper() if character.isalnum())
