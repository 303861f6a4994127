"""Page copies of the pictures of a record: kept once per organisation and picture, made when first needed."""

import shutil
import tempfile
from collections.abc import Iterable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Final

from jobs import storage
from jobs.errors import Refused
from jobs.intake import remembered
from jobs.intake.picture_copies import PageCopy
from jobs.models import Organisation, PictureCopy

PICTURE_TYPES: Final = ("image/jpeg", "image/png")
# use -> SHA-256 of the copy
Copies = Mapping[str, str]


def keep_copies(
    *, organisation: Organisation, of_sha256: str, copies: Iterable[PageCopy], as_of: datetime
) -> None:
    """Puts the copies into the store and notes them; what is there already stays. The scope is open."""
    rows = [
        PictureCopy(
            organisation=organisation,
            of_sha256=of_sha256,
            use=copy.use,
            scale=copy.scale,
            sha256=storage.put(copy.data),
            size_bytes=len(copy.data),
            width=copy.width,
            height=copy.height,
            made_at=as_of,
        )
        for copy in copies
    ]
    # Two workers may make the same copy at once: the bytes are the same, and one row is enough.
    PictureCopy.objects.bulk_create(rows, ignore_conflicts=True)


def copies_of(
    *, organisation: Organisation, pictures: Mapping[str, int], as_of: datetime
) -> dict[str, Copies]:
    """The copies of each picture, by the picture's SHA-256; missing ones are made now. The scope is open.

    Args:
        pictures: size in bytes by SHA-256, of JPEG and PNG originals in the store.

    Returns:
        For each picture use -> SHA-256; nothing for one that cannot be drawn or is not there.
    """
    found = _kept(pictures)
    for sha256, size_bytes in pictures.items():
        if sha256 not in found and storage.exists(sha256):
            made = _made(sha256, size_bytes)
            keep_copies(organisation=organisation, of_sha256=sha256, copies=made, as_of=as_of)
    return _kept(pictures) if len(found) < len(pictures) else found


def _kept(pictures: Iterable[str]) -> dict[str, Copies]:
    found: dict[str, dict[str, str]] = {}
    for row in PictureCopy.objects.filter(of_sha256__in=list(pictures)):
        if storage.exists(row.sha256):
            found.setdefault(row.of_sha256, {})[row.use] = row.sha256
    return {sha256: copies for sha256, copies in found.items() if len(copies) == len(PictureCopy.USES)}


def _made(sha256: str, size_bytes: int) -> tuple[PageCopy, ...]:
    """Decoded in the limited child, from a file of its own: the store is not a place to work in."""
    with tempfile.TemporaryDirectory(prefix="copies-") as folder:
        path = Path(folder) / "file"
        shutil.copyfile(storage.path(sha256), path)
        try:
            return remembered.decode("photo", path, size_bytes=size_bytes).copies
        except Refused:
            return ()
