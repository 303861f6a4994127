"""The safe way to a PDF: a prepared folder and a bounded child process without settings or network."""

import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from jobs.errors import DomainError
from jobs.packets.manifest import PlannedFile

# A rendering takes one to a few seconds; longer than this it is stopped (project default).
LONGEST_S: Final = 170
HOUSE: Final = Path(__file__).resolve().parents[2]
CODES: Final = {
    3: "packet_asked_outside",
    4: "packet_too_long",
    5: "packet_render_stopped",
    6: "packet_too_large",
    7: "packet_picture_missing",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What one rendering may cost (project defaults): address space, processor seconds, largest file."""

    memory_bytes: int = 3 << 30
    cpu_s: int = 150
    file_bytes: int = 4 << 30


class RenderError(DomainError):
    """The packet's pages could not be made; ``code`` says which kind of failure it was."""

    default_code = "packet_not_rendered"
    default_message = "The packet's pages could not be made."


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """One rendering.

    Attributes:
        page: the HTML, referring to fonts, styles, charts and pictures by ``packet:`` addresses only.
        dated: the date in the file's headers.
        identifier: 32 hex digits that go into the file as its permanent identifier.
        charts: chart data by name; pictures: file paths by name.
        files: attachments whose bytes are given; stored: paths of attachments that lie in storage.
        variant: ``pdf/a-3a`` for packets, None for a stamp that is only painted over pages.
        longest_s: seconds after which the child is stopped.
        limits: what the child may cost.
    """

    page: str
    dated: datetime
    identifier: str
    charts: Mapping[str, Any] = field(default_factory=dict)
    pictures: Mapping[str, Path] = field(default_factory=dict)
    files: tuple[PlannedFile, ...] = ()
    stored: Mapping[str, Path] = field(default_factory=dict)
    variant: str | None = "pdf/a-3a"
    longest_s: float = LONGEST_S
    limits: Limits = Limits()


def render_pdf(order: Order) -> bytes:
    """The finished PDF.

    Raises:
        RenderError: ``packet_asked_outside`` when a page refers to anything that is not the packet's own,
            ``packet_too_long`` (pages), ``packet_too_large`` (bytes), ``packet_picture_missing``,
            ``packet_render_stopped`` (time or memory), ``packet_not_rendered``.
    """
    with tempfile.TemporaryDirectory(prefix="packet-") as name:
        folder = Path(name)
        prepare(folder, order)
        _run(folder, order.longest_s)
        return (folder / "packet.pdf").read_bytes()


def prepare(folder: Path, order: Order) -> None:
    """Writes what the child needs: page.html, order.json, attachments that are given as bytes."""
    attachments = []
    for place, file in enumerate(order.files):
        path = order.stored.get(file.name)
        if path is None:
            if file.data is None:
                raise RenderError(message=f"The bytes of {file.name} are not there.")
            path = folder / f"attachment-{place:04d}"
            path.write_bytes(file.data)
        attachments.append(
            {
                "name": file.name,
                "media_type": file.media_type,
                "description": file.description,
                "path": str(path),
            }
        )
    options: dict[str, Any] = {"pdf_identifier": order.identifier, "custom_metadata": False}
    if order.variant:
        options["pdf_variant"] = order.variant
    plain = {
        "dated": order.dated.isoformat(),
        "options": options,
        "charts": dict(order.charts),
        "pictures": {key: str(path) for key, path in order.pictures.items()},
        "attachments": attachments,
        "limits": asdict(order.limits),
    }
    (folder / "order.json").write_text(json.dumps(plain), encoding="utf-8")
    (folder / "page.html").write_text(order.page, encoding="utf-8")


def _environment(folder: Path) -> dict[str, str]:
    """What the child may know: where programs and caches are, and nothing of ours."""
    cache = Path(tempfile.gettempdir()) / f"packet-cache-{os.getuid()}"
    cache.mkdir(mode=0o700, exist_ok=True)
    return {
        "PATH": os.environ.get("PATH", os.defpath),
        "LANG": "C.UTF-8",
        "HOME": str(folder),
        "TMPDIR": str(folder),
        "XDG_CACHE_HOME": str(cache),
        "MPLCONFIGDIR": str(cache),
        "MPLBACKEND": "svg",
        # One thread: the numbers library would otherwise reserve memory for each core.
        "OPENBLAS_NUM_THREADS": "1",
        "PYTHONDONTWRITEBYTECODE": "1",
    }


def _run(folder: Path, longest_s: float) -> None:
    child = subprocess.Popen(  # noqa: S603 - fixed words, our own interpreter and module
        [sys.executable, "-m", "jobs.packets.child", str(folder)],
        cwd=HOUSE,
        env=_environment(folder),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )
    try:
        _, said = child.communicate(timeout=longest_s)
    except subprocess.TimeoutExpired as error:
        os.killpg(child.pid, signal.SIGKILL)
        child.communicate()
        raise RenderError("packet_render_stopped", f"Rendering took longer than {longest_s:g} s.") from error
    if child.returncode == 0:
        return
    last = said.decode("utf-8", "replace").strip().splitlines()[-1:] or ["no message"]
    if child.returncode < 0:
        raise RenderError("packet_render_stopped", f"Rendering was stopped by signal {-child.returncode}.")
    raise RenderError(CODES.get(child.returncode, "packet_not_rendered"), last[0][:300])
