"""What changed in when something is asked for: triggers, their conditions, and what is not needed."""

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from typing import Final

from rules.packs.coverage import asking_operations
from rules.packs.model import Citation, Condition, NotNeeded, PackEdition, Trigger
from rules.packs.text_words import condition_words, leaf_words, trigger_subject
from rules.vocabulary import plain_operation, plain_sensor

# (kind, place, sentence)
Told = tuple[str, str, str]
_WITH_NAMES: Final = ("operation", "fitted", "touched", "model", "code_seen")
NO_LONGER_NEEDLESS: Final = "was listed as not needed"
NOW_NEEDLESS: Final = "now listed as not needed"


def trigger_differences(old: PackEdition, new: PackEdition) -> Iterator[Told]:
    """Every change of triggers and of ``not_needed``; an operation that moved between them is told once."""
    was = {item.id: item for item in old.triggers}
    now = {item.id: item for item in new.triggers}
    moves = _needless_moves(old, new)
    for name in dict.fromkeys((*now, *was)):
        before, after = was.get(name), now.get(name)
        if before is None and after is not None:
            yield _new_trigger(after)
        elif after is None and before is not None:
            yield ("trigger", name, f"{trigger_subject(before)} ({name}) is no longer there.")
        elif before is not None and after is not None:
            yield from _trigger(before, after, moves)
    if [one for one in was if one in now] != [one for one in now if one in was]:
        yield ("text", "triggers", "The triggers stand in another order, and are printed so.")
    yield from _not_needed(old, new, moves)


def _new_trigger(item: Trigger) -> Told:
    words = f"New {trigger_subject(item)}: when {condition_words(item.when)}, it calls for {_called(item)}."
    return ("trigger", item.id, words)


def _called(item: Trigger) -> str:
    if item.calls_for:
        return item.calls_for
    return ", ".join(f"{procedure} on {model}" for model, procedure in item.by_model)


Pair = tuple[str, str]  # sensor, operation


@dataclass(slots=True)
class _Moves:
    """(sensor, operation) pairs that moved between ``not_needed`` and the triggers; ``told`` grows meanwhile.

    ``into``: were not needed and are asked for now; ``out``: the other way round.
    """

    into: frozenset[Pair]
    out: frozenset[Pair]
    told: set[Pair] = field(default_factory=set)

    def of(self, operation: str, *, asked: bool) -> str:
        """What to say beside an operation that came into a trigger (``asked``) or left one."""
        pairs = {pair for pair in (self.into if asked else self.out) if pair[1] == operation}
        self.told |= pairs
        return f" ({NO_LONGER_NEEDLESS if asked else NOW_NEEDLESS})" if pairs else ""


def _needless_moves(old: PackEdition, new: PackEdition) -> _Moves:
    was, now = _pairs(old.not_needed), _pairs(new.not_needed)
    return _Moves(
        into=frozenset(
            (sensor, name)
            for sensor, name in was
            if (sensor, name) not in now and name in asking_operations(new, sensor)
        ),
        out=frozenset(
            (sensor, name)
            for sensor, name in now
            if (sensor, name) not in was and name in asking_operations(old, sensor)
        ),
    )


def _trigger(old: Trigger, new: Trigger, moves: _Moves) -> Iterator[Told]:
    subject = trigger_subject(new)
    told = _condition(old.when, new.when, moves)
    for one in fields(Trigger):
        if one.name not in ("line", "when") and getattr(old, one.name) != getattr(new, one.name):
            told.append(_other(one.name, old, new))
    for words in told:
        if words:
            yield ("trigger", new.id, f"{subject}: {words}.")


def _other(name: str, old: Trigger, new: Trigger) -> str:
    if name == "plain":
        return f'its sentence was "{old.plain}", now "{new.plain}"'
    if name == "by_model" or (name == "calls_for" and old.by_model == new.by_model):
        return f"called for {_called(old)}, now for {_called(new)}"
    if name == "calls_for":
        return ""  # told with the models
    if name == "before":
        shown = [", ".join(one.before) or "nothing" for one in (old, new)]
        return f"had to come before {shown[0]}, now before {shown[1]}"
    if name == "cite":
        return cited(old.cite, new.cite)
    return f"{name}: was {getattr(old, name)}, now {getattr(new, name)}"


def cited(old: Citation, new: Citation) -> str:
    """A later edition of the same document is told once, with the document."""
    if (old.source.id, old.section) == (new.source.id, new.section):
        return ""
    return f"was cited from {old.text}, now from {new.text}"


# ------------------------------------------------------------------ conditions


def _condition(old: Condition, new: Condition, moves: _Moves) -> list[str]:
    told = _by_parts(old, new, moves)
    if told is not None:
        return told
    return [f"condition was {condition_words(old)}, now {condition_words(new)}"]


def _by_parts(old: Condition, new: Condition, moves: _Moves) -> list[str] | None:
    """The change as names that came in or went out; None where only the whole condition tells it."""
    if old == new:
        return []
    if old.kind != new.kind or old.kind == "none" or len(old.parts) != len(new.parts):
        return None
    if old.parts:
        found: list[str] = []
        for was, now in zip(old.parts, new.parts, strict=True):
            told = _by_parts(was, now, moves)
            if told is None:
                return None
            found += told
        return found or None
    if old.kind not in _WITH_NAMES or old.module != new.module:
        return None
    return _names(old, new, moves)


def _names(old: Condition, new: Condition, moves: _Moves) -> list[str]:
    added = tuple(name for name in new.names if name not in old.names)
    gone = tuple(name for name in old.names if name not in new.names)
    found = [f"also when: {leaf_words(old, (name,))}{_moved(old, name, moves, asked=True)}" for name in added]
    found += [
        f"no longer when: {leaf_words(old, (name,))}{_moved(old, name, moves, asked=False)}" for name in gone
    ]
    return found or ["its names stand in another order"]


def _moved(leaf: Condition, name: str, moves: _Moves, *, asked: bool) -> str:
    return moves.of(name, asked=asked) if leaf.kind == "operation" else ""


# ------------------------------------------------------------------ not needed


def _pairs(entries: tuple[NotNeeded, ...]) -> dict[tuple[str, str], NotNeeded]:
    return {
        (sensor, operation): entry
        for entry in entries
        for sensor in entry.sensors
        for operation in entry.operations
    }


def _not_needed(old: PackEdition, new: PackEdition, moves: _Moves) -> Iterator[Told]:
    was, now = _pairs(old.not_needed), _pairs(new.not_needed)
    for sensor, operation in was:
        if (sensor, operation) not in now and (sensor, operation) not in moves.told:
            yield _needless(sensor, operation, "no longer listed as not needed")
    for sensor, operation in now:
        if (sensor, operation) not in was and (sensor, operation) not in moves.told:
            yield _needless(sensor, operation, NOW_NEEDLESS)
    yield from _wording({key: (was[key], now[key]) for key in now if key in was})


def _needless(sensor: str, operation: str, words: str) -> Told:
    sentence = f"{plain_operation(operation).capitalize()}, {plain_sensor(sensor)}: {words}."
    return ("not_needed", f"{sensor}/{operation}", sentence)


def _wording(both: dict[tuple[str, str], tuple[NotNeeded, NotNeeded]]) -> Iterator[Told]:
    """Another sentence or another citation of what stays not needed, each told once."""
    told: dict[str, str] = {}
    for (sensor, operation), (old, new) in both.items():
        if old.plain != new.plain:
            told.setdefault(f'its sentence was "{old.plain}", now "{new.plain}"', f"{sensor}/{operation}")
        if words := cited(old.cite, new.cite):
            told.setdefault(f'"{new.plain}" {words}', f"{sensor}/{operation}")
    for words, place in told.items():
        yield ("not_needed", place, f"Not needed: {words}.")
