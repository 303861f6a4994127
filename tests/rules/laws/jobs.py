"""The finished jobs that the laws are tried on; judgements compared without the order of print."""

import random
import re
from collections.abc import Callable, Iterable
from dataclasses import fields, is_dataclass, replace
from typing import Any

from rules.canonical import to_plain
from rules.facts import RECORD_FIELDS, JobFacts
from rules.result import Assessment
from tests.rules.static_job import static_job
from tests.rules.windshield_job import windshield_job

FINISHED: dict[str, Callable[[], JobFacts]] = {"road": windshield_job, "static": static_job}
Key = tuple[str, str]
# Rows of these stand in the order of time, or each place in the row has its meaning.
ORDERED = frozenset({"samples", "fixes", "offsets"})


def verdicts(result: Assessment) -> dict[Key, str]:
    return {(item.procedure_id, item.proof_id): item.verdict for item in result.findings}


def said(result: Assessment, facts: JobFacts) -> dict[str, Any]:
    """What a judgement says: everything but the hash of the facts, lists of records without their order.

    Of several records of one kind and instant any one may stand for the event, so records go by these.
    """
    kinds = {item.id: f"{name} {item.received_at}" for name in RECORD_FIELDS for item in getattr(facts, name)}
    plain = to_plain(result)
    del plain["facts_sha256"]
    found: dict[str, Any] = _without_order(plain, kinds)
    return found


def _without_order(value: Any, kinds: dict[str, str]) -> Any:
    if isinstance(value, dict):
        return {key: _kept(key, item, kinds) for key, item in value.items()}
    return [_without_order(item, kinds) for item in value] if isinstance(value, list) else value


def _kept(key: str, item: Any, kinds: dict[str, str]) -> Any:
    if key == "evidence":
        return sorted({kinds.get(name, name) for name in item})
    # "front radar: build data says no; sight says no" lists the ways in the order they were handed in.
    return sorted(re.split("[:;] ", item)) if key == "fact" else _without_order(item, kinds)


def shuffled(value: Any, dice: random.Random) -> Any:
    """Every tuple of records or names in any order, down to the last; rows of numbers stay as they are."""
    if isinstance(value, tuple):
        members = [shuffled(item, dice) for item in value]
        if _has_no_order(value):
            dice.shuffle(members)
        return tuple(members)
    if not is_dataclass(value) or isinstance(value, type):
        return value
    names = [field.name for field in fields(value) if field.name not in ORDERED]
    return replace(value, **{name: shuffled(getattr(value, name), dice) for name in names})


def _has_no_order(rows: Iterable[Any]) -> bool:
    """A pair such as (lamp, state) is a row of its own; lists hold dataclasses, words, or rows."""
    members = tuple(rows)
    if all(isinstance(item, str) for item in members):
        return False
    return all(is_dataclass(item) or isinstance(item, tuple) for item in members)
