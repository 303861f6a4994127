"""What has to go with what is withheld: files that repeat it, and hashes it could be guessed from."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from jobs.packets.outside import VERDICT_COMPUTED
from jobs.packets.source import PacketSource
from rules.seal.entries import WITHHELD_HASH, part_of
from rules.seal.redaction_check import LOG_HEAD


@dataclass(frozen=True, slots=True, kw_only=True)
class Sealed:
    """The packet to derive from: its frozen source and the entries of its manifest as sealed."""

    source: PacketSource
    root: str
    entries: tuple[Mapping[str, Any], ...]

    @property
    def shown(self) -> dict[str, Any]:
        """Value by path of the entries that it ships."""
        return {entry["path"]: entry["value"] for entry in self.entries if "value" in entry}

    @property
    def hidden(self) -> tuple[str, ...]:
        """Paths of the entries that it withholds already."""
        return tuple(entry["path"] for entry in self.entries if "value" not in entry)


def following(sealed: Sealed, chosen: Iterable[str]) -> dict[str, str]:
    """Entries that must go too because they would give away the chosen ones: path -> why.

    Files that repeat the entries; hashes of records whose text goes, wherever they stand; the log line after
    a withheld one, which holds its hash.
    """
    shown, gone = sealed.shown, set(chosen)
    found: dict[str, str] = {}
    for path in gone:
        found |= dict.fromkeys(_parts_with(path, shown), "It belongs to a record that is withheld.")
    if any(path.startswith(("facts/", "assessment/")) for path in (*gone, *sealed.hidden)):
        whole = [path for path, value in shown.items() if _tells_of_the_whole(path, value)]
        found |= dict.fromkeys(whole, "It holds a hash over the whole record.")
    found |= _with_hashes(gone | found.keys(), shown)
    found |= _log_after(gone | found.keys(), shown)
    found |= _repeating(gone | found.keys() | set(sealed.hidden))
    return {path: why for path, why in found.items() if path in shown and path not in gone}


def _with_hashes(gone: set[str], shown: Mapping[str, Any]) -> dict[str, str]:
    """Entries with the hash of a record that goes."""
    hashes = _hashes_of(gone, shown)
    places = [path for path in shown if path not in gone and not path.startswith("packet/")] if hashes else []
    found = [path for path in places if any(known in _text(shown[path]) for known in hashes)]
    return dict.fromkeys(found, "It holds a hash from which a withheld text could be guessed.")


def _repeating(gone: set[str]) -> dict[str, str]:
    """The files that repeat the entries, and the hash over one of them."""
    found = {}
    if any(path.startswith("facts/") for path in gone):
        found["files/facts.json"] = "The file repeats what is withheld."
        found["assessment/facts_sha256"] = "It is a hash over what is withheld."
    if any(path.startswith("assessment/") for path in (*gone, *found)):
        found["files/assessment.json"] = "The file repeats what is withheld."
    return found


def _parts_with(path: str, shown: Mapping[str, Any]) -> list[str]:
    """The parts of a record that is withheld whole; the hash of one of which a part is."""
    part = part_of(path)
    if part is None:
        return [other for other in shown if other.startswith(f"{path}/")] if path.count("/") == 2 else []
    own = f"{part[0]}/{part[1]}/sha256"
    return [own] if own in shown and own != path else []


def _hashes_of(paths: Iterable[str], shown: Mapping[str, Any]) -> set[str]:
    found = set()
    for path in paths:
        value = shown.get(path)
        if path.endswith("/sha256") and isinstance(value, str) and len(value) == 64:
            found.add(value)
        # A whole record of a list without parts holds its own hash.
        elif path.startswith("facts/") and isinstance(value, Mapping) and "number" not in value:
            found |= {str(value["sha256"])} if "sha256" in value else set()
    return found - {WITHHELD_HASH}


def _tells_of_the_whole(path: str, value: Any) -> bool:
    """Whether a log entry holds a hash over all facts or the whole judgement at some time.

    With all else known, a withheld number could be tried against it until it fits.
    """
    if not path.startswith("log/") or not isinstance(value, Mapping):
        return False
    return bool(json.loads(value["entry"]).get("what") == VERDICT_COMPUTED)


def _text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def _log_after(gone: set[str], shown: Mapping[str, Any]) -> dict[str, str]:
    """The line after each log line that goes, and what the packet tells of the newest one."""
    found = {}
    for path in sorted(path for path in gone if path.startswith("log/")):
        found[f"log/{int(path.removeprefix('log/')) + 1:09d}"] = "It holds the hash of the entry before it."
    # These lines go themselves, and the newest entry may be one of them.
    lines = [shown[path]["hash"] for path in (*gone, *found) if path.startswith("log/") and path in shown]
    if shown.get(LOG_HEAD) in lines:
        found[LOG_HEAD] = "It is the hash of the newest log entry, which is withheld."
    return found
