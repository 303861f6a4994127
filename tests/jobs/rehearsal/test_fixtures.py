"""Every scenario of the fixtures is played and holds; what they expect comes from worked examples.

The expected figures of the targets are solved a second time by scipy's least squares below; those of drives,
floors and adhesive stand in the tests of the checks with their sources.
"""

import io
import json
import math
import shutil
from pathlib import Path

import numpy as np
import pytest
from django.conf import settings
from django.core.management import call_command
from scipy.optimize import least_squares

from jobs.rehearsal.scenario import read_scenario
from tests.jobs.packets.outside_leaks import look_through

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("own_database")]

FOLDER = Path(settings.BASE_DIR) / "fixtures" / "scenarios"
# In these at least a record holds something of another car or job.
OF_OTHERS = frozenset(
    {
        "another_cars_final_scan.yaml", "one_drive_log_for_two_cars.yaml", "pictures_that_look_alike.yaml",
        "same_picture_file_in_two_jobs.yaml",
    }
)  # fmt: skip
FILES = sorted(path.name for path in FOLDER.glob("*.yaml"))


def test_there_are_scenarios() -> None:
    assert len(FILES) >= 18


@pytest.mark.parametrize("name", FILES, ids=[name.removesuffix(".yaml") for name in FILES])
def test_a_scenario_holds(name: str) -> None:
    told, status = io.StringIO(), 0
    try:
        call_command("rehearse", str(FOLDER / name), "--keep", stdout=told)
    except SystemExit as ended:
        status = int(str(ended.code))
    answer = json.loads(told.getvalue())["files"][0]
    assert answer.get("faults", []) == []
    database = Path(answer["kept_in"])
    try:
        assert answer["differences"] == []
        assert status == 0
        nothing_of_others_leaves(name, database)
    finally:
        shutil.rmtree(database.parent, ignore_errors=True)


def nothing_of_others_leaves(name: str, database: Path) -> None:
    """In no packet for outside hands of any job whose facts hold something of another job or car."""
    looked = look_through(database)
    assert looked.leaks == ()
    assert looked.packets == 3 * len(looked.jobs)
    if looked.jobs or name in OF_OTHERS:
        assert looked.kept_back > 0


@pytest.mark.parametrize("name", FILES)
def test_a_scenario_expects_something(name: str) -> None:
    """A file that expects nothing could not fail."""
    parts = read_scenario(FOLDER / name).parts
    assert sum(len(expected) for part in parts for expected in part.expect.values()) >= 3


@pytest.mark.parametrize("job", ["corran", "may_put_right", "june", "june_put_right", "january"])
def test_the_expected_places_of_targets_by_scipy(job: str) -> None:
    """Marks 1580 mm apart, bar 1200 mm, wheelbase 2760 mm, rear toe 0.20 and 0.05 deg."""
    scenario = read_scenario(FOLDER / "long_reading_tape.yaml")
    acts = {act.path: act for act in scenario.jobs[job].acts}
    read = {place: float(value) for place, value in acts["readings.target"].body["values"].items()}
    solved = _solved([read[place] for place in ("d_LL", "d_LR", "d_RL", "d_RR")])
    expected = {
        item.path[3]: item.value
        for part in scenario.parts
        for item in part.expect.get(job, ())
        if item.path[:2] == ("proofs", "OV-FC-STILL/target") and item.path[-1] == "value"
    }
    assert expected["distance"].value == pytest.approx(solved[0], abs=0.0051)
    assert expected["sideways"].value == pytest.approx(solved[1], abs=0.0101)


def _solved(read: list[float]) -> tuple[float, float]:
    """Distance, and sideways position from the thrust line, mm."""
    tau = math.radians((0.05 - 0.20) / 2)

    def misses(pose: np.ndarray) -> np.ndarray:
        x, y, turn = pose
        aside = 600 * np.array([-math.sin(turn), math.cos(turn)])
        marks = (np.array([x, y]) + aside, np.array([x, y]) - aside)
        wheels = (np.array([0, 790.0]), np.array([0, -790.0]))
        return np.array([np.linalg.norm(mark - wheel) for wheel in wheels for mark in marks]) - read

    x, y, _ = least_squares(misses, [3200.0, 0.0, 0.0], xtol=1e-14, ftol=1e-14, gtol=1e-14).x
    return float(x), float(y - (x + 2760) * math.tan(tau))
