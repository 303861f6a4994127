"""The facts of a job, and a judgement, back from the bytes they are kept in: strictly, or not at all."""

import json
from typing import NoReturn, TypeVar

from rules.canonical import PlainError, from_plain, sha256_hex
from rules.facts import JobFacts
from rules.record_bytes import record_bytes
from rules.result import Assessment

T = TypeVar("T")


class StoredFormError(ValueError):
    """Bytes that are not what this program wrote; ``path`` names the place, empty for the whole."""

    def __init__(self, path: str, message: str) -> None:
        super().__init__(f"{path or 'stored bytes'}: {message}")
        self.path = path


def facts_bytes(facts: JobFacts) -> bytes:
    """The canonical bytes of the facts: what ``facts_sha256`` of an assessment is the hash of."""
    return record_bytes(facts)


def read_facts(data: bytes, *, sha256: str = "") -> JobFacts:
    """The facts that ``data`` (RFC 8785 canonical JSON) holds.

    Args:
        data: the bytes as :func:`facts_bytes` gave them.
        sha256: what their hash must be; empty: not asked.

    Raises:
        StoredFormError: another hash, no JSON, a name twice, an unknown, missing or wrongly typed field.
    """
    return _read(JobFacts, data, sha256)


def read_assessment(data: bytes, *, sha256: str = "") -> Assessment:
    """A judgement from its canonical bytes; raises as :func:`read_facts` does."""
    return _read(Assessment, data, sha256)


def _read(cls: type[T], data: bytes, sha256: str) -> T:
    if sha256 and sha256_hex(data) != sha256:
        raise StoredFormError("", "the bytes do not have the hash that was recorded")
    try:
        plain = json.loads(data, object_pairs_hook=_object, parse_constant=_constant)
        return from_plain(cls, plain)
    except PlainError as error:
        raise StoredFormError(error.path, error.message) from error
    except (ValueError, RecursionError) as error:
        raise StoredFormError("", f"no JSON of ours: {error}") from error


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a name stands twice in one object")
    return found


def _constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number")
