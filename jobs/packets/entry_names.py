"""Entries of a packet in plain words: what a person who redacts chooses from, and what a reader is told."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from jobs.packets.strangers import strings_in
from rules.record_names import RecordNames
from rules.seal.entries import ORDER, part_of
from rules.seal.redaction_check import LOG_HEAD, must_be_shown

_ORDER: Final = {
    "customer_name": "Customer's name",
    "customer_contact": "Customer's contact",
    "payer": "Payer",
    "claim_number": "Claim number",
    "plate": "Licence plate",
}
_PARTS: Final = {
    "vin_read": "VIN read",
    "text": "text",
    "result_text": "text of the result",
    "vin_per_module": "VIN of each module",
    "file_name": "name of the file",
    "reason": "reason",
    "instead": "what was done instead",
    "refused_by_name": "name of the person",
    "lamp_state": "lamps as told",
    "void_reason": "why the floor changed",
    "name": "name",
    "login": "login",
    "qualifications": "qualifications",
    "words": "words of the verdict",
    "attempts": "attempts",
    "person": "person",
    "covers": "what it covers",
    "sha256": "hash",
}
_FOLDERS: Final = {
    "log": "Log entry",
    "files": "File",
    "production": "Copy given out",
    "packs": "Rule text",
}
# Entries that hold the packet together: without them nobody could say what is left.
KEPT_FOLDERS: Final = ("packet/", "packs/")
# Single fields outside lists that may be withheld, and what stands for them on the pages.
SINGLE_FIELDS: Final = {
    "facts/vehicle/vin": "Vehicle: VIN",
    "facts/place/name": "Place: name",
    "facts/organisation": "Organisation: name",
}
LONGEST_SHOWN: Final = 160


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedEntry:
    """One entry to choose: ``where`` in plain words, ``shown`` a short text of what it holds."""

    path: str
    group: str
    where: str
    shown: str


class EntryNames:
    """Plain names for the entries of one packet."""

    def __init__(self, records: RecordNames, people: Mapping[str, str], numbers: Mapping[str, int]) -> None:
        """``people``: name by person id; ``numbers``: evidence number by file name."""
        self.records = records
        self.people = people
        self.numbers = numbers

    def where(self, path: str) -> str:
        """``Waiver of photos: reason``; the path itself where nothing better is known."""
        pieces = path.split("/")
        if path in SINGLE_FIELDS:
            return SINGLE_FIELDS[path]
        if path == LOG_HEAD:
            return "Hash of the newest log entry"
        if pieces[0] == "order":
            return _ORDER.get(pieces[1], pieces[1])
        if pieces[0] in ("facts", "assessment"):
            return self._fact(path, pieces) if pieces[0] == "facts" else self._judgement(path, pieces)
        if pieces[0] in ("files", "set_aside"):
            return self._file(pieces)
        known = _FOLDERS.get(pieces[0])
        return f"{known} {pieces[-1].lstrip('0') or '0'}" if known else path

    def _fact(self, path: str, pieces: list[str]) -> str:
        if len(pieces) < 3:
            return f"Record: {pieces[1].replace('_', ' ')}"
        part = part_of(path)
        what = f": {_PARTS.get(part[2], part[2])}" if part else ""
        if pieces[1] == "people":
            return f"Person {self.people.get(pieces[2], pieces[2])}{what}"
        name = self.records.name(pieces[2])
        known = name if name != pieces[2] else f"{pieces[1].replace('_', ' ')} {pieces[2]}"
        return f"{known[:1].upper()}{known[1:]}{what}"

    def _judgement(self, path: str, pieces: list[str]) -> str:
        part = part_of(path)
        what = f": {_PARTS.get(part[2], part[2])}" if part else ""
        if len(pieces) > 2:
            number = pieces[2].lstrip("0") or "0"
            return f"Judgement, {pieces[1].replace('_', ' ')} {number}{what}"
        return f"Judgement: {pieces[1].replace('_', ' ')}"

    def _file(self, pieces: list[str]) -> str:
        number = self.numbers.get(pieces[1])
        if pieces[0] == "set_aside":
            return f"Evidence {number}: why it was set aside"
        return f"Evidence {number}: the file itself" if number is not None else f"File {pieces[1]}"


def may_be_withheld(path: str) -> bool:
    """Whether a person may choose this entry."""
    if path.startswith(KEPT_FOLDERS) or path.endswith(f"/{ORDER}") or must_be_shown(path):
        return False
    if path.startswith("files/"):
        return path.startswith("files/evidence-")
    pieces = path.split("/")
    if pieces[0] in ("order", "log", "production", "set_aside"):
        return True
    # A field of a list's record, a record, or one of the few single fields that the pages can do without.
    return path in SINGLE_FIELDS or (len(pieces) > 2 and pieces[1] not in ("vehicle", "place", "opened"))


def choosable(shown: Mapping[str, Any], names: EntryNames) -> tuple[NamedEntry, ...]:
    """Every entry that holds words and may be chosen, in the order a person looks for them."""
    found = []
    for path, value in shown.items():
        if not may_be_withheld(path) or path.startswith(("log/", "assessment/requirements")):
            continue
        text = " ".join(text for text in strings_in(value) if text.strip())
        if text:
            found.append(
                NamedEntry(path=path, group=_group(path), where=names.where(path), shown=text[:LONGEST_SHOWN])
            )
    return tuple(sorted(found, key=lambda entry: (_GROUPS.index(entry.group), entry.where, entry.path)))


_GROUPS: Final = ("Customer and car", "People", "What people wrote", "Records", "Files", "Verdicts", "Other")


def _group(path: str) -> str:
    if path.startswith("order/") or path == "facts/vehicle/vin":
        return "Customer and car"
    if path.startswith("facts/people/"):
        return "People"
    if path.startswith("set_aside/") or ((part := part_of(path)) and part[2] in _WRITTEN):
        return "What people wrote"
    if path.startswith("files/"):
        return "Files"
    if path.startswith("facts/"):
        return "Records"
    return "Verdicts" if path.startswith("assessment/") else "Other"


_WRITTEN: Final = frozenset(
    {"reason", "instead", "text", "result_text", "refused_by_name", "lamp_state", "file_name", "void_reason"}
)
