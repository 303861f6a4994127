"""Decoding, with answers about pictures seen before taken from a folder where somebody asked for that.

A decoder says the same of the same bytes. A rehearsal that plays the same drawn photos many times asks the
child process once; everything that comes from outside is always decoded.
"""

import base64
import hashlib
import json
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from importlib.metadata import version
from pathlib import Path

from jobs.intake import child
from jobs.intake.decoded import Decoded
from jobs.intake.limits import DEFAULT_LIMITS, Limits
from jobs.intake.picture_copies import PageCopy

_folder: ContextVar[Path | None] = ContextVar("folder_of_remembered_answers", default=None)


@contextmanager
def remembering(folder: Path) -> Iterator[None]:
    """Inside, what the decoder said of a photo is kept in ``folder`` and taken from there the next time."""
    token = _folder.set(folder)
    try:
        yield
    finally:
        _folder.reset(token)


def decode(kind: str, path: Path, *, size_bytes: int, limits: Limits = DEFAULT_LIMITS) -> Decoded:
    """:func:`jobs.intake.child.decode`; refusals are never remembered."""
    folder = _folder.get()
    if folder is None or kind != "photo":
        return child.decode(kind, path, size_bytes=size_bytes, limits=limits)
    name = hashlib.sha256(path.read_bytes() + _decoders().encode()).hexdigest()[:40]
    told, copy = folder / f"answer-{name}.json", folder / f"answer-{name}.jpg"
    if told.is_file() and copy.is_file():
        return _recalled(told, copy, path.parent)
    decoded = child.decode(kind, path, size_bytes=size_bytes, limits=limits)
    if decoded.working_copy is not None:
        _remember(decoded, told, copy)
    return decoded


@cache
def _decoders() -> str:
    """The hash of every program that has a say in the answer."""
    digest = hashlib.sha256(f"{version('pillow')} {version('zxing-cpp')} {version('numpy')}".encode())
    for file in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(file.read_bytes())
    return digest.hexdigest()


def _recalled(told: Path, copy: Path, folder: Path) -> Decoded:
    answer = json.loads(told.read_text(encoding="utf-8"))
    with tempfile.NamedTemporaryFile(prefix="working-", suffix=".jpg", dir=folder, delete=False) as own:
        shutil.copyfile(copy, own.name)
    return Decoded(
        kind=answer["kind"],
        decoder=answer["decoder"],
        media_type=answer["media_type"],
        extension=answer["extension"],
        facts=answer["facts"],
        notes=tuple(answer["notes"]),
        working_copy=Path(own.name),
        copies=tuple(
            PageCopy(**{**copy, "data": base64.b64decode(copy["data"])}) for copy in answer["copies"]
        ),
    )


def _remember(decoded: Decoded, told: Path, copy: Path) -> None:
    assert decoded.working_copy is not None  # noqa: S101 - asked before
    answer = {
        "kind": decoded.kind,
        "decoder": decoded.decoder,
        "media_type": decoded.media_type,
        "extension": decoded.extension,
        "facts": dict(decoded.facts),
        "notes": list(decoded.notes),
        "copies": [
            {
                "use": copy.use,
                "scale": copy.scale,
                "width": copy.width,
                "height": copy.height,
                "data": base64.b64encode(copy.data).decode("ascii"),
            }
            for copy in decoded.copies
        ],
    }
    with tempfile.NamedTemporaryFile(dir=told.parent, delete=False) as waiting:
        shutil.copyfile(decoded.working_copy, waiting.name)
    Path(waiting.name).replace(copy)
    with tempfile.NamedTemporaryFile("w", encoding="utf-8", dir=told.parent, delete=False) as words:
        json.dump(answer, words)
    Path(words.name).replace(told)
