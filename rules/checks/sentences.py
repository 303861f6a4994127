"""Words that checks on records share: how a sentence begins, plain names, local times, pack arguments."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, listed
from rules.facts import Moment, Place

# A clock compared with the server's is known to some hundredths of a second: 08:39:59.98 reads 08:40.
HALF_SECOND: Final = timedelta(milliseconds=500)


def begin(context: CheckContext, required: str) -> Draft:
    """A draft whose sentence opens with what was required and where that stands."""
    return Draft(required=required, citation=context.proof.cite.text)


def plain(name: str) -> str:
    """A name of the packs in plain words: ``dash_lamps_before`` is ``dash lamps before``, tyre is tire."""
    return name.replace("_", " ").replace("tyre", "tire")


def words(names: Iterable[str]) -> str:
    """``a, b and c`` in plain words."""
    return listed(plain(name) for name in names)


def local_time(place: Place, at: datetime) -> str:
    """``2026-05-05 10:34`` in the local time of the place; parts of a second belong to the nearest one."""
    return place.local(at + HALF_SECOND).strftime("%Y-%m-%d %H:%M")


def clock_text(place: Place, moment: Moment) -> str:
    """The local time of an event; where it is known to no better than a minute, both ends."""
    low, high = local_time(place, moment.low), local_time(place, moment.high)
    return low if low == high else f"between {low} and {high}"


def names_argument(context: CheckContext, key: str) -> tuple[str, ...]:
    """A proof's list of words; empty where it is absent."""
    value = context.proof.arguments.get(key, ())
    if isinstance(value, str):
        return (value,)
    if not isinstance(value, tuple):
        raise TypeError(f"{key} of proof {context.proof.id} is no list of words")
    return tuple(item for item in value if isinstance(item, str))


def word_argument(context: CheckContext, key: str, default: str = "") -> str:
    """A proof's single word."""
    value = context.proof.arguments.get(key, default)
    if not isinstance(value, str):
        raise TypeError(f"{key} of proof {context.proof.id} is no word")
    return value


def pairs_argument(context: CheckContext, key: str) -> tuple[tuple[str, str], ...]:
    """A proof's map of words; empty where it is absent."""
    value = context.proof.arguments.get(key, ())
    if not isinstance(value, tuple):
        raise TypeError(f"{key} of proof {context.proof.id} is no map of words")
    return tuple((item[0], item[1]) for item in value if isinstance(item, tuple))
