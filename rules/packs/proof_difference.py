"""What changed in one proof between two editions, each change with whether it asks for more or for less."""

from collections.abc import Callable, Mapping
from dataclasses import fields
from typing import Any, Final

from rules.packs.check_library import CHECKS, ArgumentSpec
from rules.packs.layering import is_tighter_limit
from rules.packs.model import Argument, Proof
from rules.packs.text_words import CHECK_NAMES, argument_words, listed, proof_quoted, seconds_words, words_of
from rules.quantities import Limit

TIGHTER: Final = "tighter"
LOOSER: Final = "looser"
SHIFTED: Final = "shifted"
SAME: Final = "the same, written otherwise"
CHANGED: Final = "another"
# The argument that a proof is named after says nothing more beside its subject.
_PLAIN_KEYS: Final = ("limit", "each")
# Where a proof stands, and which group it came from, asks for nothing.
_NO_MATTER: Final = ("line", "group")


def changes_of(old: Proof, new: Proof) -> tuple[str, ...]:
    """Every change of one proof in words; empty only where the two ask for exactly the same."""
    found: list[str] = []
    for field in fields(Proof):
        was, now = getattr(old, field.name), getattr(new, field.name)
        if field.name not in _NO_MATTER and was != now:
            found += _WORDS.get(field.name, _any_change(field.name))(old, new)
    return tuple(found)


def limit_change(old: Limit, new: Limit) -> str:
    """By interval containment: tighter, looser, shifted, or the same."""
    inside, around = is_tighter_limit(new, old), is_tighter_limit(old, new)
    if inside and around:
        return SAME
    if inside:
        return TIGHTER
    return LOOSER if around else SHIFTED


def _arguments(old: Proof, new: Proof) -> list[str]:
    found = []
    for key in dict.fromkeys((*old.arguments, *new.arguments)):
        was, now = old.arguments.get(key), new.arguments.get(key)
        if was != now:
            found.append(_argument(new.check, key, was, now))
    return found


def _argument(check: str, key: str, was: Argument | None, now: Argument | None) -> str:
    named = "" if key in _PLAIN_KEYS else f"{words_of(key)} "
    spec = CHECKS[check].arguments.get(key) if check in CHECKS else None
    if _are_words(was) and _are_words(now):
        added, gone = _parted(was, now)
        if added or gone:
            return named.rstrip() + _gained_and_lost(check, key, added, gone)
        return f"{named}in another order"
    told = f"was {argument_words(check, key, was)}, now {argument_words(check, key, now)}"
    return f"{named}{told} ({argument_change(spec, was, now)})"


def argument_change(spec: ArgumentSpec | None, was: Argument | None, now: Argument | None) -> str:
    """tighter, looser, shifted or another; an argument that appears or goes away likewise."""
    if isinstance(was, Limit) and isinstance(now, Limit):
        return limit_change(was, now)
    if spec is None or spec.tightens == "same":
        return CHANGED
    if was is None or now is None:
        appears_loosens = spec.open_when_absent
        return LOOSER if (was is None) == appears_loosens else TIGHTER
    if isinstance(was, int | float) and isinstance(now, int | float):
        is_smaller = now < was
        return TIGHTER if is_smaller == (spec.tightens == "smaller") else LOOSER
    return CHANGED


def _are_words(value: Argument | None) -> bool:
    return isinstance(value, tuple)


def _parted(was: object, now: object) -> tuple[Any, Any]:
    """What came in and what went out."""
    old = was if isinstance(was, tuple) else ()
    new = now if isinstance(now, tuple) else ()
    return tuple(one for one in new if one not in old), tuple(one for one in old if one not in new)


def _gained_and_lost(check: str, key: str, added: tuple[str, ...], gone: tuple[str, ...]) -> str:
    words = []
    if added:
        words.append(f"now also {argument_words(check, key, added)}")
    if gone:
        words.append(f"no longer {argument_words(check, key, gone)}")
    spec = CHECKS[check].arguments.get(key) if check in CHECKS else None
    tightens = spec.tightens if spec is not None else "same"
    if (added and gone) or tightens not in ("more", "fewer"):
        return " " + ", ".join(words)
    return " " + ", ".join(words) + f" ({TIGHTER if bool(added) == (tightens == 'more') else LOOSER})"


def _check(old: Proof, new: Proof) -> list[str]:
    names = [CHECK_NAMES.get(one.check, words_of(one.check)) for one in (old, new)]
    return [f"was judged as {names[0]}, now as {names[1]}"]


def _waivable(old: Proof, new: Proof) -> list[str]:
    if new.waivable:
        return [f"may now be waived by the {words_of(new.waive_role or 'nobody')} (looser)"]
    return ["may no longer be waived (tighter)"]


def _waive_role(old: Proof, new: Proof) -> list[str]:
    if not (old.waivable and new.waivable):
        return []
    was, now = words_of(old.waive_role or "nobody"), words_of(new.waive_role or "nobody")
    return [f"may be waived by the {now}, was by the {was} ({CHANGED})"]


def _fresh_for(old: Proof, new: Proof) -> list[str]:
    was, now = (
        "the day" if one.fresh_for_s is None else seconds_words(one.fresh_for_s) for one in (old, new)
    )
    if old.fresh_for_s is None or new.fresh_for_s is None:
        change = CHANGED
    else:
        change = TIGHTER if new.fresh_for_s < old.fresh_for_s else LOOSER
    return [f"stays fresh for {now}, was {was} ({change})"]


def _broken_by(old: Proof, new: Proof) -> list[str]:
    added, gone = _parted(old.broken_by, new.broken_by)
    found = []
    if added:
        found.append(f"now also spoiled by {listed(added)} (tighter)")
    if gone:
        found.append(f"no longer spoiled by {listed(gone)} (looser)")
    return found or ["spoiled by the same, in another order"]


def _earlier_visit(_old: Proof, new: Proof) -> list[str]:
    return [
        "a value of an earlier visit now serves (looser)"
        if new.earlier_visit
        else "a value of an earlier visit no longer serves (tighter)"
    ]


def _part(old: Proof, new: Proof) -> list[str]:
    return [f"was of the part {old.part or 'none'}, now of the part {new.part or 'none'}"]


def _cite(old: Proof, new: Proof) -> list[str]:
    """A later edition of the same document is told once, with the document."""
    if (old.cite.source.id, old.cite.section) == (new.cite.source.id, new.cite.section):
        return []
    return [f"was cited from {old.cite.text}, now from {new.cite.text}"]


def _alternatives(old: Proof, new: Proof) -> list[str]:
    found = []
    for place, (was, now) in enumerate(zip(old.alternatives, new.alternatives, strict=False), start=1):
        found += [f"way {place}: {words}" for words in changes_of(was, now)]
    for extra in new.alternatives[len(old.alternatives) :]:
        found.append(f"now also to be shown by {proof_quoted(extra)} (looser)")
    for gone in old.alternatives[len(new.alternatives) :]:
        found.append(f"no longer to be shown by {proof_quoted(gone)} (tighter)")
    return found


def _any_change(name: str) -> Callable[[Proof, Proof], list[str]]:
    def words(old: Proof, new: Proof) -> list[str]:
        return [f"{words_of(name)}: was {getattr(old, name)}, now {getattr(new, name)}"]

    return words


_WORDS: Final[Mapping[str, Callable[[Proof, Proof], list[str]]]] = {
    "check": _check,
    "arguments": _arguments,
    "waivable": _waivable,
    "waive_role": _waive_role,
    "fresh_for_s": _fresh_for,
    "broken_by": _broken_by,
    "earlier_visit": _earlier_visit,
    "part": _part,
    "cite": _cite,
    "alternatives": _alternatives,
}
