"""Content-addressed files: bytes go in once, are named by their SHA-256, and are never changed or moved."""

import hashlib
import os
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import BinaryIO, Final

from django.conf import settings

from jobs.errors import DomainError

PIECE_BYTES: Final = 1 << 20
FILE_MODE: Final = 0o600


class StoredBytesMissingError(DomainError):
    """No file is stored under that hash."""

    default_code = "stored_bytes_missing"


class StoredBytesChangedError(DomainError):
    """The file under that hash no longer has that hash."""

    default_code = "stored_bytes_changed"


def _name(sha256: str) -> str:
    if not _is_name(sha256):
        raise ValueError("a stored file is named by 64 lower-case hex digits")
    return sha256


def path(sha256: str) -> Path:
    """Where the bytes with this hash lie, whether they are there or not."""
    name = _name(sha256)
    return Path(settings.EVIDENCE_ROOT) / name[:2] / name[2:4] / name


def exists(sha256: str) -> bool:
    return path(sha256).is_file()


def put(data: bytes) -> str:
    """Keeps ``data`` on disk, safe against power loss when it returns; the same bytes twice are kept once.

    Returns:
        The SHA-256 as 64 lower-case hex digits.
    """
    return put_pieces([data])


def put_pieces(pieces: Iterable[bytes]) -> str:
    """Like ``put`` for bytes that arrive in pieces and need not fit in memory."""
    root = Path(settings.EVIDENCE_ROOT)
    waiting = root / "arriving"
    waiting.mkdir(parents=True, exist_ok=True)
    digest = hashlib.sha256()
    handle, name = tempfile.mkstemp(dir=waiting)
    try:
        with os.fdopen(handle, "wb") as file:
            for piece in pieces:
                digest.update(piece)
                file.write(piece)
            file.flush()
            os.fchmod(file.fileno(), FILE_MODE)
            os.fsync(file.fileno())
        sha256 = digest.hexdigest()
        _keep(Path(name), path(sha256))
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return sha256


def _keep(arrived: Path, final: Path) -> None:
    if _is_there(final):
        arrived.unlink()
        return
    final.parent.mkdir(parents=True, exist_ok=True)
    # Renaming inside one file system is all or nothing: two writers of the same bytes do no harm.
    os.replace(arrived, final)
    for folder in (final.parent, final.parent.parent, final.parent.parent.parent):
        _sync_folder(folder)


def _is_there(final: Path) -> bool:
    """Whether these very bytes are kept already; then they count as kept anew from now on."""
    try:
        if not final.is_file() or _hash_of(final) != final.name:
            return False
        os.utime(final)
    except FileNotFoundError:
        # It was deleted at this very moment.
        return False
    return True


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _hash_of(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@contextmanager
def open_bytes(sha256: str) -> Iterator[BinaryIO]:
    """The stored bytes as a stream.

    Raises:
        StoredBytesMissingError: nothing is kept under that hash.
    """
    file = path(sha256)
    if not file.is_file():
        raise StoredBytesMissingError(message=f"No file is stored under {sha256}.")
    with file.open("rb") as stream:
        yield stream


def pieces(sha256: str) -> Iterator[bytes]:
    """The stored bytes in pieces of at most 1 MiB, for streaming."""
    with open_bytes(sha256) as stream:
        while piece := stream.read(PIECE_BYTES):
            yield piece


def read(sha256: str) -> bytes:
    """The stored bytes, checked against their name.

    Raises:
        StoredBytesMissingError: nothing is kept under that hash.
        StoredBytesChangedError: what is kept has another hash.
    """
    with open_bytes(sha256) as stream:
        data = stream.read()
    if hashlib.sha256(data).hexdigest() != sha256:
        raise StoredBytesChangedError(message=f"The file stored under {sha256} was changed.")
    return data


def is_intact(sha256: str) -> bool:
    """True where the bytes are there and still have their hash."""
    return exists(sha256) and _hash_of(path(sha256)) == sha256


def walk() -> Iterator[str]:
    """The SHA-256 in the name of every stored file, in order; what is still arriving is left out."""
    root = Path(settings.EVIDENCE_ROOT)
    for first in sorted(root.glob("[0-9a-f][0-9a-f]")):
        for second in sorted(first.glob("[0-9a-f][0-9a-f]")):
            yield from sorted(file.name for file in second.iterdir() if _is_name(file.name))


def _is_name(name: str) -> bool:
    return len(name) == 64 and set(name) <= set("0123456789abcdef")


def remove(sha256: str, *, unused_since: datetime) -> str:
    """Deletes the bytes under that hash for good, unless somebody brought the same bytes again just now.

    Whether a row still names them is the caller's to know: nothing but retention and erasure calls this. A
    file that was kept anew later than ``unused_since`` stays: the row that will name it may not be there yet.
    Moved away first and looked at then, so that bytes that arrive in between are kept as a new file.

    Returns:
        ``removed``; ``absent`` where they were not there; ``in_use`` where they stay.
    """
    file = path(sha256)
    leaving = Path(settings.EVIDENCE_ROOT) / "leaving" / file.name
    leaving.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    there = True
    try:
        os.replace(file, leaving)
    except FileNotFoundError:
        # Perhaps moved away by a process that was stopped before it could go on.
        there = leaving.exists()
    if not there:
        return "absent"
    if leaving.stat().st_mtime > unused_since.timestamp():
        os.replace(leaving, file)
        return "in_use"
    leaving.unlink()
    for folder in (file.parent, leaving.parent):
        if folder.is_dir():
            _sync_folder(folder)
    return "removed"
