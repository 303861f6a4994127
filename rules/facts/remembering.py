"""What is worked out from a frozen snapshot is worked out once, and kept with it for as long as it lives."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

T = TypeVar("T")
P = ParamSpec("P")


class Remembers:
    """A base for frozen snapshots. What is kept is no field: it is in no comparison, copy or stored form."""

    __slots__ = ("_worked_out",)
    _worked_out: dict[object, Any]


RemembersT = TypeVar("RemembersT", bound=Remembers)


def once(
    function: Callable[Concatenate[RemembersT, P], T],
) -> Callable[Concatenate[RemembersT, P], T]:
    """``function(snapshot, …)`` computed once per snapshot and further arguments, which must be hashable.

    Only for functions whose result is immutable and follows from snapshot and arguments alone. Two threads
    may compute the same result at the same time; both get an equal one.
    """

    code = getattr(function, "__code__", None)
    if code is not None and code.co_argcount == 1:
        return _alone(function)

    @wraps(function)
    def remembered(snapshot: RemembersT, /, *args: P.args, **kwargs: P.kwargs) -> T:
        if kwargs:
            return function(snapshot, *args, **kwargs)
        key = (function, *args)
        kept = worked_out(snapshot)
        try:
            found: T = kept[key]
        except KeyError:
            found = kept[key] = function(snapshot, *args, **kwargs)
        return found

    return remembered


def _alone(function: Callable[..., T]) -> Callable[..., T]:
    """The same for a function of the snapshot alone, with less to look at."""

    @wraps(function)
    def remembered(snapshot: Remembers, /) -> T:
        kept = worked_out(snapshot)
        try:
            found: T = kept[function]
        except KeyError:
            found = kept[function] = function(snapshot)
        return found

    return remembered


def worked_out(snapshot: Remembers) -> dict[object, Any]:
    """The drawer of a snapshot; empty at first."""
    try:
        return snapshot._worked_out
    except AttributeError:
        drawer: dict[object, Any] = {}
        # The snapshot is frozen; the drawer is no part of its value.
        object.__setattr__(snapshot, "_worked_out", drawer)
        return drawer
