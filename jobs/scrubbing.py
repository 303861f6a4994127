"""The look over the store: stored files are hashed again, in turn, within a time; nothing is removed."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from django.conf import settings

from jobs import storage

PLACE: Final = "scrub-place"
# A look that is killed repeats at most so many files.
PLACE_EVERY: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Scrubbed:
    """What one look found.

    Attributes:
        looked_at: files hashed, of ``stored`` that lie there; ``bytes`` of them.
        damaged: hashes whose file has other bytes now.
        missing: hashes that a row names and no file has, without those that were deleted on purpose.
        unnamed: files that no row names: left of work that was stopped, or of a row in another database.
        is_whole: the look went over everything in this turn.
    """

    looked_at: int
    stored: int
    bytes: int
    damaged: tuple[str, ...]
    missing: tuple[str, ...]
    unnamed: int
    is_whole: bool

    @property
    def is_sound(self) -> bool:
        return not self.damaged and not self.missing


def scrub(*, named: set[str], out_of_time: Callable[[], bool], start_anew: bool = False) -> Scrubbed:
    """Hashes files from where the last look stopped, until the time is over or all were looked at once.

    Args:
        named: hashes that the record names and that were not deleted there.
        out_of_time: asked before each file.
        start_anew: begin with the first file.
    """
    names = list(storage.walk())
    first = 0 if start_anew else _after(names, _read_place())
    damaged, size, count = [], 0, 0
    turn = (*names[first:], *names[:first])
    for name in turn:
        if out_of_time():
            break
        size += _size(name)
        if not storage.is_intact(name) and storage.exists(name):
            damaged.append(name)
        count += 1
        if count % PLACE_EVERY == 0:
            _write_place(name)
    if count:
        _write_place(turn[count - 1])
    there = set(names)
    return Scrubbed(
        looked_at=count,
        stored=len(names),
        bytes=size,
        damaged=tuple(sorted(damaged)),
        missing=tuple(sorted(name for name in named - there if not storage.exists(name))),
        unnamed=len(there - named),
        is_whole=count == len(names),
    )


def _size(name: str) -> int:
    try:
        return storage.path(name).stat().st_size
    except FileNotFoundError:
        return 0


def _after(names: list[str], place: str) -> int:
    return next((index for index, name in enumerate(names) if name > place), 0)


def _place() -> Path:
    return Path(settings.EVIDENCE_ROOT) / PLACE


def _read_place() -> str:
    try:
        return _place().read_text(encoding="ascii").strip()
    except (FileNotFoundError, UnicodeDecodeError):
        return ""


def _write_place(name: str) -> None:
    _place().write_text(name, encoding="ascii")
