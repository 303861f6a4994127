"""Plain data into entries: strict, with the field's path."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

import pytest

from jobs.errors import Refused
from jobs.services.entries import build_entry

ID = "123e4567-e89b-42d3-a456-426614174000"


@dataclass(frozen=True, slots=True, kw_only=True)
class Inner:
    name: str
    count: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outer:
    id: UUID
    text: str = ""
    yes: bool = False
    inner: Inner | None = None
    items: tuple[Inner, ...] = ()
    ids: tuple[UUID, ...] = ()


def test_nested_data() -> None:
    built = build_entry(
        Outer, {"id": ID, "inner": {"name": "a"}, "items": [{"name": "b", "count": 2}], "ids": [ID]}
    )
    assert built == Outer(
        id=UUID(ID), inner=Inner(name="a"), items=(Inner(name="b", count=2),), ids=(UUID(ID),)
    )


@pytest.mark.parametrize(
    ("data", "code", "field"),
    [
        ({}, "missing_field", "id"),
        ({"id": "1"}, "wrong_type", "id"),
        ({"id": "{" + ID[1:-1] + "}"}, "wrong_type", "id"),
        ({"id": 1}, "wrong_type", "id"),
        ({"id": ID, "colour": 1}, "unknown_field", "colour"),
        ({"id": ID, "text": 1}, "wrong_type", "text"),
        ({"id": ID, "text": "a\x00b"}, "wrong_type", "text"),
        ({"id": ID, "text": None}, "wrong_type", "text"),
        ({"id": ID, "yes": 1}, "wrong_type", "yes"),
        ({"id": ID, "inner": []}, "wrong_type", "inner"),
        ({"id": ID, "inner": {"name": "a", "count": True}}, "wrong_type", "inner.count"),
        ({"id": ID, "items": "abc"}, "wrong_type", "items"),
        ({"id": ID, "items": [{"name": "a"}, {}]}, "missing_field", "items[1].name"),
        ({"id": ID, "ids": [ID] * 5001}, "list_too_long", "ids"),
        ([], "wrong_type", "body"),
    ],
)
def test_what_is_refused(data: Any, code: str, field: str) -> None:
    with pytest.raises(Refused) as refusal:
        build_entry(Outer, data)
    assert (refusal.value.code, refusal.value.extra["field"]) == (code, field)
