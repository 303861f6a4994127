"""Three-valued logic (strong Kleene): unknown is neither true nor false, and is never taken for false."""

from collections.abc import Iterable

from rules.verdict import Truth


def all_of(values: Iterable[Truth]) -> Truth:
    """False if any is false, else unknown if any is unknown, else true."""
    seen = set(values)
    if "false" in seen:
        return "false"
    return "unknown" if "unknown" in seen else "true"


def any_of(values: Iterable[Truth]) -> Truth:
    """True if any is true, else unknown if any is unknown, else false."""
    seen = set(values)
    if "true" in seen:
        return "true"
    return "unknown" if "unknown" in seen else "false"


def negation(value: Truth) -> Truth:
    """Unknown stays unknown."""
    if value == "unknown":
        return "unknown"
    return "false" if value == "true" else "true"


def none_of(values: Iterable[Truth]) -> Truth:
    """True if all are false: the negation of :func:`any_of`."""
    return negation(any_of(values))
