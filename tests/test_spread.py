"""Tests of a file stay on one worker; only then are shared jobs played once."""

import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.conf import settings

from tests.spread import in_turn, shared_by, turn_of


@pytest.mark.parametrize(
    ("one", "other", "together"),
    [
        ("tests/jobs/packets/test_render.py::test_a", "tests/jobs/packets/test_render.py::test_b[x]", True),
        ("tests/jobs/packets/test_render.py::test_a", "tests/jobs/packets/test_verify.py::test_a", False),
        ("tests/browser/test_pages.py::test_a", "tests/portal/web/test_links.py::test_a", True),
        (
            "tests/jobs/rehearsal/test_fixtures.py::test_a_scenario_holds[warm_tires]",
            "tests/jobs/rehearsal/test_fixtures.py::test_a_scenario_holds[silent_module]",
            False,
        ),
    ],
)
def test_what_stays_together(one: str, other: str, together: bool) -> None:
    assert (shared_by(one) == shared_by(other)) is together


@dataclass(frozen=True)
class Item:
    """As much of a collected test as its turn depends on."""

    nodeid: str
    slow: bool = False

    def get_closest_marker(self, name: str) -> str | None:
        return name if self.slow and name == "slow" else None


def test_files_with_slow_tests_come_first_and_keep_their_own_order() -> None:
    collected = [
        Item("tests/a.py::test_one"),
        Item("tests/b.py::test_one"),
        Item("tests/b.py::test_two", slow=True),
        Item("tests/browser/c.py::test_one", slow=True),
        Item("tests/d.py::test_one"),
    ]
    given = [item.nodeid for item in in_turn(collected)]  # type: ignore[arg-type]
    assert given == [
        "tests/browser/c.py::test_one",
        "tests/b.py::test_one",
        "tests/b.py::test_two",
        "tests/a.py::test_one",
        "tests/d.py::test_one",
    ]


def test_the_longest_start_first() -> None:
    slow = {"tests/browser/test_pages.py", "tests/jobs/test_work.py"}
    turns = [
        turn_of(file, slow) for file in ("tests/browser/test_pages.py", "tests/jobs/test_work.py", "a.py")
    ]
    assert turns == sorted(set(turns))


@pytest.mark.slow
def test_a_run_keeps_files_whole(tmp_path: Path) -> None:
    """Two workers, three files: none is torn apart, as it is when each test goes where there is room."""
    for name in ("test_a", "test_b", "test_c"):
        (tmp_path / f"{name}.py").write_text(
            "import time, pytest\n"
            "@pytest.mark.parametrize('n', range(6))\n"
            "def test_it(n):\n    time.sleep(0.05)\n"
        )
    assert all(len(workers) == 1 for workers in _workers_of_files(tmp_path, "loadfile").values())
    assert any(len(workers) == 2 for workers in _workers_of_files(tmp_path, "load").values())


def _workers_of_files(folder: Path, dist: str) -> dict[str, set[str]]:
    command = [sys.executable, "-m", "pytest", "-v", "-n", "2", "--dist", dist]
    command += ["-p", "no:django", "-p", "no:cacheprovider", "-p", "tests.spread", "-c", "/dev/null"]
    told = subprocess.run(
        [*command, "--rootdir", str(folder), str(folder)],
        check=False, cwd=settings.BASE_DIR, capture_output=True, text=True, timeout=120,
    ).stdout  # fmt: skip
    found: dict[str, set[str]] = {}
    for worker, file in re.findall(r"\[(gw\d)\].* PASSED .*?(test_[abc])\.py::", told):
        found.setdefault(file, set()).add(worker)
    assert set(found) == {"test_a", "test_b", "test_c"}, told
    return found
