"""Conditions judged on facts, against an oracle that settles every unknown both ways."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.facts import JobFacts
from rules.packs.coverage import leaves
from rules.packs.model import Condition
from rules.packs.triggers import Judged, Situation, judge
from rules.verdict import Truth
from rules.vocabulary import DEFAULT_ZONES, OPERATIONS, SENSORS
from tests.rules.cast import OTHER_VIN, corran, ended, job, operation, packs, scan, way


def truth_of(condition: Condition, facts: JobFacts, covering: bool = True) -> Truth:
    return judge(condition, Situation.of(facts, packs() if covering else packs()[:1])).truth


def facts_with(states: dict[str, str], **more: object) -> JobFacts:
    ways = tuple(
        way(sensor, state, how)
        for sensor, state in states.items()
        if state != "unknown"
        for how in ("sight", "build_data")
    )
    return job(fitted_ways=ways, **more)  # type: ignore[arg-type]


def classical(condition: Condition, fitted: dict[str, bool]) -> bool:
    parts = [classical(part, fitted) for part in condition.parts]
    if condition.kind == "fitted":
        return fitted[condition.names[0]]
    return {"all": all(parts), "any": any(parts), "none": not any(parts)}[condition.kind]


Shape = tuple[str, list["Shape"]] | None
SHAPES: st.SearchStrategy[Shape] = st.recursive(
    st.none(),
    lambda parts: st.tuples(st.sampled_from(["all", "any", "none"]), st.lists(parts, min_size=1, max_size=3)),
    max_leaves=8,
)


def tree(shape: Shape, sensors: Iterator[str]) -> Condition:
    """A condition in which each sensor stands once, so that settling and Kleene logic must agree."""
    if shape is None:
        return Condition(kind="fitted", names=(next(sensors),))
    kind, parts = shape
    return Condition(kind=kind, parts=tuple(tree(part, sensors) for part in parts))


@settings(max_examples=200, deadline=None)
@given(SHAPES, st.lists(st.sampled_from(["yes", "no", "unknown"]), min_size=8, max_size=8))
def test_trees_agree_with_every_settling(shape: Shape, states: list[str]) -> None:
    condition = tree(shape, iter(SENSORS))
    known = dict(zip(SENSORS, states, strict=False))
    used = [leaf.names[0] for leaf in leaves(condition)]
    choices = [{"yes": (True,), "no": (False,), "unknown": (True, False)}[known[sensor]] for sensor in used]
    outcomes = {classical(condition, dict(zip(used, choice, strict=True))) for choice in product(*choices)}
    expected = "unknown" if len(outcomes) > 1 else ("true" if outcomes.pop() else "false")
    judged = judge(condition, Situation.of(facts_with(known), packs()))
    assert judged.truth == expected
    assert bool(judged.gaps) == (expected == "unknown")


LOOKUP = next(trigger for trigger in packs()[0].triggers if trigger.id == "CP-T-LOOKUP").when


@settings(max_examples=120, deadline=None)
@given(
    st.lists(st.sampled_from(["yes", "no", "unknown"]), min_size=len(SENSORS), max_size=len(SENSORS)),
    st.lists(st.sampled_from(OPERATIONS), max_size=4, unique=True),
    st.booleans(),
    st.booleans(),
)
def test_any_sensor_means_one_and_the_same_sensor(
    states: list[str], operations: list[str], is_closed: bool, has_maker_pack: bool
) -> None:
    known = dict(zip(SENSORS, states, strict=True))
    facts = replace(corran(*operations, closed=is_closed), fitted_ways=facts_with(known).fitted_ways)
    spoken = packs()[1].speaks_for if has_maker_pack else ()
    may_be, must_be = False, False
    for sensor in SENSORS:
        met = any(sensor in DEFAULT_ZONES.get(name, ()) for name in operations)
        if sensor in spoken or known[sensor] == "no" or (not met and is_closed):
            continue
        may_be = True
        must_be = must_be or (known[sensor] == "yes" and met)
    expected = "true" if must_be else ("unknown" if may_be else "false")
    assert truth_of(LOOKUP, facts, covering=has_maker_pack) == expected


def code_seen(*codes: str) -> Condition:
    return Condition(kind="code_seen", names=codes, module="forward_camera")


@pytest.mark.parametrize(
    ("scans", "truth"),
    [
        ((), "unknown"),
        ((scan(),), "false"),
        ((scan("before_calibration", 20),), "false"),
        ((scan("final", 90),), "unknown"),
        ((scan(codes=(("forward_camera", "C1A45", "54"),)),), "true"),
        ((scan(codes=(("forward_camera", "c1a45", "54"),)),), "true"),
        ((scan(codes=(("forward_camera", "C1A45", "55"),)),), "false"),
        ((scan(codes=(("front_radar", "C1A45", "54"),)),), "false"),
        ((scan(codes=(("forward_camera", "C1A45", None),)),), "unknown"),
        ((scan("final", 90, (("forward_camera", "C1A45", "54"),)),), "true"),
        ((scan(), scan("later", 95, (("forward_camera", "C1A45", "54"),))), "true"),
        ((ended(scan(codes=(("forward_camera", "C1A45", "54"),)), "set_aside"),), "unknown"),
        ((scan(codes=(("forward_camera", "C1A45", "54"),), vin=OTHER_VIN),), "unknown"),
        ((scan(vin=OTHER_VIN), scan(minutes=3)), "false"),
    ],
)
def test_code_seen(scans: tuple[object, ...], truth: Truth) -> None:
    assert truth_of(code_seen("C1A45-54"), job(scans=scans)) == truth


def test_a_code_named_without_failure_type_is_seen_with_any() -> None:
    facts = job(scans=(scan(codes=(("forward_camera", "C1A45", "76"),)),))
    assert truth_of(code_seen("C1A45"), facts) == "true"
    assert truth_of(code_seen("C1A45-54", "C1A45-76"), facts) == "true"


@pytest.mark.parametrize(
    ("condition", "truth"),
    [
        (Condition(kind="always"), "true"),
        (Condition(kind="model", names=("Corran", "Sedge")), "true"),
        (Condition(kind="model", names=("Sedge",)), "false"),
        (Condition(kind="year", years=(2024, 2026)), "true"),
        (Condition(kind="year", years=(2026, 2026)), "true"),
        (Condition(kind="year", years=(2027, 2028)), "false"),
        (Condition(kind="year", years=(2020, 2025)), "false"),
        (Condition(kind="no_maker_pack"), "false"),
        (Condition(kind="built", built=(date(2026, 1, 1), None)), "unknown"),
        (Condition(kind="none", parts=(Condition(kind="always"),)), "false"),
    ],
)
def test_plain_conditions(condition: Condition, truth: Truth) -> None:
    assert truth_of(condition, job()) == truth


@pytest.mark.parametrize(
    ("first", "last", "truth"),
    [
        (date(2026, 2, 1), None, "true"),
        (date(2026, 2, 2), None, "false"),
        (None, date(2026, 2, 1), "true"),
        (None, date(2026, 1, 31), "false"),
        (date(2026, 1, 1), date(2026, 3, 1), "true"),
    ],
)
def test_built(first: date | None, last: date | None, truth: Truth) -> None:
    facts = job()
    facts = replace(facts, vehicle=replace(facts.vehicle, build_date=date(2026, 2, 1)))
    assert truth_of(Condition(kind="built", built=(first, last)), facts) == truth


def test_no_maker_pack_where_none_covers_the_vehicle() -> None:
    assert truth_of(Condition(kind="no_maker_pack"), job(), covering=False) == "true"


def test_any_sensor_outside_all_asks_each_question_by_itself() -> None:
    facts = corran("mirror.left.replaced")
    fitted = Condition(kind="fitted", names=("any_sensor",))
    touched = Condition(kind="touched", names=("any_sensor",))
    assert truth_of(fitted, facts) == "true"
    assert truth_of(touched, facts) == "true"
    assert truth_of(touched, corran("tyre.replaced")) == "false"
    assert truth_of(Condition(kind="touched", names=("front_radar",)), facts) == "false"


def flat(judged: Judged) -> list[Judged]:
    return [judged, *(node for part in judged.parts for node in flat(part))]


def test_every_part_says_the_fact_it_came_from() -> None:
    trigger = next(one for one in packs()[1].triggers if one.id == "OV-T-FC")
    judged = judge(trigger.when, Situation.of(corran("bumper.front.refitted", scans=()), packs()))
    told = {node.text: (node.truth, node.fact) for node in flat(judged) if not node.parts}
    assert told["fitted: forward camera"] == (
        "true",
        "forward camera: build data says yes; sight says yes",
    )
    assert told["code seen in forward camera: C1A45-54, C1A45-76"] == (
        "unknown",
        "the before-repair scan is missing",
    )
    assert [gap.code for gap in judged.gaps] == ["missing"]


def test_operations_withdrawn_are_not_on_the_list() -> None:
    condition = Condition(kind="operation", names=("hood.replaced",))
    assert truth_of(condition, corran("hood.replaced")) == "true"
    assert truth_of(condition, corran(operations=(ended(operation("hood.replaced")),))) == "false"
