"""What a job needs and why: every procedure that a trigger can call for, and whether it is required."""

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Final

from rules.facts import JobFacts, OperationDone, live, once, worked_out
from rules.fitment import FittedState, fitted_state, fitted_truth, open_sensors
from rules.packs.compiled import Call, Compiled, compiled
from rules.packs.coverage import (
    asking_operations,
    covering,
    fitted_sensors,
    speaks_for,
    unneeded_operations,
    zones_of,
)
from rules.packs.kleene import all_of
from rules.packs.model import PackEdition
from rules.packs.reads import Reads, reads
from rules.packs.triggers import LIST_OPEN, Gap, Judged, Situation, judge
from rules.result import Because, ConditionPart, Requirement
from rules.verdict import REASON_ORDER, RequirementState
from rules.vocabulary import SENSORS, plain_operation, plain_sensor
from rules.work_list import operations_list_closed, touched_truth, touching_names

# The common record and bonded glass say nothing about sensors, so the overall statement leaves them aside.
LEFT_ASIDE: Final = ("CP-EVERY", "CP-BOND")
# How many requirements stay in words for the next job of which the same is to be said.
KEPT_IN_WORDS: Final = 20_000

__all__ = [
    "FittedState",
    "calling_operations",
    "calling_sensors",
    "determine",
    "fitted_state",
    "operations_list_closed",
    "ordered_before",
    "overall_statement",
    "procedure_sensors",
    "statement_gaps",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Call:
    """One trigger as judged."""

    ready: Call
    judged: Judged


def determine(editions: tuple[PackEdition, ...], facts: JobFacts) -> tuple[Requirement, ...]:
    """Every procedure that a trigger of the given editions can call for on this vehicle, with its state.

    A procedure is required if any trigger that calls for it is true, not required if all are false, else
    cannot_tell. A trigger that is not false and has no procedure for the model gives a requirement under the
    trigger's own id, cannot_tell with ``pack_no_coverage``.

    Args:
        editions: the editions in force; those that do not cover the vehicle are left out here.
        facts: the snapshot as held at the gate instant.

    Returns:
        Requirements in the order of the editions and their triggers.
    """
    return tuple([_determined(group, facts) for group in _groups(compiled(editions, facts)).values()])


def calling_operations(
    procedure_id: str, editions: tuple[PackEdition, ...], facts: JobFacts
) -> tuple[OperationDone, ...]:
    """The operations recorded as done that call, or may call, for the procedure."""
    ids: set[str] = set()
    for call in _calls(procedure_id, editions, facts):
        ids.update(_operation_ids(call.judged))
    return tuple(operation for operation in live(facts.operations) if operation.id in ids)


def calling_sensors(procedure_id: str, editions: tuple[PackEdition, ...], facts: JobFacts) -> tuple[str, ...]:
    """The sensors for whose sake the procedure is called for on this job, also where any sensor may be."""
    group = _calls(procedure_id, editions, facts)
    return _sensors_of(group, _state(group)) if group else ()


def procedure_sensors(procedure_id: str, editions: tuple[PackEdition, ...]) -> tuple[str, ...]:
    """The aimed sensors of a procedure: those under ``fitted`` in the triggers that call for it."""
    names: dict[str, None] = {}
    for edition in editions:
        for trigger in edition.triggers:
            if procedure_id in trigger.procedures:
                names.update(dict.fromkeys(fitted_sensors(trigger)))
    return tuple(name for name in SENSORS if name in names)


def ordered_before(editions: tuple[PackEdition, ...]) -> tuple[tuple[str, str], ...]:
    """(procedure, later procedure): where both are required, the first is completed before the second."""
    pairs = {
        (first, later): None
        for edition in editions
        for trigger in edition.triggers
        for first in trigger.procedures
        for later in trigger.before
    }
    return tuple(pairs)


def overall_statement(
    requirements: tuple[Requirement, ...], editions: tuple[PackEdition, ...], facts: JobFacts
) -> str:
    """``required``, ``nothing_required`` or ``cannot_tell`` for the job, the common record left aside."""
    counted = [one for one in requirements if one.procedure_id not in LEFT_ASIDE]
    if any(one.state == "required" for one in counted):
        return "required"
    return "cannot_tell" if statement_gaps(requirements, editions, facts) else "nothing_required"


def statement_gaps(
    requirements: tuple[Requirement, ...], editions: tuple[PackEdition, ...], facts: JobFacts
) -> tuple[str, ...]:
    """Every fact that stands between this job and the statement that nothing is required, in plain words.

    Nothing required is a finding: the list closed, every sensor established, every trigger false, and for
    each fitted sensor that was touched a maker who was read and says so.
    """
    gaps = [
        one.sentence
        for one in requirements
        if one.state == "cannot_tell" and one.procedure_id not in LEFT_ASIDE
    ]
    if not operations_list_closed(facts):
        gaps.append(_capital(LIST_OPEN) + ".")
    unknown = open_sensors(facts)
    if unknown:
        names = ", ".join(plain_sensor(sensor) for sensor in unknown)
        gaps.append(f"Not established whether fitted: {names}.")
    vehicle = facts.vehicle
    gaps += _silences(covering(editions, vehicle.make, vehicle.model_year, vehicle.model), facts)
    return tuple(dict.fromkeys(gaps))


def _silences(editions: tuple[PackEdition, ...], facts: JobFacts) -> list[str]:
    """Sensors that are fitted and touched, or may be, while no maker says what that asks for."""
    zones = zones_of(editions)
    found = []
    for sensor in SENSORS:
        if all_of([fitted_truth(facts, sensor), touched_truth(facts, sensor, zones)]) == "false":
            continue
        for name in touching_names(facts, sensor, zones):
            if not _is_answered(editions, sensor, name):
                found.append(
                    f"{_capital(plain_sensor(sensor))}: {plain_operation(name)} touched its surroundings, "
                    "and no maker pack says what that asks for."
                )
    return found


def _is_answered(editions: tuple[PackEdition, ...], sensor: str, operation: str) -> bool:
    if not speaks_for(editions, sensor):
        return False
    return any(
        operation in asking_operations(edition, sensor) or operation in unneeded_operations(edition, sensor)
        for edition in editions
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """Every call for one name under one compilation.

    ``reads`` settle what is said of it (``rules.packs.reads``); None where only judging it does.
    """

    ready: Compiled
    name: str
    calls: tuple[Call, ...]
    reads: tuple[Reads, ...] | None


@once
def _groups(ready: Compiled) -> dict[str, _Group]:
    """The calls of a compilation by name, in their order."""
    by_name: dict[str, list[Call]] = {}
    for call in ready.calls:
        by_name.setdefault(call.name, []).append(call)
    return {
        name: _Group(ready=ready, name=name, calls=tuple(calls), reads=_reads(calls))
        for name, calls in by_name.items()
    }


def _reads(calls: list[Call]) -> tuple[Reads, ...] | None:
    found: list[Reads] = []
    for call in calls:
        own = reads(call.trigger.when)
        if own is None:
            return None
        found += own
    return tuple(found)


_in_words: dict[tuple[_Group, Hashable], Requirement] = {}


def _determined(group: _Group, facts: JobFacts) -> Requirement:
    """The requirement of a group; said once for all jobs that differ in nothing it reads."""
    if group.reads is None:
        return _requirement(group.name, _judged(group, facts))
    key = (group, tuple([read(facts) for read in group.reads]))
    found = _in_words.get(key)
    if found is None:
        if len(_in_words) >= KEPT_IN_WORDS:
            _in_words.clear()
        found = _in_words[key] = _requirement(group.name, _judged(group, facts))
    return found


def _calls(name: str, editions: tuple[PackEdition, ...], facts: JobFacts) -> tuple[_Call, ...]:
    """The calls for one name under the covering editions as judged on the facts; none for an unknown name."""
    group = _groups(compiled(editions, facts)).get(name)
    return () if group is None else _judged(group, facts)


def _judged(group: _Group, facts: JobFacts) -> tuple[_Call, ...]:
    """Judged once per job."""
    kept = worked_out(facts)
    if group not in kept:
        situation = Situation(facts=facts, editions=group.ready.editions, zones=group.ready.zones)
        kept[group] = tuple(
            [_Call(ready=call, judged=judge(call.trigger.when, situation)) for call in group.calls]
        )
    found: tuple[_Call, ...] = kept[group]
    return found


def _state(group: tuple[_Call, ...]) -> RequirementState:
    truths = {call.judged.truth for call in group if call.ready.procedure is not None}
    uncovered = {call.judged.truth for call in group if call.ready.procedure is None}
    if "true" in truths:
        return "required"
    if "unknown" in truths or uncovered - {"false"}:
        return "cannot_tell"
    return "not_required"


def _requirement(name: str, group: tuple[_Call, ...]) -> Requirement:
    first = group[0]
    state = _state(group)
    sensors = _sensors_of(group, state)
    gaps = _gaps(group) if state == "cannot_tell" else ()
    title = first.ready.procedure.title if first.ready.procedure is not None else first.ready.trigger.plain
    cite = first.ready.procedure.cite if first.ready.procedure is not None else first.ready.trigger.cite
    return Requirement(
        procedure_id=name,
        title=title,
        state=state,
        because=tuple(_because(call) for call in group),
        reasons=tuple(sorted({gap.code for gap in gaps}, key=REASON_ORDER.__getitem__)),
        sensors=sensors,
        pack=first.ready.defined_in.pack,
        edition=first.ready.defined_in.edition,
        citation=cite.text,
        sentence=_sentence(_subject(sensors, group, title), state, group, gaps),
    )


def _because(call: _Call) -> Because:
    return Because(
        trigger_id=call.ready.trigger.id,
        plain=call.ready.trigger.plain,
        truth=call.judged.truth,
        parts=_flat(call.judged, 0),
        pack=call.ready.edition.pack,
        edition=call.ready.edition.edition,
        citation=call.ready.trigger.cite.text,
    )


def _flat(judged: Judged, depth: int) -> tuple[ConditionPart, ...]:
    own = ConditionPart(text=judged.text, truth=judged.truth, fact=judged.fact, depth=depth)
    below = [part for child in judged.parts for part in _flat(child, depth + 1)]
    return (own, *below)


def _gaps(group: tuple[_Call, ...]) -> tuple[Gap, ...]:
    found: dict[Gap, None] = {}
    for call in group:
        if call.judged.truth == "false":
            continue
        found.update(dict.fromkeys(call.judged.gaps))
        if call.ready.procedure is None:
            words = "the pack names no procedure for this model"
            found[Gap(code="pack_no_coverage", words=words)] = None
    return tuple(found)


def _sensors_of(group: tuple[_Call, ...], state: RequirementState) -> tuple[str, ...]:
    """The sensors the triggers name, and of any sensor those for which the state came about."""
    truth = {"required": "true", "cannot_tell": "unknown"}.get(state)
    names: set[str] = set()
    for call in group:
        names.update(call.ready.sensors)
        names.update(node.sensor for node in _nodes(call.judged) if node.sensor and node.truth == truth)
    return tuple(sensor for sensor in SENSORS if sensor in names)


def _nodes(judged: Judged) -> tuple[Judged, ...]:
    return (judged, *(node for part in judged.parts for node in _nodes(part)))


def _operation_ids(judged: Judged) -> tuple[str, ...]:
    """Operations that speak for the condition; what is false, or stands under none, does not."""
    if judged.truth == "false" or judged.negates:
        return ()
    return (*judged.operation_ids, *(name for part in judged.parts for name in _operation_ids(part)))


def _subject(sensors: tuple[str, ...], group: tuple[_Call, ...], title: str) -> str:
    named = {sensor for call in group for sensor in call.ready.sensors}
    if not sensors or not named:
        return title
    return _capital(" and ".join(plain_sensor(sensor) for sensor in sensors))


def _sentence(subject: str, state: RequirementState, group: tuple[_Call, ...], gaps: tuple[Gap, ...]) -> str:
    if state == "cannot_tell":
        return f"{subject}: cannot tell yet, because {_joined([gap.words for gap in gaps])}."
    if state == "not_required":
        return f"{subject}: not required; every trigger that could call for it is false."
    true = [call for call in group if call.judged.truth == "true"]
    why = dict.fromkeys(
        node.why for call in true for node in _nodes(call.judged) if node.truth == "true" and node.why
    )
    reason = _joined(list(why)) if why else true[0].ready.trigger.plain
    return f"{subject}: required, because {reason} ({true[0].ready.trigger.cite.text})."


def _joined(phrases: list[str]) -> str:
    if len(phrases) < 2:
        return "".join(phrases)
    return ", ".join(phrases[:-1]) + " and " + phrases[-1]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
