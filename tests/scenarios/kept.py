"""A stage played once in a process and brought back for every module that reads it.

Playing a day to its sealed packet takes a minute of processor time; bringing its record, store and clock back
takes none. The day is played through the same services as everywhere: nothing in it is written by hand.
"""

import atexit
import copy
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Generic, TypeVar

from django.db import connection
from django.test import override_settings

from tests.jobs.replayed import every_judgement_is_reached_again
from tests.record_guards import empty_guarded_tables
from tests.scenarios.stage import Stage, open_stage, own_settings

Told = TypeVar("Told")


@dataclass(frozen=True)
class Kept(Generic[Told]):
    """What was played: the record as a database of its own, the folder as it was, what the play told."""

    record: sqlite3.Connection
    folder: Path
    told: Told


@contextmanager
def brought_back(play: Callable[[Stage], Told]) -> Iterator[Told]:
    """What ``play`` told, over the record that it left; the record is emptied afterwards.

    The database must be open and empty. ``play`` is a function of a module, played once in a process.
    """
    kept = _played(play)
    folder = _folder(play)
    shutil.rmtree(folder)
    shutil.copytree(kept.folder, folder)
    with override_settings(**own_settings(folder)):
        connection.ensure_connection()
        kept.record.backup(connection.connection)
        try:
            # A copy, so that what one module counts on its tablets is not seen by the next.
            yield copy.deepcopy(kept.told)
        finally:
            empty_guarded_tables()


@cache
def _folder(play: Callable[[Stage], object]) -> Path:
    """Where the play had its store and clock: what it told still names these paths."""
    folder = Path(tempfile.mkdtemp(prefix=f"witness-mark-{play.__name__}-"))
    for made in (folder, _aside(folder)):
        atexit.register(shutil.rmtree, made, ignore_errors=True)
    return folder


def _aside(folder: Path) -> Path:
    return folder.with_name(folder.name + "-kept")


@cache
def _played(play: Callable[[Stage], Told]) -> Kept[Told]:
    folder = _folder(play)
    with open_stage(folder) as stage:
        told = play(stage)
        every_judgement_is_reached_again()
        record = sqlite3.connect(":memory:", check_same_thread=False)
        with closing(connection.cursor()):
            connection.connection.backup(record)
        shutil.copytree(folder, _aside(folder))
        return Kept(record, _aside(folder), told)
