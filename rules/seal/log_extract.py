"""Log entries about a packet after its freezing: sealed, signed, added to; each proven in a later log."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from rules.seal.enclosed import Enclosed, PartError, read_canonical
from rules.seal.log_proofs import entry_leaf, shows_consistency, shows_inclusion
from rules.seal.manifest_check import chain_faults
from rules.seal.report import Line, differs, judged, not_checked
from rules.seal.sealing import Sealing, SignedHead, entry_content, read_hashes, read_signed_head
from rules.seal.sealing_check import SEALED, signed_head_fault

FORMAT: Final = "log extract 1"
NAME: Final = "log-extract.json"
SIGNED: Final = "packet.signed"
# In place of the former where no key was set up: the file is finished without a signature.
UNSIGNED: Final = "packet.left_unsigned"
ADDED: Final = "packet.added_to"
_NAMES: Final = frozenset(
    {"format", "packet", "entries", "head", "head_signature", "certificate", "is_demo", "consistency"}
)
_ENTRY: Final = frozenset({"n", "entry", "prev", "hash", "proof"})


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtractEntry:
    """One entry; ``proof`` leads to the extract's head, empty where the entry came after it."""

    n: int
    content: Mapping[str, Any]
    entry: str
    prev: str
    hash: str
    proof: tuple[bytes, ...]

    @property
    def what(self) -> str:
        return str(self.content.get("what", ""))

    @property
    def detail(self) -> Mapping[str, Any]:
        found = self.content.get("detail")
        return found if isinstance(found, Mapping) else {}


@dataclass(frozen=True, slots=True, kw_only=True)
class Extract:
    """``consistency`` leads from the head of the sealing to ``later``."""

    packet: str
    entries: tuple[ExtractEntry, ...]
    later: SignedHead
    consistency: tuple[bytes, ...]

    def of(self, what: str) -> tuple[ExtractEntry, ...]:
        return tuple(entry for entry in self.entries if entry.what == what)


def read_extract(data: bytes) -> Extract:
    """Reads log-extract.json strictly. Raises ``PartError``."""
    plain = read_canonical(data, NAME)
    if set(plain) != _NAMES or plain["format"] != FORMAT or not isinstance(plain["entries"], list):
        raise PartError(f"{NAME} has another form")
    return Extract(
        packet=str(plain["packet"]),
        entries=tuple(_entry(one) for one in plain["entries"]),
        later=read_signed_head(plain),
        consistency=read_hashes(plain["consistency"]),
    )


def _entry(plain: object) -> ExtractEntry:
    if not isinstance(plain, dict) or set(plain) != _ENTRY or type(plain["n"]) is not int:
        raise PartError(f"{NAME} has an entry of another form")
    return ExtractEntry(
        n=plain["n"],
        content=entry_content(plain["entry"]),
        entry=plain["entry"],
        prev=str(plain["prev"]),
        hash=str(plain["hash"]),
        proof=read_hashes(plain["proof"]),
    )


def extract_line(
    extract: Extract, sealing: Sealing, *, pdf_sha256: str, later_key: str | None = None
) -> Line:
    """The entries hang together, stand in the log of the later head, and speak of this sealing and this file.

    Args:
        pdf_sha256: hash of the sealed file; empty where it is not known.
        later_key: fingerprint of a key that the reader knows besides the one of the seal.
    """
    rows: list[tuple[str, Any]] = [
        (str(one.n), {"entry": one.entry, "prev": one.prev, "hash": one.hash}) for one in extract.entries
    ]
    faults = [f"{NAME}: {fault}" for fault in chain_faults(rows)]
    faults += _head_faults(extract, sealing)
    faults += [f"{NAME}: log entry {one.n}" for one in extract.entries if not _is_proven(extract, one)]
    if sealing.entry not in [one.entry for one in extract.entries]:
        faults.append(f"{NAME}: the entry of the sealing is not in it")
    told = [str(one.detail.get("pdf_sha256", "")) for one in (*extract.of(SIGNED), *extract.of(UNSIGNED))]
    if len(told) != 1:
        faults.append(f"{NAME}: the one entry that tells the finished file's hash is not in it")
    elif pdf_sha256 and told != [pdf_sha256]:
        faults.append(f"{NAME}: it tells of another sealed file")
    after = [one for one in extract.entries if one.n > extract.later.head.size]
    good = f"{len(extract.entries) - len(after)} entries stand in the log of {extract.later.head.size}."
    if not extract.later.is_signed:
        good += " That log's head is not signed."
    if after:
        good += f" {len(after)} came after its head and only hang together among themselves."
    other = other_key(extract, sealing)
    if other and other != later_key and not faults:
        # Whoever has the bundle can write on in the log and sign what comes of it with a key of his own.
        return not_checked(
            "log extract",
            f"{good} But its head is signed by another key than the seal, {other}. Unless you know that key "
            "as the workshop's, nothing after the sealing is proven.",
        )
    return judged("log extract", faults, good, "The later log entries do not hold together.")


def _head_faults(extract: Extract, sealing: Sealing) -> list[str]:
    first, later = sealing.sealed, extract.later
    faults = []
    if first.head.organisation != later.head.organisation or not shows_consistency(
        first.head.size,
        later.head.size,
        first.head.root_bytes,
        later.head.root_bytes,
        extract.consistency,
    ):
        faults.append(f"{NAME}: its head does not continue the log of the sealing")
    if later.is_signed and (fault := signed_head_fault(later)):
        faults.append(f"{NAME}: its head ({fault})")
    if first.is_signed and not later.is_signed:
        faults.append(f"{NAME}: its head has no signature")
    return faults


def _is_proven(extract: Extract, one: ExtractEntry) -> bool:
    head = extract.later.head
    if one.content.get("organisation") != head.organisation:
        return False
    if one.n > head.size:
        return not one.proof
    leaf = entry_leaf(dict(one.content))
    return shows_inclusion(leaf, one.n - 1, head.size, one.proof, head.root_bytes)


def origin_line(extract: Extract | None, enclosed: Enclosed) -> Line:
    """The packet that a redacted one was made from, as the log sealed it: the same root, so the same tree.

    Without it whoever holds the key could change an entry and seal the copy as if it had been so before.
    """
    what, serial = "origin", enclosed.serial
    sealed = [one for one in extract.of(SEALED) if one.detail.get("packet") == serial] if extract else []
    if not sealed:
        return not_checked(
            what,
            f"The log extract does not hold the sealing of {serial or 'the packet it was made from'}. "
            "Compare the root with that packet's, if you have it.",
        )
    return judged(
        what,
        [f"{NAME}: log entry {one.n} (root)" for one in sealed if one.detail.get("root") != enclosed.root],
        f"Log entry {sealed[0].n} sealed {serial} with the same root; this copy only leaves things out.",
        f"{serial} was sealed with another root: this is not a copy of it with things left out.",
    )


def other_key(extract: Extract, sealing: Sealing) -> str:
    """Fingerprint of the extract's key where it is not the key of the sealing."""
    return extract.later.key_sha256 if extract.later.key_sha256 != sealing.sealed.key_sha256 else ""


def unreadable(error: PartError) -> Line:
    """The line for an extract that cannot be read."""
    return differs("log extract", f"The log extract cannot be read: {error}.", NAME)
