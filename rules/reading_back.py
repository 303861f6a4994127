"""The facts of a job, and a judgement, back from the bytes they are kept in: strictly, or not at all."""

import json
from json.encoder import JSONEncoder
from typing import Final, NoReturn, TypeVar

from rules.canonical import PlainError, from_plain, sha256_hex
from rules.facts import JobFacts
from rules.quick_reading import NotQuickError, quick
from rules.record_bytes import hash_is_known, record_bytes
from rules.result import Assessment

T = TypeVar("T")

_encoded: Final = JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode


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
    facts = _read_quickly(JobFacts, data, sha256)
    if facts is None:
        return _read(JobFacts, data, sha256)
    # Read so, the facts are written with these very bytes.
    hash_is_known(facts, sha256 or sha256_hex(data))
    return facts


def read_assessment(data: bytes, *, sha256: str = "") -> Assessment:
    """A judgement from its canonical bytes; raises as :func:`read_facts` does."""
    found = _read_quickly(Assessment, data, sha256)
    return _read(Assessment, data, sha256) if found is None else found


def _read_quickly(cls: type[T], data: bytes, sha256: str) -> T | None:
    """What bytes of exactly our form hold; None where they have not, or not surely, that form.

    Bytes that come out again from what was read of them name nothing twice.
    """
    if sha256 and sha256_hex(data) != sha256:
        return None
    try:
        plain = json.loads(data)
        if _encoded(plain).encode() != data:
            return None
        found: T = quick(cls)(plain)
    except (NotQuickError, ValueError, RecursionError):
        return None
    return found


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
