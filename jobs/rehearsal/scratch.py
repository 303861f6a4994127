"""A database and a file store of their own for one rehearsal; what is configured is never touched.

Making the tables takes seconds, so a migrated and a loaded SQLite file are kept in the user's cache folder
under the hash of everything that they were made from.
"""

import copy
import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import django
from django.conf import settings
from django.core.management import call_command
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.utils import ConnectionHandler
from django.test.utils import override_settings

from jobs.demo.world import load_rows
from jobs.rehearsal import postgres

# Long before anything that a scenario tells (project default).
WORLD_MADE_AT: Final = datetime(2024, 1, 1, tzinfo=UTC)
_QUICK_HASHER: Final = ["django.contrib.auth.hashers.MD5PasswordHasher"]
_ROOT: Final = Path(__file__).resolve().parents[2]
# Nothing of a rehearsal has to survive a power cut.
_PRAGMAS: Final = "PRAGMA journal_mode=MEMORY; PRAGMA synchronous=OFF; PRAGMA foreign_keys=ON;"


@dataclass(frozen=True, slots=True, kw_only=True)
class Scratch:
    """The folder of one rehearsal: database and stored files lie in it."""

    folder: Path
    database: str


def cache_folder() -> Path:
    """Where files are kept that only save time; they may be deleted at any moment."""
    base = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    folder = Path(base) / "witness-mark"
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError:
        folder = Path(tempfile.gettempdir()) / f"witness-mark-{os.getuid()}"
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return folder


def digest_of(*names: str, more: bytes = b"") -> str:
    """One hash over files of the program, named from its root; folders count with all their Python files."""
    digest = hashlib.sha256(f"{django.VERSION}".encode() + more)
    for name in names:
        path = _ROOT / name
        found = sorted(path.rglob("*.py")) if path.is_dir() else [path]
        for file in found:
            digest.update(str(file.relative_to(_ROOT)).encode() + b"\0" + file.read_bytes())
    return digest.hexdigest()[:24]


@contextmanager
def scratch(
    rows: Mapping[str, Any],
    *,
    changed: bool,
    pack_bytes: Callable[[str], bytes],
    server: str = "",
    keep: bool = False,
) -> Iterator[Scratch]:
    """Inside, the default database and the file store are new ones, holding the world of ``rows``.

    Args:
        rows: the invented world.
        changed: whether a scenario has changed it; the unchanged one is kept ready.
        server: address of a PostgreSQL server for the scratch database; empty: a SQLite file.
        keep: leave the folder (or database) where it is.
    """
    folder = Path(tempfile.mkdtemp(prefix="rehearsal-"))
    with ExitStack() as stack:
        if not keep:
            stack.callback(shutil.rmtree, folder, ignore_errors=True)
        own = {"EVIDENCE_ROOT": folder / "stored", "WM_DEMO_CLOCK_FILE": ""}
        stack.enter_context(override_settings(PASSWORD_HASHERS=_QUICK_HASHER, **own))
        load = _Load(rows=rows, changed=changed, pack_bytes=pack_bytes)
        if server:
            name = stack.enter_context(_on_server(server, load, keep=keep))
        else:
            name = str(folder / "record.sqlite3")
            shutil.copyfile(_loaded(load, folder), name)
            stack.enter_context(connected(_sqlite(Path(name))))
        yield Scratch(folder=folder, database=name)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Load:
    rows: Mapping[str, Any]
    changed: bool
    pack_bytes: Callable[[str], bytes]

    def into_the_open_database(self) -> None:
        load_rows(copy.deepcopy(dict(self.rows)), as_of=WORLD_MADE_AT, pack_bytes=self.pack_bytes)


@contextmanager
def connected(database: Mapping[str, Any]) -> Iterator[None]:
    """Inside, the default connection is one to ``database``, in this thread and in threads begun inside."""
    fresh = ConnectionHandler({DEFAULT_DB_ALIAS: dict(database)}).settings[DEFAULT_DB_ALIAS]
    kept_settings, kept = connections.settings[DEFAULT_DB_ALIAS], connections[DEFAULT_DB_ALIAS]
    connections.settings[DEFAULT_DB_ALIAS] = fresh
    connections[DEFAULT_DB_ALIAS] = connections.create_connection(DEFAULT_DB_ALIAS)
    try:
        yield
    finally:
        connections[DEFAULT_DB_ALIAS].close()
        connections.settings[DEFAULT_DB_ALIAS] = kept_settings
        connections[DEFAULT_DB_ALIAS] = kept


def _sqlite(path: Path) -> dict[str, Any]:
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": path,
        "OPTIONS": {"transaction_mode": "IMMEDIATE", "timeout": 20, "init_command": _PRAGMAS},
    }


def _kept(name: str, folder: Path, make: Callable[[Path], None]) -> Path:
    """A file of the cache; made beside it and moved there in one step where it is not there yet."""
    there = cache_folder() / name
    if not there.is_file():
        fresh = folder / name
        make(fresh)
        waiting = there.with_suffix(f".{os.getpid()}.new")
        shutil.copyfile(fresh, waiting)
        waiting.replace(there)
    return there


def _migrated(folder: Path) -> Path:
    def make(path: Path) -> None:
        with connected(_sqlite(path)):
            call_command("migrate", verbosity=0, interactive=False)

    return _kept(f"tables-{digest_of('jobs/migrations')}.sqlite3", folder, make)


def _loaded(load: _Load, folder: Path) -> Path:
    def make(path: Path) -> None:
        shutil.copyfile(_migrated(folder), path)
        with connected(_sqlite(path)):
            load.into_the_open_database()

    if load.changed:
        path = folder / "world.sqlite3"
        make(path)
        return path
    packs = sorted(str(path.relative_to(_ROOT)) for path in (_ROOT / "fixtures" / "packs").glob("*.yaml"))
    made_from = ("jobs/migrations", "jobs/demo/world.py", "jobs/services/pack_desk.py", "rules/packs")
    return _kept(f"world-{digest_of(*made_from, 'fixtures/world.yaml', *packs)}.sqlite3", folder, make)


@contextmanager
def _on_server(server: str, load: _Load, *, keep: bool) -> Iterator[str]:
    with postgres.database(server, keep=keep) as database, connected(database):
        call_command("migrate", verbosity=0, interactive=False)
        load.into_the_open_database()
        yield str(database["NAME"])


def fixtures() -> Path:
    """The folder of the invented world."""
    return Path(settings.BASE_DIR) / "fixtures"
