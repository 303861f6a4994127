"""What each condition of a trigger says of its facts: text, truth, fact, reason, gaps and records, word by word.

The lines are what a reader gets; the truths among them follow from three-valued logic (strong Kleene).
"""

# ruff: noqa: E501 - the lines are as long as what a reader gets

from dataclasses import replace
from datetime import date
from typing import Final

import pytest

from rules.facts import JobFacts
from rules.packs.coverage import covering
from rules.packs.model import Condition
from rules.packs.triggers import Judged, Situation, judge
from tests.rules.cast import corran, fitted, job, line, packs, scan

GLASS: Final = "glass.windshield.replaced"
BUMPER: Final = "bumper.front.refitted"
EXTRA: Final = "x.trailer_hitch.fitted"
CAMERA: Final = Condition(kind="fitted", names=("forward_camera",))
WINDSHIELD: Final = Condition(kind="operation", names=(GLASS,))
SAME: Final = Condition(
    kind="all",
    parts=(
        Condition(kind="fitted", names=("any_sensor",)),
        Condition(kind="touched", names=("any_sensor",)),
        Condition(kind="no_maker_pack"),
    ),
)


def built_on(day: date) -> JobFacts:
    facts = corran()
    return replace(facts, vehicle=replace(facts.vehicle, build_date=day))


def told(judged: Judged, depth: int = 0) -> list[str]:
    """One line for each node: its truth and text, then all that is said beside them."""
    beside = {
        "fact": judged.fact,
        "why": judged.why,
        "gaps": "; ".join(f"{gap.code}: {gap.words}" for gap in judged.gaps),
        "records": ", ".join(judged.operation_ids),
        "sensor": judged.sensor or "",
        "negates": "yes" if judged.negates is True else "",
    }
    said = "".join(f" | {name} {words}" for name, words in beside.items() if words)
    own = "  " * depth + f"{judged.truth}: {judged.text}{said}"
    return [own, *(text for part in judged.parts for text in told(part, depth + 1))]


def situation(facts: JobFacts) -> Situation:
    vehicle = facts.vehicle
    return Situation.of(facts, covering(packs(), vehicle.make, vehicle.model_year, vehicle.model))


CASES: Final[dict[str, tuple[Condition, JobFacts, list[str]]]] = {
    "always": (
        Condition(kind="always"),
        corran(),
        [
            "true: on every job | why it belongs to every job",
        ],
    ),
    "fitted yes": (
        Condition(kind="fitted", names=("forward_camera",)),
        corran(),
        [
            "true: fitted: forward camera | fact forward camera: build data says yes; sight says yes",
        ],
    ),
    "fitted no": (
        Condition(kind="fitted", names=("lidar", "rear_camera")),
        corran(),
        [
            "false: fitted: lidar, rear camera | fact lidar: build data says no; sight says no; rear camera: build data says no; sight says no",
        ],
    ),
    "fitted unknown": (
        Condition(kind="fitted", names=("forward_camera", "front_radar", "lidar")),
        corran(fitted_ways=fitted("surround_cameras", unknown=("forward_camera", "front_radar"))),
        [
            "unknown: fitted: forward camera, front radar, lidar | fact forward camera: nothing recorded that counts; front radar: nothing recorded that counts | gaps fit_unknown: it is not established whether the vehicle has its forward camera; fit_unknown: it is not established whether the vehicle has its front radar",
        ],
    ),
    "any sensor fitted": (
        Condition(kind="fitted", names=("any_sensor",)),
        corran(),
        [
            "true: fitted: any sensor | fact forward camera: build data says yes; sight says yes; front radar: build data says yes; sight says yes; rear corner radar: build data says yes; sight says yes; around-view cameras: build data says yes; sight says yes; parking sensors: build data says yes; sight says yes; steering-angle sensor: build data says yes; sight says yes",
        ],
    ),
    "operation on the list": (
        Condition(kind="operation", names=(GLASS, BUMPER)),
        corran(GLASS, "door.left_front.refinished", BUMPER),
        [
            "true: operation: windshield replaced, front bumper refitted | fact on the list: windshield replaced, front bumper refitted | why windshield replaced, front bumper refitted is on the list of repair operations | records op-glass.windshield.replaced-10, op-bumper.front.refitted-10",
        ],
    ),
    "operation planned only": (
        Condition(kind="operation", names=(GLASS,)),
        corran(estimate_lines=(line(1, GLASS),)),
        [
            "true: operation: windshield replaced | fact on the list: windshield replaced | why windshield replaced is on the list of repair operations",
        ],
    ),
    "operation not on the closed list": (
        Condition(kind="operation", names=(GLASS, BUMPER)),
        corran("door.left_front.refinished"),
        [
            "false: operation: windshield replaced, front bumper refitted | fact none of them is on the closed list",
        ],
    ),
    "operation while the list is open": (
        Condition(kind="operation", names=(GLASS,)),
        corran(closed=False),
        [
            "unknown: operation: windshield replaced | fact the list of repair operations is not closed | gaps operations_open: the list of repair operations is not closed",
        ],
    ),
    "operation on an open list": (
        Condition(kind="operation", names=(GLASS,)),
        corran(GLASS, closed=False),
        [
            "true: operation: windshield replaced | fact on the list: windshield replaced | why windshield replaced is on the list of repair operations | records op-glass.windshield.replaced-10",
        ],
    ),
    "touched": (
        Condition(kind="touched", names=("forward_camera", "front_radar")),
        corran(GLASS, "mirror.inside.disturbed"),
        [
            "true: surroundings touched: forward camera, front radar | fact on the list: windshield replaced, inside mirror disturbed | why windshield replaced, inside mirror disturbed touched the surroundings of the forward camera | records op-glass.windshield.replaced-10, op-mirror.inside.disturbed-10",
        ],
    ),
    "touched by a planned one": (
        Condition(kind="touched", names=("front_radar",)),
        corran(estimate_lines=(line(1, BUMPER),)),
        [
            "true: surroundings touched: front radar | fact on the list: front bumper refitted | why front bumper refitted touched the surroundings of the front radar",
        ],
    ),
    "not touched": (
        Condition(kind="touched", names=("front_radar",)),
        corran(GLASS),
        [
            "false: surroundings touched: front radar | fact nothing meets it",
        ],
    ),
    "touched while the list is open": (
        Condition(kind="touched", names=("front_radar",)),
        corran(closed=False),
        [
            "unknown: surroundings touched: front radar | fact the list of repair operations is not closed | gaps operations_open: the list of repair operations is not closed",
        ],
    ),
    "touched by what nobody placed": (
        Condition(kind="touched", names=("front_radar",)),
        corran(EXTRA),
        [
            "unknown: surroundings touched: front radar | fact on the list: trailer hitch fitted | why trailer hitch fitted touched the surroundings of the front radar | gaps operations_open: nobody has said which sensors an added operation meets | records op-x.trailer_hitch.fitted-10",
        ],
    ),
    "touched by what meets every aimed sensor": (
        Condition(kind="touched", names=("lidar", "front_radar")),
        corran("ride_height.changed", fitted_ways=fitted("forward_camera", unknown=("lidar", "front_radar"))),
        [
            "unknown: surroundings touched: lidar, front radar | fact on the list: ride height changed | why ride height changed touched the surroundings of the lidar, front radar | gaps fit_unknown: it is not established whether the vehicle has its lidar; fit_unknown: it is not established whether the vehicle has its front radar | records op-ride_height.changed-10",
        ],
    ),
    "code seen": (
        Condition(kind="code_seen", module="forward_camera", names=("C1A45-54", "C1A45-76")),
        corran(scans=(scan(codes=(("forward_camera", "C1A45", "54"),)),)),
        [
            "true: code seen in forward camera: C1A45-54, C1A45-76 | fact seen in a scan of this visit | why code C1A45-54 or C1A45-76 was seen in the forward camera",
        ],
    ),
    "code of another module": (
        Condition(kind="code_seen", module="forward_camera", names=("C1A45-54",)),
        corran(scans=(scan(codes=(("front_radar", "C1A45", "54"),)),)),
        [
            "false: code seen in forward camera: C1A45-54 | fact not seen",
        ],
    ),
    "code with another failure type": (
        Condition(kind="code_seen", module="forward_camera", names=("C1A45-54",)),
        corran(scans=(scan(codes=(("forward_camera", "C1A45", "78"),)),)),
        [
            "false: code seen in forward camera: C1A45-54 | fact not seen",
        ],
    ),
    "code without a failure type": (
        Condition(kind="code_seen", module="forward_camera", names=("C1A45-54",)),
        corran(scans=(scan(codes=(("forward_camera", "C1A45", None),)),)),
        [
            "unknown: code seen in forward camera: C1A45-54 | fact a scan shows the code without its failure type | gaps missing: a scan shows the code without its failure type",
        ],
    ),
    "code asked for without one": (
        Condition(kind="code_seen", module="forward_camera", names=("C1A45",)),
        corran(scans=(scan(codes=(("forward_camera", "C1A45", "54"),)),)),
        [
            "true: code seen in forward camera: C1A45 | fact seen in a scan of this visit | why code C1A45 was seen in the forward camera",
        ],
    ),
    "no scan yet": (
        Condition(kind="code_seen", module="forward_camera", names=("C1A45-54",)),
        corran(scans=()),
        [
            "unknown: code seen in forward camera: C1A45-54 | fact the before-repair scan is missing | gaps missing: the before-repair scan is missing",
        ],
    ),
    "scan before aiming stands in": (
        Condition(kind="code_seen", module="forward_camera", names=("C1A45-54",)),
        corran(scans=(scan("before_calibration"),)),
        [
            "false: code seen in forward camera: C1A45-54 | fact not seen (the scan before aiming stands in)",
        ],
    ),
    "a maker pack covers": (
        Condition(kind="no_maker_pack"),
        corran(),
        [
            "false: no maker pack covers the vehicle | fact a maker pack covers it",
        ],
    ),
    "no maker pack": (
        Condition(kind="no_maker_pack"),
        job("Kestmoor", "Dray"),
        [
            "true: no maker pack covers the vehicle | fact none is on file",
        ],
    ),
    "model": (
        Condition(kind="model", names=("Corran", "Sedge")),
        corran(),
        [
            "true: model: Corran, Sedge | fact the model is Corran",
        ],
    ),
    "another model": (
        Condition(kind="model", names=("Marrick", "Sedge")),
        corran(),
        [
            "false: model: Marrick, Sedge | fact the model is Corran",
        ],
    ),
    "first and last year": (
        Condition(kind="year", years=(2026, 2026)),
        corran(),
        [
            "true: model year 2026 to 2026 | fact the model year is 2026",
        ],
    ),
    "a year too early": (
        Condition(kind="year", years=(2027, 2028)),
        corran(),
        [
            "false: model year 2027 to 2028 | fact the model year is 2026",
        ],
    ),
    "a year too late": (
        Condition(kind="year", years=(2024, 2025)),
        corran(),
        [
            "false: model year 2024 to 2025 | fact the model year is 2026",
        ],
    ),
    "built unknown": (
        Condition(kind="built", built=(date(2026, 1, 1), date(2026, 2, 1))),
        corran(),
        [
            "unknown: built from 2026-01-01 to 2026-02-01 | fact the build date is missing | gaps missing: the build date is missing",
        ],
    ),
    "built on the first day": (
        Condition(kind="built", built=(date(2026, 1, 1), None)),
        built_on(date(2026, 1, 1)),
        [
            "true: built from 2026-01-01 | fact built on 2026-01-01",
        ],
    ),
    "built before the first day": (
        Condition(kind="built", built=(date(2026, 1, 1), None)),
        built_on(date(2025, 12, 31)),
        [
            "false: built from 2026-01-01 | fact built on 2025-12-31",
        ],
    ),
    "built on the last day": (
        Condition(kind="built", built=(None, date(2026, 2, 1))),
        built_on(date(2026, 2, 1)),
        [
            "true: built to 2026-02-01 | fact built on 2026-02-01",
        ],
    ),
    "built after the last day": (
        Condition(kind="built", built=(None, date(2026, 2, 1))),
        built_on(date(2026, 2, 2)),
        [
            "false: built to 2026-02-01 | fact built on 2026-02-02",
        ],
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_a_condition_says_what_it_found(name: str) -> None:
    condition, facts, expected = CASES[name]
    judged = judge(condition, situation(facts))
    assert told(judged) == expected
    assert judged.truth in ("true", "false", "unknown")
