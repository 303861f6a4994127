"""The homes of the judgement as files: a folder, and one archive as the stand-alone checker's is made."""

import shutil
from pathlib import Path

from jobs.packets.checker.archive import archive_of, library

ROOT = Path(__file__).resolve().parents[2]
MAIN = Path(__file__).with_name("judge_cases.py")


def contents() -> dict[str, bytes]:
    """Name in the home → bytes: rules/, the pure-Python part of the YAML reader, and the main file."""
    return {"__main__.py": MAIN.read_bytes(), **library()}


def folder_home(target: Path) -> Path:
    shutil.rmtree(target, ignore_errors=True)
    for name, data in contents().items():
        path = target / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return target


def zipped_home(target: Path) -> Path:
    target.write_bytes(archive_of({"__main__.py": MAIN.read_bytes()}))
    return target
