"""A scratch database on a PostgreSQL server: made under a name of its own, dropped afterwards."""

import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import psycopg
from psycopg import sql
from psycopg.conninfo import conninfo_to_dict


@contextmanager
def database(server: str, *, keep: bool) -> Iterator[Mapping[str, Any]]:
    """Django's settings of a new, empty database on ``server`` (``postgresql://user@host/any-database``)."""
    parts = {key: str(value) for key, value in conninfo_to_dict(server).items() if value is not None}
    name = f"rehearsal_{secrets.token_hex(6)}"
    with psycopg.connect(server, autocommit=True) as door:
        door.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
    options = {
        key: value
        for key, value in parts.items()
        if key not in ("host", "port", "user", "password", "dbname")
    }
    try:
        yield {
            "ENGINE": "django.db.backends.postgresql",
            "NAME": name,
            "USER": parts.get("user", ""),
            "PASSWORD": parts.get("password", ""),
            "HOST": parts.get("host", ""),
            "PORT": parts.get("port", ""),
            "OPTIONS": options,
        }
    finally:
        if not keep:
            with psycopg.connect(server, autocommit=True) as door:
                door.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))
