"""Every reason code of the table of verdicts comes out of at least one scenario of the fixtures."""

from pathlib import Path
from typing import Final

import pytest
from django.conf import settings

from jobs.rehearsal.scenario import Scenario, read_scenario
from rules.verdict import BY_CASE_REASONS, NOT_MET_REASONS, NOT_SHOWN_REASONS

FOLDER: Final = Path(settings.BASE_DIR) / "fixtures" / "scenarios"
STRENGTHS: Final = ("not_met", "not_shown")

# A pack in force names only checks that can be carried out, so no scenario can reach it;
# the tests of the judging make a check fail.
OUT_OF_REACH: Final = ("not_judged",)
# Reasons that no file tells yet. Whoever writes such a file takes the reason out of here.
STILL_TO_TELL: Final = ()


def told(scenario: Scenario) -> set[tuple[str, str]]:
    """(reason, verdict) of every proof that the scenario expects; verdict "" where it names none."""
    found: set[tuple[str, str]] = set()
    for part in scenario.parts:
        for expected in part.expect.values():
            at = {item.path: item.value for item in expected}
            for path, value in at.items():
                if path[-1] in ("reasons", "also_reasons"):
                    verdict = str(at.get((*path[:-1], "verdict"), ""))
                    found.update((reason, verdict) for reason in value)
    return found


@pytest.fixture(scope="module")
def all_told() -> frozenset[tuple[str, str]]:
    return frozenset(pair for path in sorted(FOLDER.glob("*.yaml")) for pair in told(read_scenario(path)))


@pytest.mark.parametrize("reason", NOT_MET_REASONS + BY_CASE_REASONS + NOT_SHOWN_REASONS)
def test_a_scenario_tells_it(reason: str, all_told: frozenset[tuple[str, str]]) -> None:
    is_told = any(code == reason for code, _ in all_told)
    assert is_told == (reason not in OUT_OF_REACH + STILL_TO_TELL)


@pytest.mark.parametrize("reason", BY_CASE_REASONS)
def test_what_depends_on_the_case_is_told_both_ways(
    reason: str, all_told: frozenset[tuple[str, str]]
) -> None:
    ways = {verdict for code, verdict in all_told if code == reason}
    assert ways >= set(STRENGTHS) or reason in STILL_TO_TELL


def test_a_reason_is_found_in_the_files_that_tell_it() -> None:
    """The counting itself, on two files whose texts are known."""
    assert told(read_scenario(FOLDER / "key_off_on_the_way.yaml")) == {("ignition_cycled", "not_met")}
    assert ("module_silent", "not_shown") in told(read_scenario(FOLDER / "silent_module.yaml"))
    assert told(read_scenario(FOLDER / "baseline_road_camera.yaml")) == set()
