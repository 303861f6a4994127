"""The limited child: whatever happens in it, the caller gets facts or a refusal, and nothing stays behind."""

import contextlib
import os
import threading
import time
from dataclasses import replace
from pathlib import Path

import pytest

from jobs.errors import Refused
from jobs.intake import DEFAULT_LIMITS, Decoded, Limits, decode
from jobs.intake.codes import ALL
from tests.jobs.intake.pictures import encoded, scene

pytestmark = pytest.mark.slow

LOG = b"t,volts\n2026-05-05T15:34:00Z,12.6\n"


@pytest.fixture
def quarantine(tmp_path: Path) -> Path:
    return tmp_path


def put(folder: Path, data: bytes, name: str = "upload") -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def run(kind: str, path: Path, limits: Limits = DEFAULT_LIMITS) -> Decoded:
    return decode(kind, path, size_bytes=path.stat().st_size, limits=limits)


def code_of(kind: str, path: Path, limits: Limits) -> str:
    with pytest.raises(Refused) as refusal:
        run(kind, path, limits)
    assert refusal.value.code in ALL
    return refusal.value.code


def children() -> set[str]:
    """Process ids of this process's children, from the kernel."""
    tasks = Path(f"/proc/{os.getpid()}/task")
    return {child for task in tasks.iterdir() for child in (task / "children").read_text().split()}


def test_good_log(quarantine: Path) -> None:
    decoded = run("voltage_log", put(quarantine, LOG, "evil.exe"))
    assert (decoded.decoder, decoded.media_type, decoded.extension) == ("voltage_log", "text/csv", "csv")
    assert decoded.facts == {"samples": [[1777995240.0, 12.6]], "events": []}
    assert decoded.working_copy is None


def test_good_photo_leaves_only_its_working_copy(quarantine: Path) -> None:
    path = put(quarantine, encoded(scene(1600, 1200)), "photo.png")
    decoded = run("photo", path)
    assert decoded.media_type == "image/jpeg"
    assert decoded.working_copy is not None
    assert decoded.working_copy.read_bytes()[:3] == b"\xff\xd8\xff"
    assert decoded.working_copy.stat().st_mode & 0o777 == 0o600
    assert set(quarantine.iterdir()) == {path, decoded.working_copy}


def test_a_scan_may_be_a_picture_or_a_document(quarantine: Path) -> None:
    decoded = run("scan_summary", put(quarantine, encoded(scene())))
    assert (decoded.kind, decoded.decoder) == ("scan_summary", "photo")


@pytest.mark.parametrize(
    ("limits", "code"),
    [
        (Limits(wall_s=0.0), "decoder_timeout"),
        (Limits(memory_bytes=30 * 1024 * 1024), "decoder_failed"),
        (Limits(memory_bytes=60 * 1024 * 1024), "decoder_failed"),
        (Limits(working_copy_bytes=100), "decoder_failed"),
        (Limits(answer_bytes=50), "decoder_failed"),
        (Limits(open_files=3), "decoder_failed"),
        (Limits(max_bytes=1000), "too_large"),
    ],
)
def test_limits_become_refusals_and_leave_nothing(quarantine: Path, limits: Limits, code: str) -> None:
    path = put(quarantine, encoded(scene(1600, 1200)))
    before = children()
    assert code_of("photo", path, limits) == code
    assert list(quarantine.iterdir()) == [path]
    assert children() <= before


def test_processor_time_is_bounded(quarantine: Path) -> None:
    path = put(quarantine, encoded(scene(7600, 7600), "PNG", compress_level=1))
    started = time.monotonic()
    assert code_of("photo", path, replace(DEFAULT_LIMITS, cpu_s=1)) == "decoder_failed"
    assert time.monotonic() - started < 10


def test_a_slow_child_is_ended_not_waited_for(quarantine: Path) -> None:
    path = put(quarantine, encoded(scene(7600, 7600), "PNG", compress_level=1))
    started = time.monotonic()
    copy = run("photo", path).working_copy
    whole = time.monotonic() - started
    assert copy is not None
    copy.unlink()
    started = time.monotonic()
    assert code_of("photo", path, Limits(wall_s=0.2 * whole)) == "decoder_timeout"
    assert time.monotonic() - started < 0.6 * whole
    assert list(quarantine.iterdir()) == [path]


def test_size_is_checked_by_what_is_read_not_by_what_is_said(quarantine: Path) -> None:
    path = put(quarantine, LOG * 1000)
    with pytest.raises(Refused) as refusal:
        decode("voltage_log", path, size_bytes=10, limits=Limits(max_bytes=100))
    assert refusal.value.code == "too_large"


def test_a_killed_child_is_a_refusal(quarantine: Path) -> None:
    path = put(quarantine, encoded(scene(7000, 7000), "PNG", compress_level=1))
    stop = threading.Event()
    known = children()

    def kill_newcomers() -> None:
        while not stop.is_set():
            for child in children() - known:
                with contextlib.suppress(ProcessLookupError):
                    os.kill(int(child), 9)

    killer = threading.Thread(target=kill_newcomers)
    killer.start()
    try:
        assert code_of("photo", path, DEFAULT_LIMITS) == "decoder_failed"
    finally:
        stop.set()
        killer.join()
    assert list(quarantine.iterdir()) == [path]


def test_many_threads_at_once(quarantine: Path) -> None:
    paths = [put(quarantine, LOG.replace(b"12.6", f"12.{n}".encode()), f"log{n}") for n in range(8)]
    found: dict[int, float] = {}

    def read(number: int) -> None:
        found[number] = run("voltage_log", paths[number]).facts["samples"][0][1]

    threads = [threading.Thread(target=read, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == {number: float(f"12.{number}") for number in range(8)}


def test_the_child_sees_no_environment_and_no_descriptors(
    quarantine: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A poisoned module path or an open secret of the parent does not reach the decoder."""
    poison = quarantine / "poison"
    poison.mkdir()
    (poison / "csv.py").write_text("raise SystemExit(3)")
    monkeypatch.setenv("PYTHONPATH", str(poison))
    monkeypatch.chdir(poison)
    assert run("voltage_log", put(quarantine, LOG)).facts["samples"] == [[1777995240.0, 12.6]]


def test_refusal_of_the_child_keeps_its_places(quarantine: Path) -> None:
    path = put(quarantine, b"t,volts\n2026-05-05T15:34:00Z,1,5\n")
    with pytest.raises(Refused) as refusal:
        run("voltage_log", path)
    assert (refusal.value.code, refusal.value.extra) == ("csv_columns", {"row": 2})
