"""The manifest of a packet checked: its tree, the files it lists, the data it repeats, its log."""

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from rules.canonical import CanonicalError, canonical_bytes
from rules.merkle import SALT_BYTES, entry_leaf, tree_root
from rules.seal.enclosed import (
    ASSESSMENT_NAME,
    BESIDE,
    FACTS_NAME,
    MANIFEST_NAME,
    REDACTION_NAME,
    Enclosed,
    PartError,
    read_object,
)
from rules.seal.entries import EntryError, flatten
from rules.seal.report import MOST_NAMED, Line, judged, not_checked

_SHIPPED = frozenset({"path", "salt", "value"})
_WITHHELD = frozenset({"path", "leaf"})


def tree_line(enclosed: Enclosed) -> Line:
    """Every entry is a leaf, by its value and salt or by its bare hash; the leaves lead to the root."""
    faults: list[str] = []
    leaves: list[bytes] = []
    paths = [entry["path"] for entry in enclosed.entries]
    for entry in enclosed.entries:
        leaf = _leaf(entry)
        if leaf is None:
            faults.append(entry["path"])
        else:
            leaves.append(leaf)
    if paths != sorted(paths, key=_path_order) or len(set(paths)) != len(paths):
        faults.append(f"{MANIFEST_NAME}: order of its entries")
    if not faults and tree_root(leaves).hex() != enclosed.root:
        faults.append(f"{MANIFEST_NAME}: tree root")
    if not faults and not _is_canonical(enclosed):
        faults.append(f"{MANIFEST_NAME}: the way it is written")
    hidden = len(enclosed.withheld())
    return judged(
        "tree",
        faults,
        f"{len(leaves)} entries lead to the root"
        + (f"; of {hidden} of them only the hash is shown." if hidden else "."),
        "The entries do not lead to the root: something in the manifest was changed.",
    )


def _path_order(path: str) -> bytes:
    return path.encode("utf-8", "surrogatepass")


def _is_canonical(enclosed: Enclosed) -> bool:
    try:
        return canonical_bytes(enclosed.manifest) == enclosed.files[MANIFEST_NAME]
    except CanonicalError:
        return False


def _leaf(entry: dict[str, Any]) -> bytes | None:
    """The leaf of one entry, given or computed; None where neither is possible, or both are offered."""
    try:
        if set(entry) == _WITHHELD:
            leaf = bytes.fromhex(entry["leaf"])
            return leaf if len(leaf) == 32 else None
        if set(entry) != _SHIPPED:
            return None
        salt = bytes.fromhex(entry["salt"])
        if len(salt) != SALT_BYTES:
            return None
        return entry_leaf({entry["path"]: entry["value"]}, salt)
    except (ValueError, TypeError, CanonicalError):
        return None


# ------------------------------------------------------------------ files


def is_original(name: str) -> bool:
    """Whether a file is an evidence original, or a painted picture in its place: those travel in the bundle
    and are not attached to the PDF."""
    return name.startswith(("evidence-", "redacted-"))


def files_line(enclosed: Enclosed, deleted: Mapping[str, str] = {}) -> Line:
    """Every listed file that should be there is there with its hash and size, and none besides.

    Args:
        deleted: SHA-256 of originals that the log proves to be deleted, and the words for it.
    """
    faults, good = [], 0
    listed = dict(enclosed.listed())
    for name, value in listed.items():
        found = enclosed.digests.get(name)
        if found is None:
            if _should_be_there(enclosed, name, value) and not _is_deleted(name, value, deleted):
                faults.append(f"{name} (missing)")
        elif found.sha256 != value.get("sha256") or found.size != value.get("bytes"):
            faults.append(name)
        else:
            good += 1
    extra = set(enclosed.digests) - set(listed) - BESIDE - set(_derived(enclosed))
    faults += [f"{name} (not in the manifest)" for name in sorted(extra)]
    return judged(
        "files", faults, f"{good} enclosed files have their hashes.", "An enclosed file is not as it was."
    )


def _derived(enclosed: Enclosed) -> list[str]:
    """Names of pictures that the redaction list says were made in place of originals."""
    try:
        told = read_object(enclosed.files[REDACTION_NAME], REDACTION_NAME)
        return [str(picture["derived"]["name"]) for picture in told["pictures"]]
    except (KeyError, TypeError, PartError):
        return []


def _should_be_there(enclosed: Enclosed, name: str, value: dict[str, Any]) -> bool:
    if "withheld" in value:
        return False
    return enclosed.has_originals or not is_original(name)


def _is_deleted(name: str, value: dict[str, Any], deleted: Mapping[str, str]) -> bool:
    return is_original(name) and str(value.get("sha256")) in deleted


def originals_line(enclosed: Enclosed, deleted: Mapping[str, str] = {}) -> Line:
    """What was seen of the evidence originals; never that one agrees which was not there."""
    listed = {name: value for name, value in enclosed.listed() if is_original(name)}
    kept = [name for name in listed if name in enclosed.digests]
    left_out = [
        name for name, value in listed.items() if name not in enclosed.digests and "withheld" in value
    ]
    hidden = [path for path in enclosed.withheld() if path.startswith("files/evidence-")]
    elsewhere = [name for name in listed if name not in enclosed.digests and name not in left_out]
    gone = [name for name in elsewhere if _is_deleted(name, listed[name], deleted)]
    elsewhere = [name for name in elsewhere if name not in gone]
    told = [f"{name} is {deleted[listed[name]['sha256']]}" for name in gone[:MOST_NAMED]]
    if len(gone) > MOST_NAMED:
        told.append(f"{len(gone) - MOST_NAMED} more are deleted too, as the additions tell")
    if elsewhere:
        told.append(f"{len(elsewhere)} are not in this file, only their hashes; they travel in the bundle")
    if left_out or hidden:
        told.append(f"{len(left_out) + len(hidden)} are withheld from this copy")
    if told:
        return not_checked("originals", f"Of the originals, {len(kept)} are here; {'; '.join(told)}.")
    faults = [
        name
        for name in kept
        if (enclosed.digests[name].sha256, enclosed.digests[name].size)
        != (listed[name].get("sha256"), listed[name].get("bytes"))
    ]
    return judged(
        "originals", faults, f"All {len(kept)} originals are here, unchanged.", "An original was changed."
    )


# ------------------------------------------------------------------ content


def content_line(enclosed: Enclosed) -> Line:
    """The manifest's statements are those of the enclosed facts and assessment."""
    faults, missing = [], []
    shown = enclosed.values()
    for prefix, name in (("facts", FACTS_NAME), ("assessment", ASSESSMENT_NAME)):
        if name not in enclosed.files and is_withheld(enclosed, name):
            missing.append(name)
        elif not _says_the_same(enclosed, prefix, name, shown):
            faults.append(name)
    if missing and not faults:
        text = f"{' and '.join(missing)} is withheld as a file; what is shown of it stands in the manifest."
        return not_checked("content", text)
    return judged("content", faults, "Manifest and enclosed data say the same.", "They do not say the same.")


def is_withheld(enclosed: Enclosed, name: str) -> bool:
    """Whether the manifest withholds the file of that name: only its leaf is there, or it says so."""
    value = enclosed.value(f"files/{name}")
    if isinstance(value, dict):
        return "withheld" in value
    return f"files/{name}" in enclosed.withheld()


def _says_the_same(enclosed: Enclosed, prefix: str, name: str, shown: dict[str, Any]) -> bool:
    try:
        wanted = dict(flatten(prefix, read_object(enclosed.files[name], name), enclosed.form))
    except (KeyError, ValueError, AttributeError, TypeError, PartError, EntryError):
        return False
    told = {path: value for path, value in shown.items() if path.startswith(f"{prefix}/")}
    try:
        return canonical_bytes(told) == canonical_bytes(wanted)
    except CanonicalError:
        return False


# ------------------------------------------------------------------ log


def log_line(enclosed: Enclosed) -> Line:
    """Each entry's hash from its content and the hash before it; neighbours must link."""
    rows = [
        (entry["path"].removeprefix("log/"), entry["value"])
        for entry in enclosed.entries
        if entry["path"].startswith("log/") and "value" in entry
    ]
    faults = chain_faults(rows)
    return judged("log", faults, f"{len(rows)} log entries have their hashes.", "A log entry was changed.")


def chain_faults(rows: list[tuple[str, Any]]) -> list[str]:
    """What is wrong with log entries given by number: {entry, prev, hash} each, in order of their numbers."""
    faults = []
    last_n, last_hash = -1, ""
    for number, value in rows:
        n = int(number) if number.isascii() and number.isdigit() else -1
        try:
            computed = hashlib.sha256(bytes.fromhex(value["prev"]) + value["entry"].encode()).hexdigest()
            told, prev, numbered = value["hash"], value["prev"], json.loads(value["entry"]).get("n")
        except (KeyError, ValueError, AttributeError, TypeError, RecursionError):
            computed, told, prev, numbered = "", "?", "", None
        linked = n != last_n + 1 or prev == last_hash
        if n < 1 or n <= last_n or computed != told or not linked or numbered != n:
            faults.append(f"log entry {number.lstrip('0') or number}")
        last_n, last_hash = n, str(told)
    return faults
