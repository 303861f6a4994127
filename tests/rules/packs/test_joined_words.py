"""What joined conditions say: all, any and none of their parts, and one and the same sensor, word by word."""

# ruff: noqa: E501 - the lines are as long as what a reader gets

from typing import Final

import pytest

from rules.facts import JobFacts
from rules.packs.model import Condition
from rules.packs.triggers import judge
from tests.rules.cast import closing, corran, fitted, job, operation, scan
from tests.rules.packs.test_trigger_words import BUMPER, CAMERA, GLASS, SAME, WINDSHIELD, situation, told

JOINED: Final[dict[str, tuple[Condition, JobFacts, list[str]]]] = {
    "all": (
        Condition(kind="all", parts=(CAMERA, WINDSHIELD)),
        corran(GLASS),
        [
            "true: all of these",
            "  true: fitted: forward camera | fact forward camera: build data says yes; sight says yes",
            "  true: operation: windshield replaced | fact on the list: windshield replaced | why windshield replaced is on the list of repair operations | records op-glass.windshield.replaced-10",
        ],
    ),
    "all, one unknown": (
        Condition(kind="all", parts=(CAMERA, WINDSHIELD)),
        corran(closed=False),
        [
            "unknown: all of these | gaps operations_open: the list of repair operations is not closed",
            "  true: fitted: forward camera | fact forward camera: build data says yes; sight says yes",
            "  unknown: operation: windshield replaced | fact the list of repair operations is not closed | gaps operations_open: the list of repair operations is not closed",
        ],
    ),
    "any, one unknown": (
        Condition(kind="any", parts=(Condition(kind="model", names=("Sedge",)), WINDSHIELD)),
        corran(closed=False),
        [
            "unknown: any of these | gaps operations_open: the list of repair operations is not closed",
            "  false: model: Sedge | fact the model is Corran",
            "  unknown: operation: windshield replaced | fact the list of repair operations is not closed | gaps operations_open: the list of repair operations is not closed",
        ],
    ),
    "any, one true": (
        Condition(kind="any", parts=(CAMERA, WINDSHIELD)),
        corran(closed=False),
        [
            "true: any of these",
            "  true: fitted: forward camera | fact forward camera: build data says yes; sight says yes",
            "  unknown: operation: windshield replaced | fact the list of repair operations is not closed | gaps operations_open: the list of repair operations is not closed",
        ],
    ),
    "none": (
        Condition(kind="none", parts=(WINDSHIELD, Condition(kind="model", names=("Sedge",)))),
        corran(BUMPER),
        [
            "true: none of these | negates yes",
            "  false: operation: windshield replaced | fact none of them is on the closed list",
            "  false: model: Sedge | fact the model is Corran",
        ],
    ),
    "none, one true": (
        Condition(kind="none", parts=(WINDSHIELD,)),
        corran(GLASS),
        [
            "false: none of these | negates yes",
            "  true: operation: windshield replaced | fact on the list: windshield replaced | why windshield replaced is on the list of repair operations | records op-glass.windshield.replaced-10",
        ],
    ),
    "one and the same sensor": (
        SAME,
        job(
            "Kestmoor",
            "Dray",
            fitted_ways=fitted("front_radar"),
            operations=(operation(BUMPER),),
            closings=(closing(),),
            scans=(scan(),),
        ),
        [
            "true: for one and the same sensor, all of these",
            "  true: front radar: all of these | sensor front_radar",
            "    true: fitted: front radar | fact front radar: build data says yes; sight says yes",
            "    true: surroundings touched: front radar | fact on the list: front bumper refitted | why front bumper refitted touched the surroundings of the front radar | records op-bumper.front.refitted-10",
            "    true: no maker pack speaks for the front radar | fact none does",
        ],
    ),
    "no such sensor": (
        SAME,
        job(
            "Kestmoor",
            "Dray",
            fitted_ways=fitted("rear_camera"),
            operations=(operation(BUMPER),),
            closings=(closing(),),
            scans=(scan(),),
        ),
        [
            "false: for one and the same sensor, all of these | fact no sensor for which all parts may hold",
        ],
    ),
    "perhaps one sensor": (
        SAME,
        job(
            "Kestmoor",
            "Dray",
            fitted_ways=fitted("rear_camera", unknown=("front_radar",)),
            operations=(operation(BUMPER),),
            closings=(closing(),),
            scans=(scan(),),
        ),
        [
            "unknown: for one and the same sensor, all of these | gaps fit_unknown: it is not established whether the vehicle has its front radar",
            "  unknown: front radar: all of these | gaps fit_unknown: it is not established whether the vehicle has its front radar | sensor front_radar",
            "    unknown: fitted: front radar | fact front radar: nothing recorded that counts | gaps fit_unknown: it is not established whether the vehicle has its front radar",
            "    true: surroundings touched: front radar | fact on the list: front bumper refitted | why front bumper refitted touched the surroundings of the front radar | records op-bumper.front.refitted-10",
            "    true: no maker pack speaks for the front radar | fact none does",
        ],
    ),
    "a sensor the maker speaks for": (
        SAME,
        corran(BUMPER),
        [
            "false: for one and the same sensor, all of these | fact no sensor for which all parts may hold",
        ],
    ),
}


@pytest.mark.parametrize("name", JOINED)
def test_a_joined_condition_says_what_it_found(name: str) -> None:
    condition, facts, expected = JOINED[name]
    judged = judge(condition, situation(facts))
    assert told(judged) == expected
    assert judged.truth in ("true", "false", "unknown")
