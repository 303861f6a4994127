"""One judgement in three homes: Python 3.11, Python 3.13, and one archive that needs nothing beside it."""

import ast
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.homes.build import ROOT, folder_home, zipped_home
from tests.homes.cases import lines

LATER = "3.13"
PACKS = ROOT / "fixtures" / "packs"
MEASURING = (
    "target_pose", "thrust_angle", "floor_survey", "drive_log", "voltage_log", "adhesive_ready",
    "tyre_pressures", "ride_heights", "light_level", "learned_aim",
)  # fmt: skip


def _answers(program: str | None) -> bool:
    """pyenv puts a name on the path for every version, and only some of them start one."""
    asked = "import sys; print('%d.%d' % sys.version_info[:2])"
    if program is None:
        return False
    said = subprocess.run([program, "-I", "-c", asked], capture_output=True, text=True, check=False)
    return said.stdout.strip() == LATER


def later_python() -> str | None:
    """A Python 3.13: named by WM_LATER_PYTHON, on the path, or among pyenv's versions; None without one.

    No set-up of ours can install an interpreter, so that one is missing fails only where one was named.
    """
    shelf = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    kept = [str(path) for path in sorted(shelf.glob(f"{LATER}*/bin/python"))]
    named = os.environ.get("WM_LATER_PYTHON")
    for program in (named, shutil.which(f"python{LATER}"), *kept):
        if program is not None and _answers(program):
            return program
    assert named is None, f"{named} is no Python {LATER}"
    return None


def _started(program: str, home: Path, cases: Path) -> subprocess.Popen[str]:
    command = [program, "-I", "-S", str(home), str(PACKS), str(cases)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def _said(running: subprocess.Popen[str]) -> dict[str, Any]:
    out, fault = running.communicate(timeout=600)
    assert running.returncode == 0, fault
    found: dict[str, Any] = json.loads(out)
    return found


@pytest.mark.slow
def test_more_than_500_cases_are_judged_the_same_in_every_home(tmp_path: Path) -> None:
    later = later_python()
    cases = tmp_path / "cases.jsonl"
    cases.write_text(lines(), encoding="utf-8")
    folder = folder_home(tmp_path / "home")
    archive = zipped_home(tmp_path / "check.pyz")
    # All at once; a home that fails is waited for like the others.
    running = [_started(sys.executable, folder, cases), _started(sys.executable, archive, cases)]
    if later is not None:
        running.append(_started(later, folder, cases))
    here, *others = (_said(one) for one in running)
    assert len(here["digests"]) > 500
    assert here["foreign"] == []
    for other in others:
        assert [other[name] for name in ("digests", "checks", "foreign")] == [
            here[name] for name in ("digests", "checks", "foreign")
        ]
    # Cases that all come out alike would show little.
    assert len(set(here["digests"])) > 0.9 * len(here["digests"])
    for check in MEASURING:
        verdicts = {name.split()[1] for name in here["checks"] if name.split()[0] == check}
        assert verdicts == {"met", "not_met", "not_shown"}, check
    if later is None:
        pytest.skip(f"Python {LATER} is not installed: the other homes agree, it was not tried.")
    assert others[-1]["python"].startswith(LATER)


def test_an_archive_built_twice_is_the_same_bytes(tmp_path: Path) -> None:
    once, again = (zipped_home(tmp_path / name).read_bytes() for name in ("once.pyz", "again.pyz"))
    assert once == again


def test_only_the_reader_of_packs_knows_anything_but_the_standard_library() -> None:
    beside = set()
    for path in (ROOT / "rules").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [item.name for item in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            tops = {name.split(".")[0] for name in names} - set(sys.stdlib_module_names) - {"rules"}
            beside |= {(path.relative_to(ROOT).as_posix(), top) for top in tops}
    assert beside <= {("rules/packs/reader.py", "yaml"), ("rules/packs/syntax_words.py", "yaml")}
