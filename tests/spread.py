"""How the tests are spread over workers: a file stays whole, so that what it shares is made once.

Marks of groups are no way to say it: the plugin writes a group into a test's name on the worker, and where
pytest does not take the new name the groups are lost without a word: every worker plays every job again.
"""

from typing import Final

import pytest
from xdist.scheduler import LoadScopeScheduling

# Every scenario is played on its own; nothing is shared between them.
APART: Final = "tests/jobs/rehearsal/test_fixtures.py::test_a_scenario_holds["
# These read one played day, which a worker keeps once it was played (tests/portal/web/played.py).
ONE_DAY: Final = (
    "tests/browser/",
    "tests/portal/web/test_links.py",
    "tests/portal/web/test_played_day.py",
    "tests/portal/web/test_time_line.py",
)
# Of the slow files, these run the longest: they start first, or one worker waits for the other at the end.
FIRST: Final = (
    "tests/browser/",
    "tests/portal/web/",
    "tests/faults/",
    "tests/jobs/packets/",
    "tests/scenarios/",
)


def shared_by(nodeid: str) -> str:
    """The name of what has to stay on one worker with this test."""
    if nodeid.startswith(APART):
        return nodeid
    if nodeid.startswith(ONE_DAY):
        return "one day"
    return nodeid.partition("::")[0]


def in_turn(items: list[pytest.Item]) -> list[pytest.Item]:
    """Files with slow tests come before the others, which then fill what is left; each in its own order."""
    slow = {item.nodeid.partition("::")[0] for item in items if item.get_closest_marker("slow")}
    return sorted(items, key=lambda item: turn_of(item.nodeid.partition("::")[0], slow))


def turn_of(file: str, slow: set[str]) -> int:
    if file not in slow:
        return len(FIRST) + 1
    return next((n for n, folder in enumerate(FIRST) if file.startswith(folder)), len(FIRST))


class WholeFiles(LoadScopeScheduling):
    """Gives out whole files in the order in which they were collected."""

    def _split_scope(self, nodeid: str) -> str:
        return shared_by(nodeid)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items[:] = in_turn(items)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> WholeFiles | None:
    if config.getvalue("dist") != "loadfile":
        return None
    config.option.loadscopereorder = False
    return WholeFiles(config, log)  # type: ignore[arg-type]
