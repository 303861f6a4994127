"""Answers of the photo decoder that are kept: the same as the decoder's own, for exactly the same bytes."""

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from jobs.demo import evidence
from jobs.errors import Refused
from jobs.intake import child
from jobs.intake.remembered import decode, remembering

pytestmark = [pytest.mark.slow]

TAKEN_AT = datetime(2026, 5, 5, 7, 41, tzinfo=ZoneInfo("America/Chicago"))


@pytest.fixture(scope="module")
def picture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("picture") / "plate"
    path.write_bytes(evidence.photo("plate", taken_at=TAKEN_AT, lat=43.1, lon=-98.2, job="EM-2026-0417"))
    return path


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The kinds that were really decoded."""
    asked: list[str] = []
    real = child.decode

    def counting(kind: str, path: Path, **more: Any) -> Any:
        asked.append(kind)
        return real(kind, path, **more)

    monkeypatch.setattr(child, "decode", counting)
    return asked


def size(path: Path) -> int:
    return path.stat().st_size


def test_the_second_answer_is_the_first(picture: Path, tmp_path: Path, counted: list[str]) -> None:
    with remembering(tmp_path):
        first = decode("photo", picture, size_bytes=size(picture))
        second = decode("photo", picture, size_bytes=size(picture))
    assert counted == ["photo"]
    assert first.working_copy is not None
    assert second.working_copy is not None
    assert first.working_copy != second.working_copy
    assert first.working_copy.read_bytes() == second.working_copy.read_bytes()
    assert replace(first, working_copy=None) == replace(second, working_copy=None)


def test_other_bytes_are_another_picture(picture: Path, tmp_path: Path, counted: list[str]) -> None:
    other = tmp_path / "other"
    other.write_bytes(picture.read_bytes() + b"\0")
    with remembering(tmp_path):
        decode("photo", picture, size_bytes=size(picture))
        decode("photo", other, size_bytes=size(other))
    assert counted == ["photo", "photo"]


def test_nothing_is_kept_unless_asked_for(picture: Path, tmp_path: Path, counted: list[str]) -> None:
    decode("photo", picture, size_bytes=size(picture))
    decode("photo", picture, size_bytes=size(picture))
    assert counted == ["photo", "photo"]
    assert list(tmp_path.iterdir()) == []


def test_a_refusal_and_a_log_are_asked_for_each_time(tmp_path: Path, counted: list[str]) -> None:
    broken, log = tmp_path / "broken", tmp_path / "log"
    broken.write_bytes(b"\xff\xd8\xff\xe0 no picture")
    log.write_bytes(evidence.climate_log(start=TAKEN_AT, minutes=30, temp_min=18.0, rh_min=50.0))
    with remembering(tmp_path):
        for _ in range(2):
            with pytest.raises(Refused):
                decode("photo", broken, size_bytes=size(broken))
            assert decode("climate_log", log, size_bytes=size(log)).decoder == "climate_log"
    assert counted == ["photo", "climate_log"] * 2
