"""PostgreSQL and Redis for tests: where servers answer they are used, where only binaries are there, started.

Where neither is there the test is skipped with the reason; with ``WM_REQUIRE_SERVERS=1`` it fails instead.
"""

import contextlib
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest
import redis

POSTGRESQL_PORT = 5432
REDIS_PORT = 6379
BINARIES = ("/usr/local/bin", *sorted(map(str, Path("/usr/lib/postgresql").glob("*/bin")), reverse=True))


def missing(what: str) -> None:
    """Skips with a visible reason, or fails where servers are required."""
    reason = f"{what}: no server answers and no binaries are installed"
    if os.environ.get("WM_REQUIRE_SERVERS") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


def wait_until(true: Callable[[], bool], *, seconds: float, what: str) -> None:
    """Polls; fails with ``what`` when the time is over."""
    end = time.monotonic() + seconds
    while not true():
        if time.monotonic() > end:
            pytest.fail(f"waited {seconds} s in vain for {what}")
        time.sleep(0.05)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _binary(name: str) -> str | None:
    return shutil.which(name) or next(
        (str(Path(d) / name) for d in BINARIES if (Path(d) / name).exists()), None
    )


def _answers(port: int) -> bool:
    try:
        psycopg.connect(host="127.0.0.1", port=port, user="postgres", connect_timeout=2).close()
    except psycopg.Error:
        return False
    return True


@pytest.fixture(scope="session")
def postgresql_port() -> Iterator[int]:
    """Port of a PostgreSQL on this machine that trusts user postgres."""
    if _answers(POSTGRESQL_PORT):
        yield POSTGRESQL_PORT
        return
    initdb, server = _binary("initdb"), _binary("postgres")
    if initdb is None or server is None:
        missing("PostgreSQL")
        return
    with tempfile.TemporaryDirectory(prefix="witness-mark-pg-") as folder:
        as_user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        if as_user:
            shutil.chown(folder, "postgres")
        subprocess.run(
            [*as_user, initdb, "-D", f"{folder}/data", "-U", "postgres", "-A", "trust", "-E", "UTF8"],
            check=True, capture_output=True, timeout=120,
        )  # fmt: skip
        port = free_port()
        process = subprocess.Popen(
            [*as_user, server, "-D", f"{folder}/data", "-p", str(port), "-k", folder, "-F"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            wait_until(lambda: _answers(port), seconds=60, what="PostgreSQL")
            yield port
        finally:
            process.terminate()
            process.wait(timeout=30)


@pytest.fixture
def postgresql_url(postgresql_port: int) -> Iterator[str]:
    """Address of a fresh empty database, dropped afterwards."""
    with _database(postgresql_port, "template1") as url:
        yield url


@pytest.fixture(scope="session")
def _migrated(postgresql_port: int, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Name of a database that has been through all migrations, once for all tests that need one."""
    with _database(postgresql_port, "template1") as url:
        subprocess.run(
            [sys.executable, "manage.py", "migrate", "--skip-checks", "--verbosity=0"],
            cwd=Path(__file__).resolve().parents[1], check=True, timeout=300,
            env=os.environ | {"DATABASE_URL": url, "WM_DATA_DIR": str(tmp_path_factory.mktemp("migrated"))},
        )  # fmt: skip
        yield url.rsplit("/", maxsplit=1)[-1]


@pytest.fixture
def migrated_postgresql_url(postgresql_port: int, _migrated: str) -> Iterator[str]:
    """Address of a fresh database with every table and guard and no row, dropped afterwards."""
    with _database(postgresql_port, _migrated) as url:
        yield url


@contextlib.contextmanager
def _database(port: int, template: str) -> Iterator[str]:
    name = f"wm_test_{uuid.uuid4().hex}"
    with psycopg.connect(host="127.0.0.1", port=port, user="postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name} TEMPLATE {template}".encode())
        yield f"postgresql://postgres@127.0.0.1:{port}/{name}"
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)".encode())


@pytest.fixture
def redis_url() -> Iterator[str]:
    """Address of a Redis of this test's own where the binary is there, else an empty one that answers."""
    server = _binary("redis-server")
    if server is not None:
        yield from _own_redis(server)
        return
    for number in range(15, 0, -1):
        client = redis.Redis(port=REDIS_PORT, db=number)
        with contextlib.suppress(redis.RedisError):
            if client.dbsize() == 0:
                yield f"redis://127.0.0.1:{REDIS_PORT}/{number}"
                client.flushdb()
                return
    missing("Redis")


def _own_redis(server: str) -> Iterator[str]:
    port = free_port()
    with tempfile.TemporaryDirectory(prefix="witness-mark-redis-") as folder:
        process = subprocess.Popen(
            [server, "--port", str(port), "--bind", "127.0.0.1", "--dir", folder, "--appendonly", "yes"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        client = redis.Redis(port=port)

        def answers() -> bool:
            with contextlib.suppress(redis.RedisError):
                return bool(client.ping())
            return False

        try:
            wait_until(answers, seconds=30, what="Redis")
            yield f"redis://127.0.0.1:{port}/0"
        finally:
            process.terminate()
            process.wait(timeout=30)
