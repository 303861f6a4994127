"""Mutilated scenarios: each is told to be none, or is played to its end."""

import io
import json
import random
from contextlib import suppress
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from hypothesis import HealthCheck, given
from hypothesis import settings as trying
from hypothesis import strategies as st

from jobs.rehearsal.faults import ScenarioError
from jobs.rehearsal.scenario import read_scenario
from tests.jobs.rehearsal.conftest import SMALL

FOLDER = Path(settings.BASE_DIR) / "fixtures" / "scenarios"
WHOLE = (FOLDER / "baseline_road_camera.yaml").read_text(encoding="utf-8")
WORDS = (
    "no", "0", "-1", "1e9", "99999999999", "''", "[]", "{}", "[[]]", "{a: {b: c}}", "true", "null", "~",
    "24:00", '"+9999 10:30"', '"2190-12-31 23:59:59.999999"', '"1990-01-01 00:00"', "Z0ASD1F89S2011835",
    '"2026-05-05T10:30:00+23:59"', "hold 999999999", "to 40 22", "drop", '"\\u0000"', '"\\U0010FFFF"', "x: y",
    "&a", "*a", "!!str",
)  # fmt: skip


TEXTS = st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace"))


def mutilated(text: str, seed: int) -> str:
    """Some lines lost, doubled or swapped, some values replaced by something else."""
    chance = random.Random(seed)
    lines = text.split("\n")
    for _ in range(chance.randint(1, 4)):
        place = chance.randrange(len(lines))
        act = chance.randrange(5)
        if act == 0:
            del lines[place]
        elif act == 1:
            lines.insert(place, lines[chance.randrange(len(lines))])
        elif act == 2:
            lines[place] = lines[place].replace(":", "", 1)
        else:
            key, colon, value = lines[place].partition(": ")
            parts = value.split(", ")
            parts[chance.randrange(len(parts))] = chance.choice(WORDS)
            lines[place] = key + colon + ", ".join(parts)
    return "\n".join(lines)


def status_of(path: Path) -> tuple[int, dict[str, object]]:
    told, status = io.StringIO(), 0
    try:
        call_command("rehearse", str(path), stdout=told)
    except SystemExit as ended:
        status = int(str(ended.code))
    return status, json.loads(told.getvalue())["files"][0]


@trying(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32))
def test_a_mutilated_file_is_read_or_told_to_be_none(small: Path, seed: int) -> None:
    small.write_text(mutilated(WHOLE, seed), encoding="utf-8", errors="surrogatepass")
    with suppress(ScenarioError):
        assert read_scenario(small).jobs


@trying(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    data=st.one_of(
        st.binary(max_size=200), st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace"))
    )
)
def test_any_bytes_are_read_or_told_to_be_no_scenario(small: Path, data: bytes) -> None:
    small.write_bytes(data)
    with pytest.raises(ScenarioError):
        read_scenario(small)


@pytest.mark.slow
@pytest.mark.usefixtures("own_database")
@trying(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32))
def test_a_mutilated_scenario_is_played_or_told_to_be_none(small: Path, seed: int) -> None:
    small.write_text(mutilated(SMALL, seed), encoding="utf-8", errors="surrogatepass")
    status, told = status_of(small)
    assert status == (2 if "faults" in told else 0 if told["holds"] else 1)
