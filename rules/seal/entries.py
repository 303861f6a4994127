"""The entries of a packet's tree: plain facts and judgement to named entries, and named entries back.

An entry is what can be withheld by itself. A record of a list is one entry, named by its ``id`` or its place;
texts that may hold what is personal stand in entries of their own, so that a reason can be withheld without
the decision it belongs to. The order of each list is an entry too: it tells how many records there are.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

# The entry with the names of a list's records in their order; no record has this name.
ORDER: Final = "*"

# What stands where a text is withheld; as long as a waiver's reason has to be (40 characters).
WITHHELD_TEXT: Final = "Withheld: what stood here is not part of this copy."

# What stands where the hash of a record is withheld together with a text that it was taken of.
WITHHELD_HASH: Final = "0" * 64

# Per list: name of the entry of its own -> the fields that move there; dots lead into an inner object. The
# hash of a record whose text is withheld would let the text be guessed, so it can be withheld with it.
SPLIT: Final[Mapping[str, Mapping[str, tuple[str, ...]]]] = {
    "facts/identity_readings": {"vin_read": ("vin_read",), "sha256": ("sha256",)},
    "facts/estimate_lines": {"text": ("text",), "sha256": ("sha256",)},
    "facts/sessions": {"result_text": ("result_text",), "sha256": ("sha256",)},
    "facts/scans": {"vin_per_module": ("vin_per_module",), "sha256": ("sha256",)},
    "facts/photos": {"file_name": ("file_name",)},
    "facts/files": {"file_name": ("file_name",)},
    "facts/waivers": {"reason": ("reason",), "instead": ("instead",), "sha256": ("sha256",)},
    "facts/refusals": {
        "refused_by_name": ("refused_by_name",),
        "lamp_state": ("lamp_state",),
        "sha256": ("sha256",),
    },
    "facts/explanations": {"text": ("text",), "sha256": ("sha256",)},
    "facts/floor_surveys": {"void_reason": ("void_reason",), "sha256": ("sha256",)},
    "facts/sign_offs": {"covers": ("covers", "covers_root")},
    "facts/people": {"name": ("name",), "login": ("login",), "qualifications": ("qualifications",)},
    "assessment/findings": {
        "words": (
            "outcome.sentence",
            "outcome.required",
            "outcome.shows",
            "outcome.why",
            "outcome.change",
            "outcome.settle_why",
            "outcome.notes",
        )
    },
    "assessment/procedures": {"attempts": ("attempts",)},
    "assessment/decisions": {"person": ("person",)},
}

# Parts on whose content no verdict rests. (Of a waiver's reason the length counts, of a refusal's name and an
# explanation's text that there is one: WITHHELD_TEXT keeps that.)
RESTS_ON_TEXT: Final = frozenset(
    {
        ("facts/estimate_lines", "text"),
        ("facts/estimate_lines", "sha256"),
        ("facts/sessions", "result_text"),
        ("facts/photos", "file_name"),
        ("facts/files", "file_name"),
        ("facts/waivers", "reason"),
        ("facts/waivers", "instead"),
        ("facts/waivers", "sha256"),
        ("facts/refusals", "refused_by_name"),
        ("facts/refusals", "lamp_state"),
        ("facts/refusals", "sha256"),
        ("facts/explanations", "text"),
        ("facts/explanations", "sha256"),
        ("facts/floor_surveys", "void_reason"),
        ("facts/floor_surveys", "sha256"),
        ("facts/people", "name"),
        ("assessment/findings", "words"),
        ("assessment/procedures", "attempts"),
        ("assessment/decisions", "person"),
    }
)
# Whole entries of that sort: a hash over everything, and names of records in print.
_WHOLE_TEXT: Final = frozenset({"assessment/facts_sha256", "assessment/names"})


def filling(where: str, part: str) -> Any:
    """What stands in place of a withheld part while judging again; None where nothing can."""
    if part == "sha256":
        return WITHHELD_HASH
    if (where, part) not in RESTS_ON_TEXT:
        return None
    if part == "attempts":
        return []
    fields = SPLIT[where][part]
    if len(fields) == 1:
        return WITHHELD_TEXT
    return {field.rpartition(".")[2]: [] if field.endswith("notes") else WITHHELD_TEXT for field in fields}


class EntryError(ValueError):
    """Entries that are not those of a packet: a part without its record, or a value of the wrong form."""


def flatten(prefix: str, plain: Mapping[str, Any], form: int = 2) -> Iterator[tuple[str, Any]]:
    """The entries that a plain object gives: one per field, per inner field, per record of a list.

    Args:
        prefix: ``facts``, ``assessment`` or ``order``.
        plain: what ``rules.canonical.to_plain`` gave.
        form: 2 as this module says; 1 as in packets sealed before, without parts of records and orders.
    """
    for name, value in plain.items():
        path = f"{prefix}/{name}"
        if isinstance(value, Mapping):
            for inner, item in value.items():
                yield f"{path}/{inner}", item
        elif isinstance(value, list | tuple) and value and isinstance(value[0], Mapping):
            yield from _records(path, value, form)
        else:
            yield path, value


def _records(path: str, records: list[Any] | tuple[Any, ...], form: int) -> Iterator[tuple[str, Any]]:
    names = [str(item.get("id", f"{place:05d}")) for place, item in enumerate(records)]
    if form == 1:
        yield from ((f"{path}/{name}", item) for name, item in zip(names, records, strict=True))
        return
    yield f"{path}/{ORDER}", names
    parts = SPLIT.get(path, {})
    for name, item in zip(names, records, strict=True):
        left, taken = _taken_apart(item, parts)
        yield f"{path}/{name}", left
        for part, value in taken.items():
            yield f"{path}/{name}/{part}", value


def _taken_apart(
    record: Mapping[str, Any], parts: Mapping[str, tuple[str, ...]]
) -> tuple[dict[str, Any], dict[str, Any]]:
    """The record without the fields that move, and what moved, by part; a record has all of them or none."""
    left = dict(record)
    taken: dict[str, Any] = {}
    for part, fields in parts.items():
        moved = {}
        for field in fields:
            outer, _, inner = field.rpartition(".")
            if outer:
                left[outer] = dict(left[outer])
                moved[inner] = left[outer].pop(inner)
            else:
                moved[inner] = left.pop(inner)
        taken[part] = moved if len(fields) > 1 else next(iter(moved.values()))
    return left, taken


def part_of(path: str) -> tuple[str, str, str] | None:
    """(list, record, part) of an entry that is a part of a record; None for any other."""
    pieces = path.split("/")
    if len(pieces) != 4:
        return None
    where = "/".join(pieces[:2])
    return (where, pieces[2], pieces[3]) if pieces[3] in SPLIT.get(where, {}) else None


def is_text_only(path: str) -> bool:
    """Whether no verdict rests on the content of this entry."""
    part = part_of(path)
    return path in _WHOLE_TEXT or (part is not None and (part[0], part[2]) in RESTS_ON_TEXT)


def rebuild(
    prefix: str, entries: Mapping[str, Any], fill: Callable[[str, str], Any] = filling
) -> dict[str, Any]:
    """The plain object that ``flatten`` (form 2) took apart, from the entries that are shipped.

    Records whose entry is withheld are left out; a withheld part for which ``fill`` has something becomes
    that; a record of which another part is withheld is left out as a whole.

    Args:
        prefix: as for ``flatten``.
        entries: value by path, withheld ones not among them.
        fill: (list, part) to what stands in place of a withheld part, None for nothing.

    Raises:
        EntryError: the entries have another form.
    """
    lists = {path.removesuffix(f"/{ORDER}"): names for path, names in entries.items() if path.endswith("/*")}
    plain: dict[str, Any] = {}
    for path, value in entries.items():
        pieces = path.split("/")
        if pieces[0] != prefix or "/".join(pieces[:2]) in lists:
            continue
        if len(pieces) == 2:
            plain[pieces[1]] = value
        elif len(pieces) == 3:
            plain.setdefault(pieces[1], {})[pieces[2]] = value
        else:
            raise EntryError(f"{path} belongs to no list")
    for where, names in lists.items():
        if where.startswith(f"{prefix}/"):
            plain[where.removeprefix(f"{prefix}/")] = _list_of(where, names, entries, fill)
    if prefix == "assessment":
        plain.setdefault("facts_sha256", WITHHELD_HASH)
    return plain


def _list_of(
    where: str, names: Any, entries: Mapping[str, Any], fill: Callable[[str, str], Any]
) -> list[dict[str, Any]]:
    if not isinstance(names, list):
        raise EntryError(f"{where}/{ORDER} is no list")
    found = []
    for name in names:
        record = _put_together(where, f"{where}/{name}", entries, fill)
        if record is not None:
            found.append(record)
    return found


def _put_together(
    where: str, path: str, entries: Mapping[str, Any], fill: Callable[[str, str], Any]
) -> dict[str, Any] | None:
    """One record with its parts; None where it cannot be given whole."""
    if path not in entries:
        return None
    if not isinstance(entries[path], Mapping):
        raise EntryError(f"{path} is no record")
    record = dict(entries[path])
    for part, fields in SPLIT.get(where, {}).items():
        own = f"{path}/{part}"
        value = entries[own] if own in entries else fill(where, part)
        if value is None and own not in entries:
            return None
        _put_back(path, record, fields, value)
    return record


def _put_back(path: str, record: dict[str, Any], fields: tuple[str, ...], value: Any) -> None:
    for field in fields:
        outer, _, inner = field.rpartition(".")
        if len(fields) > 1 and not (isinstance(value, Mapping) and inner in value):
            raise EntryError(f"{path} has a part of another form")
        one = value[inner] if len(fields) > 1 else value
        if outer:
            record[outer] = {**record.get(outer, {}), inner: one}
        else:
            record[inner] = one
