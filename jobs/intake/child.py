"""The limited child process around every decoder: a crash, a hang or a flood of output becomes a refusal."""

import contextlib
import json
import os
import select
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from jobs.errors import Refused
from jobs.intake.decoded import Decoded
from jobs.intake.kinds import KINDS, choose
from jobs.intake.limits import (
    DEFAULT_LIMITS,
    OTHER_MEMORY_BYTES,
    PAINTED_BYTES,
    PICTURE_MEMORY_BYTES,
    Limits,
)
from jobs.intake.picture_copies import PAGE_COPIES, PageCopy, taken_apart
from jobs.intake.signature import SNIFF_BYTES

_ROOT: Final = Path(__file__).resolve().parents[2]
# -I: no environment, no user site, no current folder on the path; the repository is put there by hand.
_BOOT: Final = (
    "import sys; sys.path.insert(0, sys.argv[1]);"
    "from jobs.intake import confine; confine.begin();"
    "from jobs.intake.runner import main; main()"
)
_READ_BYTES: Final = 65536


def decode(kind: str, path: Path, *, size_bytes: int, limits: Limits = DEFAULT_LIMITS) -> Decoded:
    """Decodes one file that lies in quarantine; the file's name and claimed type play no part.

    Args:
        kind: evidence kind (photo, document, scan_summary, voltage_log, drive_log, climate_log, ...).
        path: the file. A photo's working copy is made in the same folder.
        size_bytes: size as counted while receiving.
        limits: what the decoding may cost.

    Returns:
        The facts; see :mod:`jobs.intake.decoded` for their form.

    Raises:
        Refused: with one of :data:`jobs.intake.codes.ALL`. Nothing is left behind then.
    """
    with path.open("rb") as source:
        file_type, decoder = choose(kind, source.read(SNIFF_BYTES))
        allowed = limits.max_bytes or KINDS[kind].max_bytes
        if size_bytes > allowed:
            raise Refused(
                "too_large",
                f"The file has {size_bytes} bytes; at most {allowed} are taken.",
                max_bytes=allowed,
            )
        # The copied head is not handed on: the child reads the file from its start by its own descriptor.
        os.lseek(source.fileno(), 0, os.SEEK_SET)
        memory = PICTURE_MEMORY_BYTES if decoder == "photo" else OTHER_MEMORY_BYTES
        settled = replace(limits, memory_bytes=limits.memory_bytes or memory, max_bytes=allowed)
        with _working_copy(path.parent, needed=decoder == "photo") as copy:
            answer = _accepted(_run(decoder, source.fileno(), copy, settled))
            places = answer["facts"].pop(PAGE_COPIES, [])
            copies = taken_apart(copy, places) if copy is not None else ()
    return Decoded(
        kind=kind,
        decoder=str(answer["decoder"]),
        media_type=file_type.media_type,
        extension=file_type.extension,
        facts=answer["facts"],
        notes=tuple(answer["notes"]),
        working_copy=copy,
        copies=copies,
    )


def paint(data: bytes, regions: Sequence[Sequence[float]]) -> tuple[bytes, tuple[PageCopy, ...]]:
    """A picture with regions painted over, and its page copies; see :mod:`jobs.intake.painting`.

    Raises:
        Refused: ``image_unreadable``, or one of those of a child that fails.
    """
    with tempfile.TemporaryDirectory(prefix="painting-") as folder:
        order = Path(folder) / "order"
        order.write_bytes(json.dumps([list(region) for region in regions]).encode() + b"\n" + data)
        limits = replace(
            DEFAULT_LIMITS,
            memory_bytes=PICTURE_MEMORY_BYTES,
            max_bytes=order.stat().st_size,
            working_copy_bytes=PAINTED_BYTES,
        )
        with order.open("rb") as source, _working_copy(Path(folder), needed=True) as target:
            assert target is not None  # noqa: S101 - for the type checker
            answer = _accepted(_run("painting", source.fileno(), target, limits))
            copies = taken_apart(target, answer["facts"][PAGE_COPIES])
            return target.read_bytes(), copies


@contextlib.contextmanager
def _working_copy(folder: Path, *, needed: bool) -> Iterator[Path | None]:
    """An empty private file for the derived picture; removed again unless the block ends well."""
    if not needed:
        yield None
        return
    descriptor, name = tempfile.mkstemp(prefix="working-", suffix=".jpg", dir=folder)
    os.close(descriptor)
    try:
        yield Path(name)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _run(decoder: str, source_descriptor: int, copy: Path | None, limits: Limits) -> bytes:
    """Starts the child, collects its answer and leaves no process behind."""
    with contextlib.ExitStack() as stack:
        written = stack.enter_context(copy.open("wb")) if copy is not None else None
        handed_on = (written.fileno(),) if written is not None else ()
        order = {
            "decoder": decoder,
            "copy_descriptor": handed_on[0] if handed_on else None,
            "cpu_s": limits.cpu_s,
            "memory_bytes": limits.memory_bytes,
            "max_bytes": limits.max_bytes,
            "working_copy_bytes": limits.working_copy_bytes,
            "open_files": limits.open_files,
        }
        process = subprocess.Popen(  # noqa: S603 - fixed program, no shell, arguments made here
            [sys.executable, "-I", "-B", "-c", _BOOT, str(_ROOT), json.dumps(order)],
            stdin=source_descriptor,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            pass_fds=handed_on,
            close_fds=True,
            start_new_session=True,
            cwd="/",
            env={"OPENBLAS_NUM_THREADS": "1", "LC_ALL": "C.UTF-8"},
        )
        try:
            return _collect(process, limits)
        finally:
            _end(process)


def _collect(process: "subprocess.Popen[bytes]", limits: Limits) -> bytes:
    assert process.stdout is not None  # noqa: S101 - for the type checker: stdout is a pipe
    descriptor = process.stdout.fileno()
    deadline = time.monotonic() + limits.wall_s
    pieces: list[bytes] = []
    collected = 0
    while True:
        ready, _, _ = select.select([descriptor], [], [], max(0.0, deadline - time.monotonic()))
        if not ready:
            raise Refused("decoder_timeout", "Reading the file took too long.", seconds=limits.wall_s)
        piece = os.read(descriptor, _READ_BYTES)
        if not piece:
            return b"".join(pieces)
        collected += len(piece)
        if collected > limits.answer_bytes:
            raise Refused("decoder_failed", "The file gives more data than can be taken.")
        pieces.append(piece)


def _end(process: "subprocess.Popen[bytes]") -> None:
    """Kills the child's whole session: after its answer it has nothing left to do."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    if process.stdout is not None:
        process.stdout.close()


def _accepted(answer: bytes) -> dict[str, Any]:
    """The child's answer; one that is cut off or no JSON means that the child died."""
    try:
        value = json.loads(answer)
        if value["state"] == "refused":
            raise Refused(str(value["code"]), str(value["message"]), **dict(value["extra"]))
        return {"decoder": value["decoder"], "facts": dict(value["facts"]), "notes": list(value["notes"])}
    except (ValueError, KeyError, TypeError):
        raise Refused("decoder_failed", "The file could not be read; it may be damaged.") from None
