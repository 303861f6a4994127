"""Faults that show only when the parts of a readable pack are looked at together, before publishing."""

from collections.abc import Mapping
from typing import Final

from rules.packs.check_library import CHECKS
from rules.packs.coverage import contradicting_pairs, silent_pairs
from rules.packs.errors import Fault, FaultList, some_of
from rules.packs.half_silence import left_out
from rules.packs.layering import layering_faults
from rules.packs.model import PackEdition, Procedure, Proof
from rules.packs.never_shown import check_never_shown
from rules.packs.reach import can_be
from rules.quantities import Limit
from rules.vocabulary import EVENTS

# Events that only a procedure with a proof of this check brings about.
_SET_EVENTS: Final[Mapping[str, str]] = {
    "tyres": "tyre_pressures",
    "height": "ride_heights",
    "target": "target_pose",
}
_PART_EVENTS: Final = ("still_start", "still_end", "road_start", "road_end")
_DRIVE_EVENTS: Final = ("drive_start", "drive_end")
_SESSION_EVENTS: Final = ("session_start", "session_end")
# Arguments that say what is judged, not how strictly.
_SUBJECT_KINDS: Final = ("word", "words", "text")


def lint(edition: PackEdition, beside: tuple[PackEdition, ...] = ()) -> tuple[Fault, ...]:
    """Every fault of ``edition`` in the company of the packs ``beside`` it.

    Codes: ``silence``, ``needed_and_not_needed``, ``before_circle``, ``trigger_unreachable``,
    ``order_unproduced``, ``limit_contradicts_group``, ``never_shown``, and those of the layering.
    """
    faults = FaultList()
    company = tuple(other for other in beside if other.pack != edition.pack)
    _check_silence(edition, faults)
    _check_before_circle(edition, company, faults)
    _check_reach(edition, faults)
    for procedure in edition.procedures:
        _check_order(procedure, faults)
        _check_groups(procedure, edition, faults)
        check_never_shown(procedure, faults)
    for fault in layering_faults((*company, edition), about=edition):
        faults.add(fault.line, fault.code, fault.message, found=fault.found)
    return faults.ordered


def _check_silence(edition: PackEdition, faults: FaultList) -> None:
    line = edition.lines.get("speaks_for", 1)
    for sensor, name in silent_pairs(edition):
        words = f"speaks for {sensor}, but neither asks for anything after {name} nor says it is not needed"
        faults.add(line, "silence", f"{edition.pack} {words}", found=f"nothing about {name}")
    for sensor, names in left_out(edition).items():
        words = f"speaks for {sensor} on every vehicle it covers, but asks only some models or years after"
        faults.add(
            line,
            "silence",
            f"{edition.pack} {words} {some_of(names)}: the others would need nothing",
            expected="covers: {models: [...]}, the models the maker was read for; or by_model in the trigger",
            found="these operations only under model: or year:",
        )
    for sensor, name in contradicting_pairs(edition):
        entries = [one for one in edition.not_needed if sensor in one.sensors and name in one.operations]
        words = f"{name} is both needed and not needed for {sensor}"
        faults.add(
            entries[0].line if entries else 1,
            "needed_and_not_needed",
            f"{edition.pack}: {words}",
            found=f"{name} in a trigger and under not_needed",
        )


def _check_before_circle(edition: PackEdition, company: tuple[PackEdition, ...], faults: FaultList) -> None:
    after: dict[str, tuple[str, ...]] = {}
    for trigger in (one for each in (edition, *company) for one in each.triggers):
        for first in trigger.procedures:
            after[first] = (*after.get(first, ()), *trigger.before)
    for trigger in edition.triggers:
        for start in trigger.procedures if trigger.before else ():
            if start in _reached(after, start):
                words = f"{start} would have to come before itself"
                faults.add(trigger.line, "before_circle", words, found="before: " + ", ".join(trigger.before))


def _reached(after: Mapping[str, tuple[str, ...]], start: str) -> set[str]:
    reached: set[str] = set()
    waiting = list(after.get(start, ()))
    while waiting:
        name = waiting.pop()
        if name not in reached:
            reached.add(name)
            waiting.extend(after.get(name, ()))
    return reached


def _check_reach(edition: PackEdition, faults: FaultList) -> None:
    for trigger in edition.triggers:
        if not can_be(trigger.when, True, edition):
            words = (
                f"{trigger.id} can never come out true: its parts contradict each other or what is covered"
            )
            faults.add(trigger.line, "trigger_unreachable", words)
            continue
        for model, called in trigger.by_model:
            if not can_be(trigger.when, True, edition, model):
                words = (
                    f"{trigger.id} can never come out true for the model {model}, so {called} is never asked"
                )
                faults.add(trigger.line, "trigger_unreachable", words, found=f"by_model: {model}")


# ------------------------------------------------------------------ order


def _check_order(procedure: Procedure, faults: FaultList) -> None:
    for name in procedure.order:
        _check_event(name, procedure, procedure.order_line, faults)
    for proof in procedure.proofs:
        for name in _events_of(proof):
            _check_event(name, procedure, proof.line, faults)


def _events_of(proof: Proof) -> tuple[str, ...]:
    names: list[str] = []
    for way in proof.alternatives or (proof,):
        if way.check in ("in_order", "within", "ignition_unbroken"):
            for key in ("events", "from", "to"):
                value = way.arguments.get(key, ())
                names += [value] if isinstance(value, str) else _words(value)
    return tuple(names)


def _words(value: object) -> list[str]:
    return [item for item in value if isinstance(item, str)] if isinstance(value, tuple) else []


def _check_event(name: str, procedure: Procedure, line: int, faults: FaultList) -> None:
    why = _why_unproduced(name, procedure)
    if why:
        faults.add(line, "order_unproduced", f"{procedure.id}: {name} {why}", found=name)


def _why_unproduced(name: str, procedure: Procedure) -> str:
    if name in _SET_EVENTS:
        check = _SET_EVENTS[name]
        if any(proof.check == check for proof in procedure.proofs):
            return ""
        return f"is the time of a {check} proof, and there is none here"
    if name not in EVENTS:
        return "is a proof, and the record gives it no time of its own; name an event"
    wanted = {
        **dict.fromkeys(_PART_EVENTS, ("static_then_dynamic",)),
        **dict.fromkeys(_DRIVE_EVENTS, ("dynamic", "static_then_dynamic")),
        **dict.fromkeys(_SESSION_EVENTS, ("static", "dynamic", "static_then_dynamic", "initialise")),
    }.get(name)
    if wanted is None or procedure.kind in wanted:
        return ""
    return f"happens only in a procedure of kind {' or '.join(wanted)}"


# ------------------------------------------------------------------ shared groups


def _check_groups(procedure: Procedure, edition: PackEdition, faults: FaultList) -> None:
    """An own proof beside a used group, about the same thing, with another limit: which one would hold?"""
    shared = [proof for name in procedure.uses for proof in edition.groups.get(name, ())]
    for own in (proof for proof in procedure.proofs if proof.group is None):
        for theirs in shared:
            if _subject(own) != _subject(theirs):
                continue
            for key, mine, other in _differing(own, theirs):
                words = (
                    f'{procedure.id}, {own.id}: "{key}" is {mine.text}, but proof {theirs.id} of the group'
                    f" {theirs.group} asks {other.text} of the same thing; both would have to be met"
                )
                expected = f"one of them: change: {{{theirs.id}: {{{key}: ...}}}} in place of {own.id}"
                faults.add(own.line, "limit_contradicts_group", words, expected=expected, found=mine.text)


def _subject(proof: Proof) -> tuple[object, ...]:
    """What a proof is about: its check and words; readings without a place bear the proof's id."""
    spec = CHECKS[proof.check].arguments if proof.check in CHECKS else {}
    words = tuple(
        (key, proof.arguments[key])
        for key in spec
        if spec[key].kind in _SUBJECT_KINDS and key in proof.arguments
    )
    placed = "place" in spec and not {"place", "each_of"} & set(proof.arguments)
    return (proof.check, words, proof.id if placed else "")


def _differing(own: Proof, theirs: Proof) -> list[tuple[str, Limit, Limit]]:
    found = []
    for key, mine in own.arguments.items():
        other = theirs.arguments.get(key)
        if isinstance(mine, Limit) and isinstance(other, Limit) and _bounds(mine) != _bounds(other):
            found.append((key, mine, other))
    return found


def _bounds(limit: Limit) -> tuple[object, ...]:
    return (
        limit.lower,
        limit.upper,
        limit.lower_included,
        limit.upper_included,
        limit.placard_half_width,
    )
