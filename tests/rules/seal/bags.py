"""Bags in memory and on disk, for the checker and for second opinions."""

import hashlib
from collections.abc import Mapping
from pathlib import Path


class BagInMemory:
    """The files of a bag as the checker asks for them."""

    def __init__(self, contents: Mapping[str, bytes]) -> None:
        self.contents = dict(contents)

    def sizes(self) -> dict[str, int]:
        return {path: len(data) for path, data in self.contents.items()}

    def read(self, path: str) -> bytes:
        return self.contents[path]

    def digest(self, path: str, algorithm: str) -> str:
        return hashlib.new(algorithm, self.contents[path]).hexdigest()


def on_disk(contents: Mapping[str, bytes], folder: Path) -> Path:
    """The same bag as files under ``folder``."""
    for path, data in contents.items():
        file = folder / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(data)
    return folder
