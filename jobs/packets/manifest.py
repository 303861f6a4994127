"""The frozen manifest: every statement and file of a packet as a salted leaf of one tree, with its root."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from jobs.packets.source import PacketSource, pack_file_name
from rules.canonical import canonical_bytes, sha256_hex, to_plain
from rules.merkle import entry_leaf, entry_salt, tree_root

FORMAT: Final = "packet manifest 1"
MANIFEST_NAME: Final = "manifest.json"
FACTS_NAME: Final = "facts.json"
ASSESSMENT_NAME: Final = "assessment.json"


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


def flatten(prefix: str, plain: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """The entries that a plain object gives: one per field, per inner field, per record of a list.

    A record is named by its ``id`` where it has one, otherwise by its place.
    """
    for name, value in plain.items():
        path = f"{prefix}/{name}"
        if isinstance(value, Mapping):
            for inner, item in value.items():
                yield f"{path}/{inner}", item
        elif isinstance(value, list | tuple) and value and isinstance(value[0], Mapping):
            for place, item in enumerate(value):
                yield f"{path}/{item.get('id', f'{place:05d}')}", item
        else:
            yield path, value


def planned_files(source: PacketSource) -> tuple[PlannedFile, ...]:
    """Every attachment but the manifest, in a fixed order; evidence originals are not opened here."""
    facts = canonical_bytes(to_plain(source.facts))
    assessment = canonical_bytes(to_plain(source.assessment))
    made = [
        _made(FACTS_NAME, "application/json", facts, "What the record shows, as it was judged"),
        _made(ASSESSMENT_NAME, "application/json", assessment, "Every verdict with its reasons and numbers"),
    ]
    made += [
        _made(pack_file_name(pack), "application/yaml", pack.text.encode(), f"{pack.title}, as published")
        for pack in source.packs
    ]
    kept = [
        PlannedFile(
            name=file.name,
            media_type=file.media_type,
            sha256=file.sha256,
            size_bytes=file.size_bytes,
            description=f"Evidence {file.number}, original bytes",
        )
        for file in source.files
    ]
    return (*made, *sorted(kept, key=lambda file: file.name))


def _made(name: str, media_type: str, data: bytes, description: str) -> PlannedFile:
    return PlannedFile(
        name=name,
        media_type=media_type,
        sha256=sha256_hex(data),
        size_bytes=len(data),
        description=description,
        data=data,
    )


def _entries(source: PacketSource, files: tuple[PlannedFile, ...]) -> Iterator[tuple[str, Any]]:
    yield "packet/serial", source.serial
    yield "packet/kind", source.kind
    yield "packet/sealed_at", to_plain(source.sealed_at)
    yield "packet/supersedes", source.supersedes
    yield "packet/software_version", source.software_version
    yield "packet/organisation", source.organisation_name
    yield "packet/log_head", source.log_head
    yield from flatten("order", to_plain(source.order))
    yield from flatten("facts", to_plain(source.facts))
    yield from flatten("assessment", to_plain(source.assessment))
    for pack in source.packs:
        withdrawn = to_plain(pack.withdrawn_on)
        yield f"packs/{pack_file_name(pack)}", {"sha256": pack.sha256, "withdrawn_on": withdrawn}
    for line in source.log:
        yield f"log/{line.n:09d}", {"entry": line.entry, "prev": line.prev, "hash": line.hash}
    for file in files:
        yield (
            f"files/{file.name}",
            {"sha256": file.sha256, "bytes": file.size_bytes, "media_type": file.media_type},
        )


def is_withheld(path: str, withheld: tuple[str, ...]) -> bool:
    """True where ``path`` is named, or lies in a named folder."""
    return any(path == name or (name.endswith("/") and path.startswith(name)) for name in withheld)


def build_manifest(source: PacketSource, packet_key: bytes) -> Manifest:
    """The manifest of a packet: entries by path, a salt or (where withheld) only the leaf for each, the root.

    Args:
        source: the frozen input.
        packet_key: 32 random bytes drawn once for the packet; kept with the sealed original, never shipped.
    """
    if len(packet_key) != 32:
        raise ValueError("a packet key has 32 bytes")
    files = planned_files(source)
    rows: list[dict[str, Any]] = []
    leaves: list[bytes] = []
    for path, value in sorted(_entries(source, files), key=lambda entry: entry[0].encode()):
        salt = entry_salt(packet_key, path)
        leaf = entry_leaf({path: value}, salt)
        leaves.append(leaf)
        if is_withheld(path, source.withheld):
            rows.append({"path": path, "leaf": leaf.hex()})
        else:
            rows.append({"path": path, "salt": salt.hex(), "value": value})
    root = tree_root(leaves).hex()
    data = canonical_bytes({"format": FORMAT, "root": root, "entries": rows})
    return Manifest(root=root, data=data, files=files)


def grouped(digest: str) -> str:
    """A hash in groups of four hex digits, as it is printed."""
    return " ".join(digest[at : at + 4] for at in range(0, len(digest), 4))
