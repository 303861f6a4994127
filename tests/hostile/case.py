"""One hostile input: what is sent as what kind, and what must come of it."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Case:
    """A file of the bad-input corpus; ``code`` None means accepted, with ``notes`` among its notes.

    ``data`` makes the bytes when they are needed: nothing hostile lies in the repository.
    """

    name: str
    kind: str
    data: Callable[[], bytes]
    code: str | None
    notes: tuple[str, ...] = ()
    # Seconds within which the answer must come, the start of the child process included.
    within_s: float = 5.0


def fixed(data: bytes) -> Callable[[], bytes]:
    return lambda: data
