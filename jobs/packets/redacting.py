"""A redacted packet out of a sealed one: the same tree with leaves where something is withheld.

The new source is put together from the entries that are still shipped, so it holds nothing of the others.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

from jobs.packets.entry_names import SINGLE_FIELDS
from jobs.packets.following import Sealed
from jobs.packets.source import (
    EnclosedFile,
    NotJudgedAgain,
    OrderCard,
    PacketSource,
    RedactedPicture,
    Redaction,
    SignerCard,
    WithheldItem,
)
from rules.assess import assess
from rules.canonical import PlainError, canonical_bytes, from_plain
from rules.facts import JobFacts
from rules.merkle import entry_leaf, tree_root
from rules.packs.model import PackSet
from rules.packs.reader import read_pack
from rules.result import Assessment
from rules.seal.entries import (
    WITHHELD_TEXT,
    EntryError,
    filling,
    is_text_only,
    rebuild,
)
from rules.seal.redaction_check import FORMAT, must_be_shown

WORD: Final = "withheld"


class NotThisPacketError(ValueError):
    """The entries do not lead to the packet's root: it was changed, and nothing is derived from it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Painted:
    """A painted picture with the hashes of its page copies."""

    picture: RedactedPicture
    copy_sha256: str
    large_sha256: str


def page_filling(where: str, part: str) -> Any:
    """What the pages show for a withheld part: a record stays where its other parts can be told."""
    known = filling(where, part)
    if known is not None:
        return known
    return {"vin_per_module": [], "qualifications": [], "covers": {"covers": [], "covers_root": ""}}.get(
        part, WITHHELD_TEXT
    )


# ------------------------------------------------------------------ the derived source


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is to be withheld beside what the sealed packet withholds already."""

    serial: str
    made_at: datetime
    made_by: str
    items: tuple[WithheldItem, ...]
    painted: tuple[Painted, ...]


def redacted_source(sealed: Sealed, wanted: Wanted, signer: SignerCard | None = None) -> PacketSource:
    """The source of the redacted packet, which announces the key in use now.

    Raises:
        NotThisPacketError: the sealed entries do not lead to their root.
        PlainError, EntryError: what is left cannot be put on pages.
    """
    before = sealed.source.redaction
    originals = [f"files/{item.picture.original_name}" for item in wanted.painted]
    gone = {item.path for item in wanted.items} | set(originals) | set(sealed.hidden)
    if kept := sorted(path for path in gone - set(sealed.hidden) if must_be_shown(path)):
        raise EntryError(f"{kept[0]} would have to go with it, and that is always shown")
    manifest = _manifest(sealed, gone)
    shown = {path: value for path, value in sealed.shown.items() if path not in gone}
    items = (*(before.items if before else ()), *wanted.items)
    pictures = _pictures(before.pictures if before else (), wanted.painted)
    assessment = _assessment(shown)
    redaction = Redaction(
        of=sealed.source.serial,
        serial=wanted.serial,
        made_at=wanted.made_at,
        made_by=wanted.made_by,
        text="",
        manifest=manifest,
        items=items,
        pictures=pictures,
        not_judged_again=_not_judged_again(sealed.source, shown, items),
    )
    redaction = replace(redaction, text=_told(redaction, sealed, gone))
    return replace(
        sealed.source,
        facts=_facts(shown),
        assessment=assessment,
        order=_order(shown),
        files=_files(sealed.source, shown, wanted.painted),
        log=tuple(line for line in sealed.source.log if f"log/{line.n:09d}" in shown),
        log_head=shown.get("packet/log_head", ""),
        production=tuple(
            copy for place, copy in enumerate(sealed.source.production) if f"production/{place:05d}" in shown
        ),
        withheld=tuple(sorted(gone)),
        redaction=redaction,
        signer=signer,
    )


def _manifest(sealed: Sealed, gone: set[str]) -> str:
    """The entries as sealed, with the bare leaf where something goes; they still lead to the same root."""
    rows, leaves = [], []
    for entry in sealed.entries:
        if "leaf" in entry:
            leaf = bytes.fromhex(entry["leaf"])
        else:
            leaf = entry_leaf({entry["path"]: entry["value"]}, bytes.fromhex(entry["salt"]))
        leaves.append(leaf)
        is_gone = entry["path"] in gone
        rows.append({"path": entry["path"], "leaf": leaf.hex()} if is_gone else dict(entry))
    if tree_root(leaves).hex() != sealed.root:
        raise NotThisPacketError(sealed.root)
    return canonical_bytes({"format": "packet manifest 2", "root": sealed.root, "entries": rows}).decode()


def _facts(shown: Mapping[str, Any]) -> JobFacts:
    plain = rebuild("facts", shown, page_filling)
    for path in SINGLE_FIELDS:
        pieces = path.split("/")[1:]
        place = plain if len(pieces) == 1 else plain.setdefault(pieces[0], {})
        if path not in shown:
            place[pieces[-1]] = WORD
    return from_plain(JobFacts, plain)


def _assessment(shown: Mapping[str, Any]) -> Assessment:
    return from_plain(Assessment, rebuild("assessment", shown, page_filling))


def _order(shown: Mapping[str, Any]) -> OrderCard:
    names = ("customer_name", "customer_contact", "payer", "claim_number", "plate")
    return OrderCard(**{name: shown.get(f"order/{name}", WORD) for name in names})


def _files(
    source: PacketSource, shown: Mapping[str, Any], painted: tuple[Painted, ...]
) -> tuple[EnclosedFile, ...]:
    """Files that are still told of; a painted picture stands where its original stood."""
    new = {item.picture.evidence_id: item for item in painted}
    files = []
    for file in source.files:
        told = file
        if file.set_aside_at is not None and f"set_aside/{_original(source, file)}" not in shown:
            told = replace(told, set_aside_by=WORD, set_aside_reason=WITHHELD_TEXT)
        if file.evidence_id in new:
            files.append(_painted_file(told, new[file.evidence_id]))
        elif f"files/{file.name}" in shown or file.name.startswith("redacted-"):
            files.append(told)
    return tuple(files)


def _original(source: PacketSource, file: EnclosedFile) -> str:
    known = {
        item.name: item.original_name for item in (source.redaction.pictures if source.redaction else ())
    }
    return known.get(file.name, file.name)


def _painted_file(file: EnclosedFile, painted: Painted) -> EnclosedFile:
    return replace(
        file,
        name=painted.picture.name,
        media_type="image/jpeg",
        sha256=painted.picture.sha256,
        size_bytes=painted.picture.size_bytes,
        copy_sha256=painted.copy_sha256,
        large_sha256=painted.large_sha256,
    )


def _pictures(
    before: tuple[RedactedPicture, ...], painted: tuple[Painted, ...]
) -> tuple[RedactedPicture, ...]:
    new = {item.picture.evidence_id: item.picture for item in painted}
    kept = [item for item in before if item.evidence_id not in new]
    return tuple(sorted((*kept, *new.values()), key=lambda item: item.number))


# ------------------------------------------------------------------ what is told of it


def _told(redaction: Redaction, sealed: Sealed, gone: set[str]) -> str:
    """The exact content of redaction.json."""
    named = {item.path for item in redaction.items}
    named |= {f"files/{item.original_name}" for item in redaction.pictures}
    counts: dict[str, int] = {}
    for kind in (*(item.kind for item in redaction.items), *(item.kind for item in redaction.pictures)):
        counts[kind] = counts.get(kind, 0) + 1
    told = {
        "format": FORMAT,
        "of": redaction.of,
        "serial": redaction.serial,
        "root": sealed.root,
        "made_at": redaction.made_at.isoformat().replace("+00:00", "Z"),
        "fields": [
            {
                "path": item.path,
                "where": item.where,
                "kind": item.kind,
                "why": item.why,
                "follows": item.follows,
            }
            for item in redaction.items
        ],
        "pictures": [
            {
                "file": item.original_name,
                "number": item.number,
                "kind": item.kind,
                "why": item.why,
                "regions": item.regions,
                "derived": {"name": item.name, "sha256": item.sha256, "bytes": item.size_bytes},
            }
            for item in redaction.pictures
        ],
        "by_kind": sorted(gone - named),
        "not_judged_again": [
            {
                "procedure_id": item.procedure_id,
                "proof_id": item.proof_id,
                "title": item.title,
                "because": item.because,
            }
            for item in redaction.not_judged_again
        ],
        "counts": counts,
    }
    return canonical_bytes(told).decode()


def packs_of(source: PacketSource) -> PackSet:
    """The enclosed rule texts as the judgement takes them."""
    return PackSet(
        editions=tuple(
            read_pack(pack.text.encode(), name=f"{pack.pack} {pack.edition}") for pack in source.packs
        ),
        withdrawn_on={
            (pack.pack, pack.edition): pack.withdrawn_on
            for pack in source.packs
            if pack.withdrawn_on is not None
        },
    )


def _not_judged_again(
    source: PacketSource, shown: Mapping[str, Any], items: tuple[WithheldItem, ...]
) -> tuple[NotJudgedAgain, ...]:
    """The verdicts that come out otherwise, or not at all, from what is left."""
    missing = [item for item in items if item.path.startswith("facts/") and not is_text_only(item.path)]
    told = source.assessment
    if not missing:
        return ()
    where = ", ".join(dict.fromkeys(item.where for item in missing[:3]))
    because = where + (f" and {len(missing) - 3} more" if len(missing) > 3 else "")
    again: dict[tuple[str, str], tuple[str, tuple[str, ...]]] = {}
    try:
        facts = from_plain(JobFacts, rebuild("facts", shown))
        judged = assess(packs_of(source), facts, as_of=told.gate_at)
        again = {
            (item.procedure_id, item.proof_id): (item.verdict, item.outcome.reasons)
            for item in judged.findings
        }
    except (PlainError, EntryError):
        pass
    return tuple(
        NotJudgedAgain(
            procedure_id=item.procedure_id,
            proof_id=item.proof_id,
            title=item.title,
            because=f"{because} {'is' if len(missing) == 1 else 'are'} withheld",
        )
        for item in told.findings
        if again.get((item.procedure_id, item.proof_id)) != (item.verdict, item.outcome.reasons)
    )
