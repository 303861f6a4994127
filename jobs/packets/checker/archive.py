"""check.pyz: the rules, the reader of rule texts and a first file, as one archive that needs only Python.

Its bytes depend on the source texts alone, not on when or by which Python it is built.
"""

import importlib.metadata
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Final

import yaml

import rules
from rules.seal.plain_zip import of_bytes, zip_pieces

NAME: Final = "check.pyz"
FIRST_LINE: Final = b"#!/usr/bin/env python3\n"
HERE: Final = Path(__file__).parent
LICENCE: Final = "yaml/LICENSE"


def library() -> dict[str, bytes]:
    """Name in the archive and bytes: rules/, and the pure-Python part of the YAML reader with its licence.

    Raises:
        LookupError: the licence text is not installed with the reader.
    """
    found: dict[str, bytes] = {LICENCE: _licence()}
    for top, module in (("rules", rules), ("yaml", yaml)):
        folder = Path(str(module.__file__)).parent
        for path in folder.rglob("*.py"):
            found[f"{top}/{path.relative_to(folder).as_posix()}"] = path.read_bytes()
    return found


def _licence() -> bytes:
    files = importlib.metadata.distribution("pyyaml").files or []
    for file in files:
        if file.name == "LICENSE":
            return Path(str(file.locate())).read_bytes()
    raise LookupError("the licence of the YAML reader is not installed")


def archive_of(main: Mapping[str, bytes]) -> bytes:
    """An archive that a Python starts: ``main`` with ``__main__.py`` in it, and the library."""
    planned = [of_bytes(name, data) for name, data in {**library(), **main}.items()]
    return b"".join(zip_pieces(planned, first=FIRST_LINE))


@cache
def check_pyz() -> bytes:
    """The stand-alone checker; built once per process."""
    return archive_of(
        {
            "__main__.py": (HERE / "gate.py").read_bytes(),
            "command.py": (HERE / "command.py").read_bytes(),
        }
    )
