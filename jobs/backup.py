"""A backup in one folder and its proof: dumped, copied, restored elsewhere, checked there by the program.

The database goes first, then the files: files are only added, so every row of the dump has its file, but for
what retention deletes in between, which the check then names. Signing keys are no part of it: they are kept
apart, like the passwords of the servers.
"""

import contextlib
import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote, urlencode

import psycopg
from django.conf import settings
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from psycopg import sql

from jobs import storage
from jobs.errors import Refused
from jobs.ledger.entry import instant_text
from jobs.models import LedgerHead, unscoped
from jobs.services.whole_check import counts_of_record

FORMAT: Final = "backup 1"
MANIFEST: Final = "backup.json"
DUMPS: Final = {"postgresql": "record.dump", "sqlite": "record.sqlite3"}
FILES: Final = "stored"
LONGEST_S: Final = 6 * 3600
# Connection options that every connection to the server needs, and libpq's names of them in the environment.
PASSED_ON: Final = {
    "sslmode": "PGSSLMODE",
    "sslrootcert": "PGSSLROOTCERT",
    "sslcert": "PGSSLCERT",
    "sslkey": "PGSSLKEY",
    "connect_timeout": "PGCONNECT_TIMEOUT",
}
NEEDED: Final = {"at": str, "engine": str, "database": dict, "heads": dict, "counts": dict, "files": list}


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored:
    """What the program said of the restored copy; ``faults`` empty: it is the record that was backed up."""

    counts: dict[str, int]
    faults: tuple[str, ...]


def back_up(folder: Path, *, as_of: datetime) -> dict[str, Any]:
    """Dump, files and manifest into an empty or new folder; returns the manifest.

    Raises:
        Refused: ``folder_not_empty``.
        subprocess.CalledProcessError: the database's own program failed.
        OSError: no room, or the folder cannot be written.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    if any(folder.iterdir()):
        raise Refused("folder_not_empty", f"{folder} is not empty: a backup never overwrites another.")
    # The whole record lies here, under whatever mode the folder had before.
    folder.chmod(0o700)
    # Both before the dump: what it holds is this or more.
    heads, counts = _heads(), counts_of_record()
    dump = folder / DUMPS[connection.vendor]
    _dump(dump)
    files = _copy_files(folder / FILES)
    manifest = {
        "format": FORMAT,
        "at": instant_text(as_of),
        "engine": connection.vendor,
        "migrations": _migrations(),
        "database": {"name": dump.name, "bytes": dump.stat().st_size, "sha256": _hash_of(dump)},
        "heads": heads,
        "counts": counts,
        "files": files,
    }
    # A backup counts as made only once the manifest is there, and by then the rest lies on the disk.
    _to_disk(dump)
    with (folder / MANIFEST).open("w", encoding="utf-8") as stream:
        stream.write(json.dumps(manifest, indent=1, sort_keys=True))
        stream.flush()
        os.fsync(stream.fileno())
    return manifest


def _migrations() -> list[str]:
    """The steps that the record's tables have been through."""
    return sorted(name for app, name in MigrationRecorder(connection).applied_migrations() if app == "jobs")


def _heads() -> dict[str, dict[str, Any]]:
    with unscoped():
        return {str(row.pk): {"n": row.n, "hash": row.hash} for row in LedgerHead.objects.order_by("pk")}


def _dump(target: Path) -> None:
    if connection.vendor == "postgresql":
        arguments, environment = _postgresql(settings.DATABASES["default"])
        how = ["--format=custom", "--no-owner", "--no-privileges", f"--file={target}"]
        _run([_program("pg_dump"), *how, *arguments], environment)
        return
    # SQLite's own online copy: whole pages of one state, whoever writes meanwhile.
    source = sqlite3.connect(f"file:{quote(str(settings.DATABASES['default']['NAME']))}?mode=ro", uri=True)
    copy = sqlite3.connect(target)
    with contextlib.closing(source), contextlib.closing(copy):
        source.backup(copy)


def _copy_files(target: Path) -> list[dict[str, Any]]:
    """Every stored file, each hashed while it is copied; one whose bytes changed is copied and named so."""
    files = []
    target.mkdir(mode=0o700)
    for name in storage.walk():
        place = target / name[:2] / name[2:4] / name
        place.parent.mkdir(parents=True, exist_ok=True)
        try:
            shutil.copyfile(storage.path(name), place)
        except FileNotFoundError:
            # Deleted by retention at this moment.
            continue
        _to_disk(place)
        files.append({"name": name, "bytes": place.stat().st_size, "sha256": _hash_of(place)})
    return files


def _to_disk(file: Path) -> None:
    with file.open("rb") as stream:
        os.fsync(stream.fileno())


def _hash_of(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


# ------------------------------------------------------------------ the backup itself


def read_manifest(folder: Path) -> dict[str, Any]:
    """The manifest of a backup. Raises ``Refused`` ``not_a_backup``."""
    try:
        manifest: dict[str, Any] = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        is_ours = manifest["format"] == FORMAT
        is_whole = all(isinstance(manifest[name], kind) for name, kind in NEEDED.items())
        # No other file than the dump is ever handed to the database.
        names_dump = is_whole and manifest["database"]["name"] == DUMPS[manifest["engine"]]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise Refused("not_a_backup", f"{folder} holds no backup of ours.") from error
    if not is_ours or not names_dump:
        raise Refused("not_a_backup", f"{folder} holds a backup of another form.")
    return manifest


def folder_faults(folder: Path, manifest: Mapping[str, Any]) -> tuple[str, ...]:
    """What of a backup was cut off, changed or lost since it was made."""
    faults = []
    dump = folder / manifest["database"]["name"]
    other = sorted(set(manifest.get("migrations", ())) ^ set(_migrations()))
    if other:
        faults.append(f"it was made by another version of the program: {', '.join(other)}")
    if not dump.is_file() or _hash_of(dump) != manifest["database"]["sha256"]:
        faults.append("the database dump is not the one that was made")
    for file in manifest["files"]:
        name = str(file["name"])
        place = folder / FILES / name[:2] / name[2:4] / name
        if not place.is_file():
            faults.append(f"file {name} is not there")
        elif _hash_of(place) != file["sha256"]:
            faults.append(f"file {name} was changed")
        elif file["sha256"] != name:
            faults.append(f"file {name} was damaged in the store already when it was copied")
    return tuple(faults)


# ------------------------------------------------------------------ restored elsewhere


def restore_check(
    folder: Path, scratch: Path, *, server_url: str = "", against: Sequence[Path] = ()
) -> Restored:
    """Restores a backup into a scratch place and lets the program check it there; the record is not touched.

    Args:
        scratch: an empty folder for files and, on SQLite, the database.
        server_url: PostgreSQL server for the scratch database; empty: the record's own server.
        against: files with heads of the log that were kept outside; a backup that is older than one of them,
            or tells another history, is found by it.

    Raises:
        Refused: ``not_a_backup``.
    """
    manifest = read_manifest(folder)
    faults = list(folder_faults(folder, manifest))
    if faults:
        return Restored(counts={}, faults=tuple(faults))
    shutil.copytree(folder / FILES, scratch / FILES, dirs_exist_ok=True)
    with _restored_database(folder, scratch, manifest, server_url) as environment:
        told = _checked(scratch, environment, against)
    faults += told.get("faults", ["the restored copy could not be checked"])
    faults += _differences(manifest, told)
    return Restored(counts=told.get("counts", {}), faults=tuple(faults))


def _differences(manifest: Mapping[str, Any], told: Mapping[str, Any]) -> list[str]:
    """Fewer rows than were counted before, or a log that ends before the head that was noted."""
    counts, heads = told.get("counts", {}), told.get("heads", {})
    found = [
        f"{name}: {counts.get(name)} restored, {expected} backed up"
        for name, expected in manifest["counts"].items()
        if counts.get(name, 0) < expected
    ]
    for organisation, head in manifest["heads"].items():
        restored = heads.get(organisation, {"n": 0, "hash": ""})
        if restored["n"] < head["n"]:
            found.append(f"the log of {organisation} ends before entry {head['n']}")
        elif restored["n"] == head["n"] and restored["hash"] != head["hash"]:
            found.append(f"the log of {organisation} has another entry {head['n']}")
    return found


@contextlib.contextmanager
def _restored_database(
    folder: Path, scratch: Path, manifest: Mapping[str, Any], server_url: str
) -> Iterator[dict[str, str]]:
    dump = folder / manifest["database"]["name"]
    if manifest["engine"] == "sqlite":
        shutil.copyfile(dump, scratch / "record.sqlite3")
        yield {"DATABASE_URL": ""}
        return
    server = _server(server_url)
    name = f"drill_{os.getpid()}_{manifest['database']['sha256'][:8]}"
    with psycopg.connect(autocommit=True, **server, dbname="postgres") as admin:
        admin.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        try:
            arguments, environment = _postgresql(_as_settings(server, name))
            program = [_program("pg_restore"), "--no-owner", "--no-privileges", "--exit-on-error"]
            _run([*program, *arguments, str(dump)], environment)
            yield {"DATABASE_URL": _url(server, name)}
        finally:
            admin.execute(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(name)))


def _checked(scratch: Path, environment: Mapping[str, str], against: Sequence[Path]) -> dict[str, Any]:
    """What ``check_all`` says when it is run over the restored copy in a process of its own."""
    heads = [f"--against={path.resolve()}" for path in against]
    done = subprocess.run(  # noqa: S603 - fixed words, our own interpreter and program
        [sys.executable, str(settings.BASE_DIR / "manage.py"), "check_all", "--json", *heads],
        check=False, capture_output=True, text=True, timeout=LONGEST_S,
        env={**os.environ, **environment, "WM_DATA_DIR": str(scratch)},
    )  # fmt: skip
    try:
        told: dict[str, Any] = json.loads(done.stdout)
    except ValueError:
        last = (done.stderr.strip().splitlines() or ["no message"])[-1]
        return {"faults": [f"the restored copy could not be checked: {last[:300]}"]}
    return told


# ------------------------------------------------------------------ PostgreSQL's own programs


def _program(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        raise Refused("program_missing", f"{name} is not installed here.")
    return found


def _server(url: str) -> dict[str, Any]:
    """Connection words of the server; of the record's own where none is named."""
    if url:
        info = psycopg.conninfo.conninfo_to_dict(url)
        return {name: value for name, value in info.items() if name != "dbname"}
    own = settings.DATABASES["default"]
    named = {"host": own["HOST"], "port": own["PORT"], "user": own["USER"], "password": own["PASSWORD"]}
    return {name: value for name, value in (named | _options(own)).items() if value}


def _options(database: Mapping[str, Any]) -> dict[str, str]:
    """What the address says beside host and name, such as how far the server's certificate is looked at."""
    return {name: str(value) for name, value in database.get("OPTIONS", {}).items() if name in PASSED_ON}


def _as_settings(server: Mapping[str, Any], name: str) -> dict[str, Any]:
    fields = {"HOST": "host", "PORT": "port", "USER": "user", "PASSWORD": "password"}
    named = {key: str(server.get(field, "")) for key, field in fields.items()}
    return {"NAME": name, **named, "OPTIONS": {key: server[key] for key in PASSED_ON if key in server}}


def _url(server: Mapping[str, Any], name: str) -> str:
    secret = f":{quote(str(server['password']), safe='')}" if server.get("password") else ""
    user = f"{quote(str(server.get('user', '')), safe='')}{secret}@" if server.get("user") else ""
    host, port = quote(str(server.get("host", "")), safe=":[]"), str(server.get("port") or "")
    where = f"[{host}]" if ":" in host else host
    asked = urlencode({key: server[key] for key in PASSED_ON if key in server})
    return f"postgresql://{user}{where}{f':{port}' if port else ''}/{name}{f'?{asked}' if asked else ''}"


def _postgresql(database: Mapping[str, Any]) -> tuple[list[str], dict[str, str]]:
    """Arguments and environment: the password goes by the environment, never by the command line."""
    words = {"host": database["HOST"], "port": database["PORT"], "username": database["USER"]}
    arguments = [f"--{name}={value}" for name, value in words.items() if value]
    environment = {PASSED_ON[name]: value for name, value in _options(database).items()}
    if database["PASSWORD"]:
        environment["PGPASSWORD"] = database["PASSWORD"]
    return [*arguments, f"--dbname={database['NAME']}"], environment


def _run(command: list[str], environment: Mapping[str, str]) -> None:
    subprocess.run(  # noqa: S603 - the database's own programs, no shell
        command, check=True, capture_output=True, timeout=LONGEST_S, env={**os.environ, **environment}
    )
