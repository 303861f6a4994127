"""Checking a packet file without trusting its maker: tree, files, log extract, every verdict once more."""

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any, Final, Literal

from jobs.packets.enclosed import RECIPIENT_NAME, Enclosed, read_packet
from jobs.packets.manifest import ASSESSMENT_NAME, FACTS_NAME, MANIFEST_NAME, flatten
from rules.assess import assess
from rules.canonical import CanonicalError, PlainError, canonical_bytes, from_plain, sha256_hex, to_plain
from rules.facts import JobFacts
from rules.merkle import SALT_BYTES, entry_leaf, tree_root
from rules.packs.errors import PackError
from rules.packs.model import PackEdition, PackSet
from rules.packs.reader import read_pack
from rules.result import Assessment

Result = Literal["agrees", "differs", "not_checked"]
# Says whether the bytes with this hash still lie in storage unchanged; None where that cannot be known.
StoredCheck = Callable[[str], bool | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One thing that was checked; ``at_fault`` names the files, entries or proofs that do not agree."""

    what: str
    result: Result
    text: str
    at_fault: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """The outcome for one file. It is about integrity: it does not say that a claim in the packet is true."""

    serial: str
    root: str
    pdf_sha256: str
    lines: tuple[Line, ...]

    @property
    def agrees(self) -> bool:
        return all(line.result != "differs" for line in self.lines)

    @property
    def at_fault(self) -> tuple[str, ...]:
        return tuple(name for line in self.lines for name in line.at_fault)

    def to_plain(self) -> dict[str, Any]:
        return {
            "serial": self.serial,
            "root": self.root,
            "pdf_sha256": self.pdf_sha256,
            "agrees": self.agrees,
            "lines": [asdict(line) for line in self.lines],
        }


def verify_pdf(
    pdf: bytes, *, stored: StoredCheck | None = None, expected_pdf_sha256: str | None = None
) -> Verification:
    """Checks one packet file.

    Args:
        pdf: the file.
        stored: asked for each evidence file of the packet; None where there is no storage to ask.
        expected_pdf_sha256: what the record says the sealed file hashes to; None where no record is at hand.

    Raises:
        NotAPacketError: the file cannot be read as a packet.
    """
    enclosed = read_packet(pdf)
    lines = [
        _pdf_line(enclosed, pdf, expected_pdf_sha256),
        _tree_line(enclosed),
        _files_line(enclosed),
        _content_line(enclosed),
        _log_line(enclosed),
        _stored_line(enclosed, stored),
        replay_line(enclosed),
    ]
    return Verification(
        serial=str(enclosed.value("packet/serial") or ""),
        root=enclosed.root,
        pdf_sha256=sha256_hex(pdf),
        lines=tuple(lines),
    )


def _line(what: str, at_fault: list[str], good: str, bad: str) -> Line:
    if at_fault:
        return Line(what=what, result="differs", text=bad, at_fault=tuple(at_fault))
    return Line(what=what, result="agrees", text=good)


# ------------------------------------------------------------------ the file, the tree, the attachments


def _pdf_line(enclosed: Enclosed, pdf: bytes, expected: str | None) -> Line:
    what = "file"
    if enclosed.recipient is not None:
        sealed = enclosed.recipient.get("sealed_pdf_sha256")
        if expected is not None and sealed != expected:
            return Line(
                what=what, result="differs", text="A copy of another file.", at_fault=(RECIPIENT_NAME,)
            )
        return Line(
            what=what,
            result="not_checked",
            text=f"A copy stamped for {enclosed.recipient.get('recipient')}; its pages come from the sealed "
            f"file {sealed}. Its attachments are checked below.",
        )
    if expected is None:
        return Line(what=what, result="not_checked", text="No record at hand says what this file hashes to.")
    same = sha256_hex(pdf) == expected
    return _line(
        what, [] if same else ["the PDF itself"], "The file is the sealed one.", "Not the sealed file."
    )


def _tree_line(enclosed: Enclosed) -> Line:
    faults: list[str] = []
    leaves: list[bytes] = []
    paths = [entry["path"] for entry in enclosed.entries]
    for entry in enclosed.entries:
        leaf = _leaf(entry)
        if leaf is None:
            faults.append(entry["path"])
        else:
            leaves.append(leaf)
    if paths != sorted(paths, key=str.encode) or len(set(paths)) != len(paths):
        faults.append(f"{MANIFEST_NAME}: order of its entries")
    if not faults and tree_root(leaves).hex() != enclosed.root:
        faults.append(f"{MANIFEST_NAME}: tree root")
    return _line(
        "tree",
        faults,
        f"{len(leaves)} entries lead to the root.",
        "The entries do not lead to the root: something in the manifest was changed.",
    )


def _leaf(entry: dict[str, Any]) -> bytes | None:
    """The leaf of one entry, given or computed; None where neither is possible."""
    try:
        if "leaf" in entry:
            leaf = bytes.fromhex(entry["leaf"])
            return leaf if len(leaf) == 32 else None
        salt = bytes.fromhex(entry["salt"])
        if len(salt) != SALT_BYTES or "value" not in entry:
            return None
        return entry_leaf({entry["path"]: entry["value"]}, salt)
    except (KeyError, ValueError, TypeError, CanonicalError):
        return None


FILES_PREFIX: Final = "files/"


def _listed_files(enclosed: Enclosed) -> Iterator[tuple[str, dict[str, Any]]]:
    for entry in enclosed.entries:
        if entry["path"].startswith(FILES_PREFIX) and isinstance(entry.get("value"), dict):
            yield entry["path"].removeprefix(FILES_PREFIX), entry["value"]


def _files_line(enclosed: Enclosed) -> Line:
    faults = []
    listed = dict(_listed_files(enclosed))
    for name, value in listed.items():
        data = enclosed.files.get(name)
        if data is None:
            faults.append(f"{name} (missing)")
        elif sha256_hex(data) != value.get("sha256") or len(data) != value.get("bytes"):
            faults.append(name)
    extra = set(enclosed.files) - set(listed) - {MANIFEST_NAME, RECIPIENT_NAME}
    faults += [f"{name} (not in the manifest)" for name in sorted(extra)]
    return _line(
        "files", faults, f"{len(listed)} attached files have their hashes.", "An attached file was changed."
    )


def _content_line(enclosed: Enclosed) -> Line:
    """The manifest's statements are those of the attached facts and assessment."""
    faults = []
    shown = {entry["path"]: entry.get("value") for entry in enclosed.entries if "value" in entry}
    for prefix, name in (("facts", FACTS_NAME), ("assessment", ASSESSMENT_NAME)):
        try:
            wanted = dict(flatten(prefix, json.loads(enclosed.files[name])))
        except (KeyError, ValueError, AttributeError):
            faults.append(name)
            continue
        told = {path: value for path, value in shown.items() if path.startswith(f"{prefix}/")}
        if canonical_bytes(told) != canonical_bytes(wanted):
            faults.append(name)
    return _line("content", faults, "Manifest and attached data say the same.", "They do not say the same.")


# ------------------------------------------------------------------ log, storage


def _log_line(enclosed: Enclosed) -> Line:
    """Each entry's hash from its content and the hash before it; neighbours must link."""
    faults = []
    last_n, last_hash = -1, ""
    count = 0
    for entry in enclosed.entries:
        if not entry["path"].startswith("log/") or not isinstance(entry.get("value"), dict):
            continue
        value, count = entry["value"], count + 1
        n = int(entry["path"].removeprefix("log/"))
        try:
            computed = hashlib.sha256(bytes.fromhex(value["prev"]) + value["entry"].encode()).hexdigest()
        except (KeyError, ValueError, AttributeError):
            computed = ""
        if computed != value.get("hash") or (n == last_n + 1 and value.get("prev") != last_hash):
            faults.append(f"log entry {n}")
        last_n, last_hash = n, str(value.get("hash"))
    return _line("log", faults, f"{count} log entries have their hashes.", "A log entry was changed.")


def _stored_line(enclosed: Enclosed, stored: StoredCheck | None) -> Line:
    if stored is None:
        return Line(what="storage", result="not_checked", text="No storage at hand.")
    faults = []
    count = 0
    for name, value in _listed_files(enclosed):
        if not name.startswith("evidence-"):
            continue
        count += 1
        if stored(str(value.get("sha256"))) is False:
            faults.append(f"{name} (stored file)")
    return _line(
        "storage", faults, f"{count} stored originals are unchanged.", "A stored original was changed."
    )


# ------------------------------------------------------------------ judging again


def replay_line(enclosed: Enclosed) -> Line:
    """Judges the enclosed facts by the enclosed packs again and compares every verdict."""
    what = "verdicts"
    try:
        facts = from_plain(JobFacts, json.loads(enclosed.files[FACTS_NAME]))
        told = from_plain(Assessment, json.loads(enclosed.files[ASSESSMENT_NAME]))
        packs = _pack_set(enclosed)
    except (KeyError, ValueError, PlainError, PackError) as error:
        return Line(
            what=what, result="differs", text=f"The data cannot be read: {error}", at_fault=(FACTS_NAME,)
        )
    again = assess(packs, facts, as_of=told.gate_at)
    if again.engine_version != told.engine_version:
        return Line(
            what=what,
            result="not_checked",
            text=f"Judged by engine {told.engine_version}; this is engine {again.engine_version}.",
        )
    return _compare(told, again)


def _pack_set(enclosed: Enclosed) -> PackSet:
    """The enclosed editions and the days on which some of them were withdrawn."""
    editions: list[PackEdition] = []
    withdrawn: dict[tuple[str, int], date] = {}
    for entry in enclosed.entries:
        if not entry["path"].startswith("packs/"):
            continue
        name = entry["path"].removeprefix("packs/")
        edition = read_pack(enclosed.files[name], name=name)
        editions.append(edition)
        day = entry["value"].get("withdrawn_on")
        if day is not None:
            withdrawn[edition.pack, edition.edition] = date.fromisoformat(day)
    return PackSet(editions=tuple(editions), withdrawn_on=withdrawn)


def _compare(told: Assessment, again: Assessment) -> Line:
    faults = [
        f"{key[0]} {key[1]}" for key in sorted(_verdicts(told).keys() | _verdicts(again).keys())
        if _verdicts(told).get(key) != _verdicts(again).get(key)
    ]  # fmt: skip
    if (told.verdict, told.disposition, told.left_against_hold) != (
        again.verdict,
        again.disposition,
        again.left_against_hold,
    ):
        faults.append("verdict and gate of the whole record")
    # The hash of the facts was taken of the record's own form; all else must be equal to the last digit.
    if not faults and canonical_bytes(to_plain(told)) != canonical_bytes(
        to_plain(replace(again, facts_sha256=told.facts_sha256))
    ):
        faults.append(ASSESSMENT_NAME)
    return _line(
        "verdicts",
        faults,
        f"{len(told.findings)} proofs judged again give the same verdicts.",
        "Judged again, the enclosed data give something else.",
    )


def _verdicts(assessment: Assessment) -> dict[tuple[str, str], tuple[str, tuple[str, ...]]]:
    return {
        (finding.procedure_id, finding.proof_id): (finding.verdict, finding.outcome.reasons)
        for finding in assessment.findings
    }
