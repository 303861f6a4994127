"""The frozen manifest: every statement and file of a packet as a salted leaf of one tree, with its root."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from jobs.packets.people import subjects_of, subjects_of_path
from jobs.packets.source import EnclosedFile, PacketSource, pack_file_name
from jobs.packets.source import is_withheld as is_withheld
from rules.canonical import canonical_bytes, sha256_hex, to_plain
from rules.merkle import entry_leaf, entry_salt, tree_root
from rules.seal.enclosed import ASSESSMENT_NAME as ASSESSMENT_NAME
from rules.seal.enclosed import FACTS_NAME as FACTS_NAME
from rules.seal.enclosed import FORMATS, REDACTION_NAME
from rules.seal.enclosed import MANIFEST_NAME as MANIFEST_NAME
from rules.seal.entries import flatten as flatten

_FORMAT_OF: Final = {form: name for name, form in FORMATS.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedFile:
    """One attachment; ``data`` is None where the bytes lie in storage under ``sha256``."""

    name: str
    media_type: str
    sha256: str
    size_bytes: int
    description: str
    data: bytes | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """``data`` are the bytes of manifest.json; ``files`` all attachments but the manifest itself."""

    root: str
    data: bytes
    files: tuple[PlannedFile, ...]

    @property
    def sha256(self) -> str:
        return sha256_hex(self.data)


def planned_files(source: PacketSource) -> tuple[PlannedFile, ...]:
    """Every attachment but the manifest, in a fixed order; evidence originals are not opened here."""
    facts = canonical_bytes(to_plain(source.facts))
    assessment = canonical_bytes(to_plain(source.assessment))
    judged = [
        _made(FACTS_NAME, "application/json", facts, "What the record shows, as it was judged"),
        _made(ASSESSMENT_NAME, "application/json", assessment, "Every verdict with its reasons and numbers"),
    ]
    made = [file for file in judged if source.redaction is None or not _is_left_out(source, file.name)]
    made += [
        _made(pack_file_name(pack), "application/yaml", pack.text.encode(), f"{pack.title}, as published")
        for pack in source.packs
    ]
    if source.redaction is not None:
        told = source.redaction.text.encode()
        made.append(_made(REDACTION_NAME, "application/json", told, "What is withheld here, where and why"))
    kept = [
        PlannedFile(
            name=file.name,
            media_type=file.media_type,
            sha256=file.sha256,
            size_bytes=file.size_bytes,
            description=f"Evidence {file.number}, original bytes",
        )
        for file in source.shipped_files()
    ]
    return (*made, *sorted(kept, key=lambda file: file.name))


def _is_left_out(source: PacketSource, name: str) -> bool:
    return is_withheld(f"files/{name}", source.withheld)


def _made(name: str, media_type: str, data: bytes, description: str) -> PlannedFile:
    return PlannedFile(
        name=name,
        media_type=media_type,
        sha256=sha256_hex(data),
        size_bytes=len(data),
        description=description,
        data=data,
    )


def entries_of(source: PacketSource) -> Iterator[tuple[str, Any]]:
    """Every entry of the tree, path and value, in no particular order; not for a redacted packet."""
    yield "packet/serial", source.serial
    yield "packet/kind", source.kind
    yield "packet/sealed_at", to_plain(source.sealed_at)
    yield "packet/supersedes", source.supersedes
    yield "packet/software_version", source.software_version
    yield "packet/organisation", source.organisation_name
    yield "packet/log_head", source.log_head
    if source.signer is not None:
        yield "packet/signer", to_plain(source.signer)
    yield from flatten("order", to_plain(source.order), source.form)
    yield from flatten("facts", to_plain(source.facts), source.form)
    yield from flatten("assessment", to_plain(source.assessment), source.form)
    for pack in source.packs:
        withdrawn = to_plain(pack.withdrawn_on)
        yield f"packs/{pack_file_name(pack)}", {"sha256": pack.sha256, "withdrawn_on": withdrawn}
    for line in source.log:
        yield f"log/{line.n:09d}", {"entry": line.entry, "prev": line.prev, "hash": line.hash}
    for device in source.devices:
        yield f"packet/devices/{device.id}", device.name
    for place, copy in enumerate(source.production):
        yield f"production/{place:05d}", to_plain(copy)
    yield from _file_entries(source)


def _file_entries(source: PacketSource) -> Iterator[tuple[str, Any]]:
    for made in planned_files(replace(source, files=())):
        told = {"sha256": made.sha256, "bytes": made.size_bytes, "media_type": made.media_type}
        yield f"files/{made.name}", told
    for file in source.files:
        value = {"sha256": file.sha256, "bytes": file.size_bytes, "media_type": file.media_type}
        yield f"files/{file.name}", {**value, "withheld": file.withheld} if file.withheld else value
        if source.form > 1 and file.set_aside_at is not None:
            yield f"set_aside/{file.name}", _set_aside(file)


def _set_aside(file: EnclosedFile) -> dict[str, Any]:
    return {
        "at": to_plain(file.set_aside_at),
        "how": file.set_aside_how,
        "by": file.set_aside_by,
        "reason": file.set_aside_reason,
    }


class PersonKeyMissingError(ValueError):
    """An entry with personal data needs a person key that is not there; ``args`` name whose."""


def build_manifest(
    source: PacketSource, packet_key: bytes, person_keys: Mapping[str, bytes] | None = None
) -> Manifest:
    """The manifest of a packet: entries by path, a salt or (where withheld) only the leaf for each, the root.

    A redacted packet carries its manifest ready made: neither key is used for it.

    Args:
        source: the frozen input.
        packet_key: 32 random bytes drawn once for the packet; kept with the sealed original, never shipped.
        person_keys: 32 random bytes for each of ``jobs.packets.people.subjects_of``; None only where nobody
            will ever ask that a person be erased.

    Raises:
        PersonKeyMissingError: some keys are given, but not all.
    """
    if len(packet_key) != 32:
        raise ValueError("a packet key has 32 bytes")
    if source.redaction is not None:
        data = source.redaction.manifest.encode()
        return Manifest(root=str(json.loads(data)["root"]), data=data, files=planned_files(source))
    salt_of = _Salts(source, packet_key, person_keys)
    rows: list[dict[str, Any]] = []
    leaves: list[bytes] = []
    for path, value in sorted(entries_of(source), key=lambda entry: entry[0].encode()):
        salt = salt_of(path)
        leaf = entry_leaf({path: value}, salt)
        leaves.append(leaf)
        if is_withheld(path, source.withheld):
            rows.append({"path": path, "leaf": leaf.hex()})
        else:
            rows.append({"path": path, "salt": salt.hex(), "value": value})
    root = tree_root(leaves).hex()
    data = canonical_bytes({"format": _FORMAT_OF[source.form], "root": root, "entries": rows})
    return Manifest(root=root, data=data, files=planned_files(source))


class _Salts:
    """The salt of each entry: from the packet's key, and from the keys of the people that it concerns."""

    def __init__(
        self, source: PacketSource, packet_key: bytes, person_keys: Mapping[str, bytes] | None
    ) -> None:
        self.packet_key = packet_key
        self.job_id = source.facts.job_id
        self.keys = person_keys if source.form > 1 else None
        self.subjects = set(subjects_of(source))
        if self.keys is not None and (missing := sorted(self.subjects - self.keys.keys())):
            raise PersonKeyMissingError(*missing)

    def __call__(self, path: str) -> bytes:
        person_key = None
        if self.keys is not None:
            whose = [name for name in subjects_of_path(path, self.job_id) if name in self.subjects]
            person_key = self.keys[whose[0]] if whose else None
        return entry_salt(self.packet_key, path, person_key)


def grouped(digest: str) -> str:
    """A hash in groups of four hex digits, as it is printed."""
    return " ".join(digest[at : at + 4] for at in range(0, len(digest), 4))
