"""The invented world with a scenario's own changes laid upon it."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

from jobs.rehearsal.faults import Faults, Spot
from jobs.rehearsal.kinds import WORLD_SECTIONS

# What names a row of each section.
_NAMED_BY: Final[Mapping[str, str]] = {
    "organisations": "code", "locations": "code", "bays": "code", "people": "login",
    "qualifications": "number", "equipment": "tag", "certificates": "number", "adhesive_sheets": "product",
    "packs": "file", "devices": "id",
}  # fmt: skip
REMOVE: Final = "removed"


def with_changes(base: Mapping[str, Any], changes: Mapping[str, Any], spot: Spot) -> dict[str, Any]:
    """The world's rows with a scenario's own: a row of the same name is changed key by key, others are added.

    A row that says ``removed: yes`` is taken away.

    Raises:
        ScenarioError: a new row without a key that it needs.
    """
    rows = dict(base)
    faults = Faults()
    for section, named in changes.items():
        if section == "models":
            rows[section] = {**rows[section], **named}
            continue
        there = {_name_of(section, row): row for row in rows[section]}
        for name, row in named.items():
            if row.get(REMOVE) is True:
                there.pop(name, None)
                continue
            key = _NAMED_BY.get(section)
            own = {key: name} if key is not None else {}
            there[name] = {**own, **there.get(name, {}), **row}
            for needed in WORLD_SECTIONS[section]:
                if needed not in there[name]:
                    where = f"world.{section}.{name}"
                    faults.add(spot, where, expected=f"a key {needed}", found="none", code="missing_key")
        rows[section] = list(there.values())
    faults.stop_if_any()
    return rows


def _name_of(section: str, row: Mapping[str, Any]) -> str:
    if section in _NAMED_BY:
        return str(row[_NAMED_BY[section]])
    if section == "method_budgets":
        return f"{row['quantity']}.{row['class'] or 'none'}"
    return f"{row['make']}.{row['sensor']}"


def pack_reader(rows: Mapping[str, Any], folders: tuple[Path, ...]) -> Callable[[str], bytes]:
    """Gives a pack's bytes by its file's name, with the edits that the rows of the world ask for.

    A row may say ``from: orrinvale.7.yaml`` and ``edits: [{old: ..., new: ...}]``: the text of another file
    with every ``old`` replaced.
    """
    packs = {row["file"]: row for row in rows["packs"]}

    def read(name: str) -> bytes:
        row = packs.get(name, {})
        source = str(row.get("from", name))
        text = _found(source, folders).decode()
        for edit in row.get("edits", ()):
            if str(edit["old"]) not in text:
                raise ValueError(f"{source} does not contain {edit['old']!r}")
            text = text.replace(str(edit["old"]), str(edit["new"]))
        return text.encode()

    return read


def _found(name: str, folders: tuple[Path, ...]) -> bytes:
    for folder in folders:
        path = folder / name
        if path.is_file():
            return path.read_bytes()
    raise FileNotFoundError(name)
