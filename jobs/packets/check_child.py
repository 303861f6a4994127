"""A stranger's file checked in a limited child process: no network, bounded memory and time, nothing kept."""

import contextlib
import fcntl
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from jobs.errors import Refused, Unavailable
from rules.seal.report import Line, Verification

ROOT: Final = Path(__file__).resolve().parents[2]
# -I: no environment, no user site, no current folder on the path; the repository is put there by hand.
BOOT: Final = (
    "import sys; sys.path.insert(0, sys.argv[1]);"
    "from jobs.intake import confine; confine.begin();"
    "from jobs.packets.check_runner import main; main()"
)
# Project limits. A file that needs more is for check.pyz on one's own machine.
MOST_MEMORY_BYTES: Final = 2 << 30
MOST_CPU_S: Final = 60
LONGEST_S: Final = 90
MOST_ANSWER_BYTES: Final = 4 << 20
AT_ONCE: Final = 2


def check_in_child(file: Path, *, key: str = "") -> Verification:
    """Checks one file.

    Args:
        file: is opened here and handed to the child as its standard input; the child gets no name.
        key: fingerprint that the signing key should have; empty: none is compared.

    Raises:
        Refused: ``not_a_packet`` (no packet or bundle), ``check_stopped`` (it took too much time or memory).
        Unavailable: ``checks_busy``: as many checks run as may at once.
    """
    # Opened for the child alone: it moves the place in the file, and who shared it would lose theirs.
    with _slot(), file.open("rb", buffering=0) as stream:
        answer = _run(stream.fileno(), key)
    if answer["state"] == "unreadable":
        raise Refused("not_a_packet", f"This is no packet and no bundle: {answer['message']}.")
    return _found(answer["found"])


def _run(descriptor: int, key: str) -> dict[str, Any]:
    order = {
        "key": key,
        "memory_bytes": MOST_MEMORY_BYTES,
        "cpu_s": MOST_CPU_S,
        "working_copy_bytes": MOST_ANSWER_BYTES,
        "open_files": 64,
    }
    try:
        done = subprocess.run(  # noqa: S603 - our own interpreter and fixed words
            [sys.executable, "-I", "-c", BOOT, str(ROOT), json.dumps(order)],
            stdin=descriptor,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=LONGEST_S,
            check=False,
            cwd="/",
            env={"LANG": "C.UTF-8"},
        )
    except subprocess.TimeoutExpired as error:
        raise _stopped() from error
    if done.returncode != 0 or not 0 < len(done.stdout) <= MOST_ANSWER_BYTES:
        raise _stopped()
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


def _stopped() -> Refused:
    return Refused(
        "check_stopped",
        "Checking this file took too much time or memory and was stopped. Use check.pyz on your own machine.",
    )


def _found(plain: dict[str, Any]) -> Verification:
    lines = tuple(Line(**{**line, "at_fault": tuple(line["at_fault"])}) for line in plain["lines"])
    return Verification(
        form=plain["form"],
        serial=plain["serial"],
        root=plain["root"],
        pdf_sha256=plain["pdf_sha256"],
        lines=lines,
        key_sha256=plain["key_sha256"],
        is_demo=plain["is_demo"],
    )


@contextlib.contextmanager
def _slot() -> Iterator[None]:
    """One of the places for a check on this machine, held by a lock that ends with the process."""
    folder = Path(tempfile.gettempdir()) / f"packet-checks-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    for number in range(AT_ONCE):
        with (folder / f"slot-{number}").open("w") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                continue
            yield
            return
    raise Unavailable("checks_busy", "Other files are being checked just now. Try again in a minute.")
