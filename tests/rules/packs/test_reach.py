"""Which triggers can ever come out true or false: against trying every vehicle of a small world."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.packs.model import Condition, PackEdition
from rules.packs.reach import can_be, may_be_unknown
from rules.packs.reader import read_pack
from rules.vocabulary import SENSORS
from tests.rules.packs.texts import BASE

KESTMOOR = read_pack(BASE.encode())  # a maker's pack for 2024 to 2026 that speaks for the front radar
OTHER = replace(KESTMOOR, makes=(), model_years=None)


def fitted(*names: str) -> Condition:
    return Condition(kind="fitted", names=names)


def done(*names: str) -> Condition:
    return Condition(kind="operation", names=names)


def year(first: int, last: int) -> Condition:
    return Condition(kind="year", years=(first, last))


def model(*names: str) -> Condition:
    return Condition(kind="model", names=names)


def built(first: date | None, last: date | None) -> Condition:
    return Condition(kind="built", built=(first, last))


def every(*parts: Condition) -> Condition:
    return Condition(kind="all", parts=parts)


def either(*parts: Condition) -> Condition:
    return Condition(kind="any", parts=parts)


def neither(*parts: Condition) -> Condition:
    return Condition(kind="none", parts=parts)


ALWAYS = Condition(kind="always")
NO_MAKER = Condition(kind="no_maker_pack")


@pytest.mark.parametrize(
    ("condition", "true", "false"),
    [
        (ALWAYS, True, False),
        (fitted("front_radar"), True, True),
        (every(fitted("front_radar"), neither(fitted("front_radar"))), False, True),
        (every(fitted("front_radar"), neither(fitted("front_radar", "lidar"))), False, True),
        (every(fitted("front_radar", "lidar"), neither(fitted("lidar"))), True, True),
        (every(done("hood.replaced"), neither(done("hood.replaced"))), False, True),
        (either(fitted("lidar"), neither(fitted("lidar"))), True, False),
        # model years of the pack: 2024 to 2026, both included
        (year(2026, 2030), True, True),
        (year(2027, 2030), False, True),
        (year(2020, 2023), False, True),
        (year(2024, 2026), True, False),
        (every(year(2024, 2024), year(2025, 2026)), False, True),
        (every(model("Dray"), model("Linnet")), False, True),
        (every(model("Dray", "Linnet"), neither(model("Dray"))), True, True),
        (every(model("Dray"), neither(model("Dray", "Linnet"))), False, True),
        (built(None, date(2021, 12, 31)), False, True),
        (built(None, date(2022, 1, 1)), True, True),
        (built(date(2029, 1, 1), None), False, True),
        (built(date(2028, 12, 31), None), True, True),
        (every(built(date(2025, 1, 2), None), built(None, date(2025, 1, 1))), False, True),
        (every(built(date(2025, 1, 1), None), built(None, date(2025, 1, 1))), True, True),
        # in a maker's pack one pack covers the car, and speaks for its sensors
        (NO_MAKER, False, True),
        (every(fitted("any_sensor"), NO_MAKER), True, True),
        (every(fitted("any_sensor"), neither(fitted("any_sensor"))), False, True),
    ],
)
def test_true_and_false(condition: Condition, true: bool, false: bool) -> None:
    assert (can_be(condition, True, KESTMOOR), can_be(condition, False, KESTMOOR)) == (true, false)


def test_beside_other_packs_a_maker_may_be_missing() -> None:
    assert can_be(NO_MAKER, True, OTHER)
    assert can_be(NO_MAKER, False, OTHER)
    mute = replace(KESTMOOR, speaks_for=SENSORS)
    assert not can_be(every(fitted("any_sensor"), NO_MAKER), True, mute)


def test_for_one_model() -> None:
    assert can_be(model("Dray"), True, KESTMOOR, "Dray")
    assert not can_be(model("Dray"), True, KESTMOOR, "Linnet")


def test_what_is_always_known() -> None:
    assert not may_be_unknown(every(ALWAYS, year(2024, 2025), model("Dray"), NO_MAKER))
    assert may_be_unknown(every(ALWAYS, built(date(2025, 1, 1), None)))


def test_a_condition_too_large_to_search_counts_as_reachable() -> None:
    pairs = [
        either(fitted(name), done(f"x.{n}.done")) for n in range(40) for name in ("lidar", "front_radar")
    ]
    assert can_be(every(*pairs, neither(fitted("lidar")), *pairs), True, KESTMOOR)


LEAVES = (
    fitted("lidar"),
    fitted("front_radar", "lidar"),
    done("hood.replaced"),
    done("roof.replaced", "hood.replaced"),
    year(2024, 2024),
    year(2025, 2030),
    model("Dray"),
    model("Dray", "Linnet"),
    ALWAYS,
)
CONDITIONS = st.recursive(
    st.sampled_from(LEAVES),
    lambda inner: st.builds(
        lambda kind, parts: Condition(kind=kind, parts=tuple(parts)),
        st.sampled_from(["all", "any", "none"]),
        st.lists(inner, min_size=1, max_size=3),
    ),
    max_leaves=8,
)


def worlds() -> Iterator[dict[str, object]]:
    for lidar, radar, hood, roof in product((False, True), repeat=4):
        for when, name in product((2024, 2025, 2026), ("Dray", "Linnet", "Other")):
            names = {"lidar": lidar, "front_radar": radar, "hood.replaced": hood, "roof.replaced": roof}
            yield {"year": when, "model": name, **names}


def holds(condition: Condition, world: dict[str, object]) -> bool:
    """Plain two-valued logic, written here anew."""
    parts = [holds(part, world) for part in condition.parts]
    if condition.kind == "all":
        return all(parts)
    if condition.kind == "any":
        return any(parts)
    if condition.kind == "none":
        return not any(parts)
    if condition.kind == "year":
        first, last = condition.years or (0, 0)
        return first <= int(str(world["year"])) <= last
    if condition.kind == "model":
        return world["model"] in condition.names
    return condition.kind == "always" or any(world[name] for name in condition.names)


@settings(max_examples=300, deadline=None)
@given(CONDITIONS, st.booleans())
def test_against_trying_every_vehicle(condition: Condition, wanted: bool) -> None:
    edition: PackEdition = KESTMOOR
    assert can_be(condition, wanted, edition) is any(holds(condition, world) is wanted for world in worlds())
