"""The backup drill for real: made, restored elsewhere, checked there by the program; how it may fail."""

import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from io import StringIO
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.core.management import call_command

from tests.faults.stack import ROOT, Stack, empty_record
from tests.jobs.management.kept_record import RECORD, stored

pytestmark = [pytest.mark.slow, pytest.mark.django_db]


@pytest.fixture(scope="module")
def record(django_db_setup: None, tmp_path_factory: pytest.TempPathFactory) -> tuple[Stack, str]:
    """The record, which a drill only reads, and the hash of its sealed file."""
    stack = Stack(data_dir=tmp_path_factory.mktemp("record"))
    empty_record(stack.data_dir)
    return stack, stack.program(RECORD)


def check(*arguments: object) -> tuple[int, str]:
    """``drill check`` in this process: it needs nothing of the record that was backed up."""
    out = StringIO()
    try:
        call_command("drill", "check", *map(str, arguments), stdout=out, stderr=out)
    except SystemExit as ended:
        return int(str(ended.code)), out.getvalue()
    return 0, out.getvalue()


def drill(stack: Stack, *arguments: object) -> tuple[int, str]:
    done = subprocess.run(
        [sys.executable, "manage.py", "drill", *map(str, arguments)], cwd=ROOT, env=stack.environment(),
        check=False, capture_output=True, text=True, timeout=180,
    )  # fmt: skip
    assert "Traceback" not in done.stderr
    return done.returncode, done.stdout + done.stderr


@pytest.fixture(scope="module")
def made(record: tuple[Stack, str], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One backup, proved once; tests spoil copies of it."""
    stack, _ = record
    folder = tmp_path_factory.mktemp("backups") / "night"
    before = sorted(path.name for path in stack.data_dir.iterdir())
    status, told = drill(stack, "all", folder)
    assert status == 0, told
    assert "the restored copy is the record" in told
    assert "1 jobs, 1 evidence" in told
    assert "1 packets" in told
    assert sorted(path.name for path in stack.data_dir.iterdir()) == before
    return folder


@pytest.fixture
def backup(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "backup"))


def manifest_of(backup: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((backup / "backup.json").read_text())
    return found


def with_manifest(backup: Path, **changes: Any) -> None:
    (backup / "backup.json").write_text(json.dumps(manifest_of(backup) | changes))


def test_a_backup_names_all_it_holds_and_no_key(record: tuple[Stack, str], made: Path) -> None:
    told = manifest_of(made)
    there = {str(path.relative_to(made)) for path in made.rglob("*") if path.is_file()}
    named = {f"stored/{n['name'][:2]}/{n['name'][2:4]}/{n['name']}" for n in told["files"]}
    assert there == {"backup.json", "record.sqlite3", *named}
    assert record[1] in {file["sha256"] for file in told["files"]}
    assert any((record[0].data_dir / "keys").iterdir())
    assert made.stat().st_mode & 0o077 == 0
    assert any(name.startswith("0016") for name in told["migrations"])
    status, said = drill(record[0], "backup", made)
    assert (status, "folder_not_empty" in said) == (2, True)


# ------------------------------------------------------------------ what a drill finds


def cut_off(backup: Path, pdf: str) -> None:
    dump = backup / "record.sqlite3"
    dump.write_bytes(dump.read_bytes()[:-4096])


def lost_file(backup: Path, pdf: str) -> None:
    stored(backup, pdf).unlink()


def changed_file(backup: Path, pdf: str) -> None:
    place = stored(backup, pdf)
    data = bytearray(place.read_bytes())
    data[len(data) // 2] ^= 1
    place.write_bytes(data)


def other_version(backup: Path, pdf: str) -> None:
    with_manifest(backup, migrations=manifest_of(backup)["migrations"][:-1])


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (cut_off, "the database dump is not the one that was made"),
        (lost_file, "is not there"),
        (changed_file, "was changed"),
        (other_version, "it was made by another version of the program: 0016"),
    ],
)
def test_a_backup_that_was_spoiled_is_not_even_restored(
    record: tuple[Stack, str], backup: Path, spoil: Callable[[Path, str], None], words: str
) -> None:
    spoil(backup, record[1])
    status, told = check(backup)
    assert status == 1, told
    assert words in told
    assert "restored and checked: nothing" in told
    assert "it is not the record" in told


def rewritten(backup: Path, *statements: str, **changes: Any) -> None:
    """Whoever changes the dump in the folder can change its hash in the manifest as well."""
    dump = backup / "record.sqlite3"
    with closing(sqlite3.connect(dump, isolation_level=None)) as file:
        # All in the one file, whose hash is taken.
        file.execute("PRAGMA journal_mode=DELETE")
        for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            file.execute(f"DROP TRIGGER {name}")
        for sql in statements:
            file.execute(sql)
    digest = hashlib.sha256(dump.read_bytes()).hexdigest()
    database = manifest_of(backup)["database"] | {"sha256": digest}
    with_manifest(backup, database=database, **changes)


@pytest.mark.parametrize(
    ("sql", "words"),
    [
        ("UPDATE jobs_logentry SET who = 'nobody' WHERE n = 3", "hash at entry 3"),
        ("UPDATE jobs_packet SET pdf_sha256 = 'dd' || substr(pdf_sha256, 3)", "is missing"),
        ("DELETE FROM jobs_evidence", "evidence: 0 restored, 1 backed up"),
    ],
)
def test_a_record_that_was_changed_in_the_backup_is_found_by_the_program(
    backup: Path, sql: str, words: str
) -> None:
    rewritten(backup, sql)
    status, told = check(backup)
    assert (status, words in told) == (1, True), told


def test_a_log_cut_off_with_everything_in_hand_is_found_by_a_head_kept_outside(
    record: tuple[Stack, str], backup: Path
) -> None:
    """Log, heads, counts and hashes agree with each other: only what lies elsewhere tells."""
    stack, _ = record
    kept = stack.data_dir / "head.json"
    status, told = check(backup, "--against", kept)
    assert status == 0, told
    size = json.loads(kept.read_text())["head"]["size"]
    with closing(sqlite3.connect(backup / "record.sqlite3")) as file:
        n, end = file.execute("SELECT n, prev FROM jobs_logentry WHERE n = ?", (size,)).fetchone()
    counts, (owner,) = manifest_of(backup)["counts"], manifest_of(backup)["heads"]
    rewritten(
        backup,
        f"DELETE FROM jobs_logentry WHERE n >= {n}",  # noqa: S608
        "DELETE FROM jobs_treehead WHERE is_daily",
        f"UPDATE jobs_ledgerhead SET n = {n - 1}, hash = '{end}'",  # noqa: S608
        heads={owner: {"n": n - 1, "hash": end}},
        counts=counts | {"log_entries": n - 1},
    )
    status, told = check(backup)
    assert (status, "outside_head" in told) == (0, False), told
    status, told = check(backup, "--against", kept)
    assert (status, "outside_head" in told) == (1, True), told


def test_the_heads_of_the_manifest_are_compared(backup: Path) -> None:
    heads = manifest_of(backup)["heads"]
    owner, head = next(iter(heads.items()))
    other = "00000000-0000-4000-8000-000000000417"
    for change, words in (
        ({owner: head | {"hash": "e" * 64}}, (f"has another entry {head['n']}",)),
        (
            {owner: head | {"n": head["n"] + 1}, other: {"n": 1, "hash": "e" * 64}},
            (f"ends before entry {head['n'] + 1}", f"the log of {other} ends before entry 1"),
        ),
    ):
        with_manifest(backup, heads=change)
        status, told = check(backup)
        assert (status, all(part in told for part in words)) == (1, True), told


# ------------------------------------------------------------------ what cannot be done


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{}", '{"format": "backup 9"}', '{"format": "backup 1"}', '"backup 1"', "other dump"],
)
def test_what_is_no_backup_is_said_and_nothing_is_restored(backup: Path, text: str) -> None:
    if text == "other dump":
        text = json.dumps(manifest_of(backup) | {"database": {"name": "../../other.sqlite3", "sha256": ""}})
    (backup / "backup.json").write_text(text)
    status, told = check(backup)
    assert (status, "not_a_backup" in told) == (2, True), told


def test_a_record_without_any_file_is_backed_up_too(tmp_path: Path) -> None:
    stack = Stack(data_dir=tmp_path / "empty")
    stack.data_dir.mkdir()
    empty_record(stack.data_dir)
    status, told = drill(stack, "all", tmp_path / "backup")
    assert (status, "0 files" in told) == (0, True), told


def test_no_database_is_no_difference(tmp_path: Path) -> None:
    """An empty folder: nothing was compared, so nothing differs and nothing agrees."""
    stack = Stack(data_dir=tmp_path / "nothing")
    stack.data_dir.mkdir()
    status, told = drill(stack, "backup", tmp_path / "backup")
    assert (status, "could not be done" in told) == (2, True), told


# ------------------------------------------------------------------ PostgreSQL


def test_on_postgresql_it_is_dumped_restored_beside_and_cleaned_up(
    migrated_postgresql_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    url, backup = migrated_postgresql_url, tmp_path / "backup"
    stack = Stack(data_dir=tmp_path / "record", database_url=url)
    stack.data_dir.mkdir()
    stack.program(RECORD)
    before = databases(url)
    status, told = drill(stack, "all", backup, "--against", stack.data_dir / "head.json")
    assert (status, "the restored copy is the record" in told) == (0, True), told
    dump = backup / "record.dump"
    assert manifest_of(backup)["database"]["name"] == dump.name
    server = ("--scratch-server", url.rsplit("/", 1)[0] + "/postgres")
    heads = manifest_of(backup)["heads"]
    longer = {owner: head | {"n": head["n"] + 1} for owner, head in heads.items()}
    with_manifest(backup, heads=longer)
    status, told = check(backup, *server)
    assert (status, "ends before entry" in told) == (1, True), told
    dump.write_bytes(dump.read_bytes()[:-300])
    digest = hashlib.sha256(dump.read_bytes()).hexdigest()
    with_manifest(backup, database=manifest_of(backup)["database"] | {"sha256": digest})
    status, told = check(backup, *server)
    assert (status, "pg_restore" in told) == (2, True), told
    monkeypatch.setenv("PATH", os.devnull)
    status, told = check(backup, *server)
    assert (status, "program_missing" in told) == (2, True), told
    # Whatever happened, no copy of the record stays behind on the server.
    assert databases(url) == before


def databases(url: str) -> list[str]:
    with psycopg.connect(url) as server:
        return [row[0] for row in server.execute("SELECT datname FROM pg_database ORDER BY datname")]
