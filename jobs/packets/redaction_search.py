"""What is withheld, looked for in all that is not: names in other words, numbers in other spellings."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from jobs.packets.strangers import VIN_FORM, fold, strings_in
from rules.seal.entries import ORDER

# Kinds of thing whose words are names: the last word alone is looked for too.
NAME_KINDS: Final = ("customer_name", "person_name")
SHORTEST_TERM: Final = 3
SHORTEST_LAST_NAME: Final = 4
SHORTEST_NUMBER: Final = 7
LONGEST_NAME: Final = 60
_HEX: Final = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}|[0-9a-f]{64}")
_INSTANT: Final = re.compile(r"\d{4}-\d\d-\d\dT[\d:.]+Z|\d{4}-\d\d-\d\d")
# Entries in which a term is no disclosure: order of records, what the packet is, published texts.
_NOT_SEARCHED: Final = ("packet/", "packs/")


@dataclass(frozen=True, slots=True)
class Term:
    """One thing to look for: ``text`` folded (words), or ``tight`` letters and digits only (numbers)."""

    text: str
    kind: str
    is_tight: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """An entry that still holds something withheld: where, which kind of thing, and the words around it."""

    path: str
    where: str
    kind: str
    around: str


def terms_of(value: Any, kind: str) -> tuple[Term, ...]:
    """What to look for so that ``value`` (of that kind of thing) is nowhere told."""
    found: dict[Term, None] = {}
    for text in strings_in(value):
        for term in _terms(text, kind):
            found[term] = None
    return tuple(found)


def _terms(text: str, kind: str) -> Iterable[Term]:
    whole = fold(text)
    if len(whole) < SHORTEST_TERM or _HEX.fullmatch(text) or _INSTANT.fullmatch(text):
        return
    yield Term(whole, kind)
    tight = tight_of(text)
    if (kind == "plate" and len(tight) >= SHORTEST_LAST_NAME) or VIN_FORM.fullmatch(text.strip()):
        yield Term(tight, kind, is_tight=True)
    digits = "".join(mark for mark in text if mark.isdigit())
    if kind == "contact" and len(digits) >= SHORTEST_NUMBER:
        yield Term(digits, kind, is_tight=True)
    if kind in NAME_KINDS and len(text) <= LONGEST_NAME:
        words = [fold(word) for word in re.split(r"[\s,]+", text) if fold(word)]
        yield from (Term(word, kind) for word in words[-1:] if len(word) >= SHORTEST_LAST_NAME)


def tight_of(text: str) -> str:
    """Letters and digits only, without case."""
    return "".join(mark for mark in text.casefold() if mark.isalnum())


def found_in(text: str, terms: Iterable[Term]) -> Term | None:
    """The first term that stands in ``text``; words stand alone, numbers may be written with other marks."""
    words, tight = f" {_loose(text)} ", ""
    for term in terms:
        if term.is_tight:
            tight = tight or tight_of(_HEX.sub(" ", text))
            if term.text in tight:
                return term
        elif f" {_loose(term.text)} " in words:
            return term
    return None


def _loose(text: str) -> str:
    """Words without case and marks; the ``s`` of ``Ashgrove's`` is a word of its own."""
    return " ".join(re.findall(r"[^\W_]+", text.casefold()))


def hits(entries: Mapping[str, Any], terms: tuple[Term, ...], where: Mapping[str, str]) -> tuple[Hit, ...]:
    """Every entry in which one of the terms stands, by path."""
    found = []
    for path, value in entries.items():
        if path.startswith(_NOT_SEARCHED) or path.endswith(f"/{ORDER}"):
            continue
        for text in strings_in(value):
            term = found_in(text, terms)
            if term is not None:
                around = around_of(text, term)
                found.append(Hit(path=path, where=where.get(path, path), kind=term.kind, around=around))
                break
    return tuple(found)


def around_of(text: str, term: Term) -> str:
    """Some words around the place, for the person who decides."""
    first = (re.findall(r"[^\W_]+", term.text) or [""])[0]
    place = max(0, text.casefold().find(first))
    start = max(0, place - 40)
    return ("…" if start else "") + text[start : place + 60].strip() + ("…" if place + 60 < len(text) else "")
