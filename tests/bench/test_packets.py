"""The packet's timings in miniature, so that they cannot rot: every engine that is installed, every ratio."""

import pytest

from tests.bench.packet_engines import ENGINES
from tests.bench.packets import GOALS, installed, run

pytestmark = pytest.mark.slow


def test_the_run_measures_every_engine_and_gives_every_ratio(capsys: pytest.CaptureFixture[str]) -> None:
    told = run(counts=(1, 2, 3), repeats=1, pixels=(1600, 1200))
    printed = capsys.readouterr().out
    assert all(engine in printed for engine in ENGINES)
    left_out = 0 if installed("reportlab") else 1
    assert len(told) == len(GOALS) - left_out
    assert all(value > 0 for value in told.values())
