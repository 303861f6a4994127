"""The homes of the judgement as files: a folder, and one archive whose bytes depend on its contents alone."""

import shutil
import zipfile
from pathlib import Path

import yaml

ROOT = Path(__file__).resolve().parents[2]
MAIN = Path(__file__).with_name("judge_cases.py")
FIRST_LINE = b"#!/usr/bin/env python3\n"
# The earliest time a zip archive can tell; the clock of whoever builds has no place in it.
FIXED_DATE = (1980, 1, 1, 0, 0, 0)
REGULAR_FILE = 0o100644 << 16


def contents() -> dict[str, bytes]:
    """Name in the home → bytes: rules/, the pure-Python part of the YAML reader, and the main file."""
    found = {"__main__.py": MAIN.read_bytes()}
    for top, folder in (("rules", ROOT / "rules"), ("yaml", Path(yaml.__file__).parent)):
        for path in folder.rglob("*.py"):
            found[f"{top}/{path.relative_to(folder).as_posix()}"] = path.read_bytes()
    return dict(sorted(found.items()))


def folder_home(target: Path) -> Path:
    shutil.rmtree(target, ignore_errors=True)
    for name, data in contents().items():
        path = target / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return target


def zipped_home(target: Path) -> Path:
    """Sorted names, one date, stored: how small deflate makes a file differs between builds of zlib."""
    with target.open("wb") as out:
        out.write(FIRST_LINE)
        with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
            for name, data in contents().items():
                entry = zipfile.ZipInfo(name, FIXED_DATE)
                entry.create_system, entry.external_attr = 3, REGULAR_FILE
                archive.writestr(entry, data)
    return target
