"""Lets transactional tests be cleaned up although the database refuses to delete what was recorded.

Django empties the tables after such a test. This fixture runs just before that: it lifts the guards, empties
the tables itself and puts the very same guards back. Tests still meet every guard while they run.
"""

from collections.abc import Iterator

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


def empty_guarded_tables() -> None:
    """Deletes every row of the record's tables, guards or not, and leaves the guards in place."""
    tables = [name for name in connection.introspection.table_names() if name.startswith("jobs_")]
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET session_replication_role = replica")
            cursor.execute("TRUNCATE " + ", ".join(tables) + " CASCADE")
            cursor.execute("SET session_replication_role = DEFAULT")
        return
    with connection.constraint_checks_disabled(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND substr(name, 1, 6) = 'guard_'"
        )
        guards = cursor.fetchall()
        for name, _ in guards:
            cursor.execute(f"DROP TRIGGER {name}")
        for table in tables:
            cursor.execute(f"DELETE FROM {table}")  # noqa: S608 - names come from the database itself
        for _, sql in guards:
            cursor.execute(sql)
