"""Whether a trigger's condition can ever come out true, or false, on some vehicle that its pack covers."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Final

from rules.packs.conditions import ANY_SENSOR
from rules.packs.coverage import leaves
from rules.packs.model import Condition, PackEdition
from rules.vocabulary import SENSORS

# A condition that needs more steps than this counts as reachable: the search must not tire anybody.
MOST_STEPS: Final = 20_000
ANY_YEAR: Final = (1980, 2100)
# A vehicle is built at most this many years from its model year (project default, no source; wide).
BUILT_WITHIN_YEARS: Final = 2
_MAY_BE_UNKNOWN: Final = ("fitted", "operation", "touched", "code_seen", "built")

Wish = tuple[Condition, bool, str | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class _World:
    """What must hold so far: facts by (kind, name), model years, build dates, and the model."""

    edition: PackEdition
    years: tuple[int, int]
    built: tuple[date, date] = (date.min, date.max)
    models: frozenset[str] | None = None
    not_models: frozenset[str] = frozenset()
    facts: Mapping[tuple[str, str], bool] = field(default_factory=dict)

    def possible(self) -> bool:
        first, last = self.years
        if first > last or self.built[0] > self.built[1]:
            return False
        if self.models is not None and not self.models - self.not_models:
            return False
        return (
            self.built[1].year >= first - BUILT_WITHIN_YEARS
            and self.built[0].year <= last + BUILT_WITHIN_YEARS
        )

    def with_fact(self, kind: str, name: str, value: bool) -> "_World | None":
        known = self.facts.get((kind, name))
        if known is not None:
            return self if known is value else None
        return replace(self, facts={**self.facts, (kind, name): value})


def can_be(condition: Condition, wanted: bool, edition: PackEdition, model: str | None = None) -> bool:
    """True unless no vehicle covered by ``edition`` (of ``model``, if named) makes the condition ``wanted``.

    Facts are taken as free where nothing in the condition ties them together.
    """
    world = _World(
        edition=edition,
        years=edition.model_years or ANY_YEAR,
        models=_models(edition, model),
    )
    waiting: list[tuple[tuple[Wish, ...], _World]] = [(((condition, wanted, None),), world)]
    for _step in range(MOST_STEPS):
        if not waiting:
            return False
        wishes, here = waiting.pop()
        if not wishes:
            return True
        first, rest = wishes[0], wishes[1:]
        for more, then in _ways(first, here):
            if then.possible():
                waiting.append(((*more, *rest), then))
    return True


def _models(edition: PackEdition, model: str | None) -> frozenset[str] | None:
    covered = frozenset(edition.models) if edition.models else None
    if model is None:
        return covered
    return frozenset((model,)) if covered is None else covered & {model}


def may_be_unknown(condition: Condition) -> bool:
    """True if a fact that the condition asks for may be missing; years, models and packs are always known."""
    return any(leaf.kind in _MAY_BE_UNKNOWN for leaf in leaves(condition))


def _ways(wish: Wish, world: _World) -> Iterator[tuple[tuple[Wish, ...], _World]]:
    """Every way in which the first wish can come true: what is then still wished, and the world then."""
    condition, wanted, sensor = wish
    if condition.kind in ("all", "any", "none"):
        for more in _parts(condition, wanted, sensor):
            yield more, world
        return
    for then in _leaf(condition, wanted, sensor, world):
        yield (), then


def _parts(condition: Condition, wanted: bool, sensor: str | None) -> Iterator[tuple[Wish, ...]]:
    if condition.kind == "all" and sensor is None and _asks_any_sensor(condition):
        each: tuple[Wish, ...] = tuple((condition, wanted, name) for name in SENSORS)
        if wanted:
            yield from ((one,) for one in each)
        else:
            yield each
        return
    part_wanted = wanted if condition.kind != "none" else not wanted
    together = (condition.kind == "all") is wanted if condition.kind != "none" else wanted
    parts: tuple[Wish, ...] = tuple((part, part_wanted, sensor) for part in condition.parts)
    if together:
        yield parts
    else:
        yield from ((part,) for part in parts)


def _asks_any_sensor(condition: Condition) -> bool:
    return any(ANY_SENSOR in leaf.names for leaf in leaves(condition))


def _leaf(condition: Condition, wanted: bool, sensor: str | None, world: _World) -> Iterator[_World]:
    kind = condition.kind
    if kind == "always":
        if wanted:
            yield world
    elif kind == "no_maker_pack":
        yield from _no_maker_pack(wanted, sensor, world)
    elif kind == "model":
        yield _of_model(condition, wanted, world)
    elif kind == "year":
        yield from _of_years(condition, wanted, world)
    elif kind == "built":
        yield from _of_build(condition, wanted, world)
    else:
        yield from _named(condition, wanted, sensor, world)


def _named(condition: Condition, wanted: bool, sensor: str | None, world: _World) -> Iterator[_World]:
    names = condition.names
    if ANY_SENSOR in names:
        names = SENSORS if sensor is None else (sensor,)
    kind = f"{condition.kind} {condition.module}"
    if wanted:
        yield from (then for name in names if (then := world.with_fact(kind, name, True)) is not None)
        return
    without: _World | None = world
    for name in names:
        without = None if without is None else without.with_fact(kind, name, False)
    if without is not None:
        yield without


def _no_maker_pack(wanted: bool, sensor: str | None, world: _World) -> Iterator[_World]:
    """A maker's pack covers the vehicle itself, so there is one; beside other packs it may be either way."""
    edition = world.edition
    if edition.is_maker:
        holds = sensor is not None and sensor not in edition.speaks_for
        if holds is wanted:
            yield world
        return
    then = world.with_fact("no_maker_pack", sensor or "", wanted)
    if then is not None:
        yield then


def _of_model(condition: Condition, wanted: bool, world: _World) -> _World:
    names = frozenset(condition.names)
    if not wanted:
        return replace(world, not_models=world.not_models | names)
    return replace(world, models=names if world.models is None else world.models & names)


def _of_years(condition: Condition, wanted: bool, world: _World) -> Iterator[_World]:
    first, last = condition.years or ANY_YEAR
    low, high = world.years
    if wanted:
        yield replace(world, years=(max(low, first), min(high, last)))
    else:
        yield replace(world, years=(low, min(high, first - 1)))
        yield replace(world, years=(max(low, last + 1), high))


def _of_build(condition: Condition, wanted: bool, world: _World) -> Iterator[_World]:
    first, last = condition.built or (None, None)
    low, high = world.built
    if wanted:
        yield replace(world, built=(max(low, first or low), min(high, last or high)))
        return
    if first is not None and first > date.min:
        yield replace(world, built=(low, min(high, date.fromordinal(first.toordinal() - 1))))
    if last is not None and last < date.max:
        yield replace(world, built=(max(low, date.fromordinal(last.toordinal() + 1)), high))
