"""What a kept judgement says of editions and systems, read from its stored form without judging again."""

import json
from collections.abc import Iterator
from typing import Any

from jobs.models import Assessment


def _plain(assessment: Assessment | None) -> dict[str, Any]:
    """The stored result; empty where there is none or an erasure blanked it."""
    if assessment is None or not assessment.result:
        return {}
    plain: dict[str, Any] = json.loads(assessment.result)
    return plain


def governed_procedures(
    assessment: Assessment | None, pack: str, edition: int
) -> tuple[tuple[str, str], ...]:
    """Id and title of each required procedure that this edition governed."""
    if assessment is None or [pack, edition] not in [item[:2] for item in assessment.packs]:
        return ()
    found = {
        (str(item["procedure_id"]), str(item["title"]))
        for item in _plain(assessment).get("procedures", ())
        if (item["pack"], item["edition"]) == (pack, edition) and item["state"] == "required"
    }
    return tuple(sorted(found))


def required_sensors(assessment: Assessment | None) -> frozenset[str]:
    """Sensors that a requirement of the judgement names, where it is required."""
    return frozenset(_sensors(_plain(assessment)))


def _sensors(plain: dict[str, Any]) -> Iterator[str]:
    for item in plain.get("requirements", ()):
        if item["state"] == "required":
            yield from item["sensors"]
