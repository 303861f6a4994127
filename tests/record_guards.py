"""Lets tests lift the database's guards: to clean up after transactional tests, and to play a tamperer.

Django empties the tables after a transactional test. The fixture runs just before that: it lifts the guards,
empties the tables itself and puts the very same guards back. Tests still meet every guard while they run.
"""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.db import connection


@pytest.fixture(autouse=True)
def _guards_lifted_for_clean_up(request: pytest.FixtureRequest) -> Iterator[None]:
    marker = request.node.get_closest_marker("django_db")
    by_marker = marker is not None and marker.kwargs.get("transaction", False)
    if not by_marker and not {"transactional_db", "live_server"} & set(request.fixturenames):
        yield
        return
    request.getfixturevalue("transactional_db")
    yield
    empty_guarded_tables()


@contextmanager
def without_guards() -> Iterator[None]:
    """Inside, the database lets everything be changed; afterwards the very same guards stand again."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET session_replication_role = replica")
            yield
            cursor.execute("SET session_replication_role = DEFAULT")
            return
        cursor.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND substr(name, 1, 6) = 'guard_'"
        )
        guards = cursor.fetchall()
        for name, _ in guards:
            cursor.execute(f"DROP TRIGGER {name}")
        yield
        for _, sql in guards:
            cursor.execute(sql)


def empty_guarded_tables() -> None:
    """Deletes every row of the record's tables, guards or not, and leaves the guards in place."""
    tables = [name for name in connection.introspection.table_names() if name.startswith("jobs_")]
    with without_guards(), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("TRUNCATE " + ", ".join(tables) + " CASCADE")
            return
        with connection.constraint_checks_disabled():
            for table in tables:
                cursor.execute(f"DELETE FROM {table}")  # noqa: S608 - names come from the database itself
