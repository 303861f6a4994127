"""Copies made for one recipient, kept for a while so that an interrupted download can go on; then removed.

They are derived from sealed files and no part of the record: losing one loses nothing but a download.
"""

import os
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final
from uuid import UUID

from django.conf import settings

# How long a copy can be fetched again after it was asked for (project default).
KEPT_FOR: Final = timedelta(hours=24)
# A file without a row is one whose row is about to be written, or was never written; see ``strays``.
ROW_COMES_WITHIN: Final = timedelta(hours=1)
PIECE_BYTES: Final = 1 << 18
FILE_MODE: Final = 0o600


def _folder() -> Path:
    return Path(settings.EVIDENCE_ROOT) / "copies"


def path(copy: UUID) -> Path:
    """Where the bytes of this copy lie, whether they are there or not."""
    return _folder() / copy.hex


def place(copy: UUID) -> Path:
    """Where to write the bytes of a new copy; the folder is there."""
    _folder().mkdir(parents=True, exist_ok=True)
    return path(copy)


def exists(copy: UUID) -> bool:
    return path(copy).is_file()


def put(copy: UUID, data: bytes) -> None:
    """Keeps the bytes of one copy; all or nothing."""
    put_pieces(copy, (data,))


def put_pieces(copy: UUID, pieces: Iterable[bytes]) -> None:
    """Like ``put`` for bytes that need not fit in memory."""
    _folder().mkdir(parents=True, exist_ok=True)
    arriving = path(copy).with_suffix(".arriving")
    handle = os.open(arriving, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, FILE_MODE)
    with os.fdopen(handle, "wb") as file:
        for piece in pieces:
            file.write(piece)
        file.flush()
        os.fsync(file.fileno())
    os.replace(arriving, path(copy))


def pieces(copy: UUID, first: int, length: int) -> Iterator[bytes]:
    """``length`` bytes from byte ``first`` on, in pieces; fewer where the file ends or was removed."""
    with path(copy).open("rb") as file:
        file.seek(first)
        left = length
        while left > 0 and (piece := file.read(min(left, PIECE_BYTES))):
            left -= len(piece)
            yield piece


def remove(copy: UUID) -> None:
    path(copy).unlink(missing_ok=True)


def all_kept() -> Iterator[tuple[UUID, datetime]]:
    """Every copy on disk with the machine's time of its last change; foreign files are passed over."""
    if not _folder().is_dir():
        return
    for file in _folder().iterdir():
        try:
            name = UUID(file.stem)
            changed = datetime.fromtimestamp(file.stat().st_mtime, tz=UTC)
        except (ValueError, FileNotFoundError):
            continue
        yield name, changed
