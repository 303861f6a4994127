"""A packet with all that belongs to it as one archive: sealed PDF, its parts, originals, checkers."""

import hashlib
import re
import zlib
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from jobs.errors import DomainError
from jobs.packets.checker.archive import check_pyz
from jobs.packets.checker.how_to import HowTo, how_to_text
from jobs.packets.checker.page import check_html
from rules import ENGINE_VERSION
from rules.canonical import sha256_hex
from rules.seal.bag import TAG_MANIFEST_NAME, Digest, payload_tags, tag_manifest
from rules.seal.bundle_parts import ADDITIONS, PDF_NAME
from rules.seal.enclosed import REDACTION_NAME, Enclosed, PartError, enclosed_of, read_object
from rules.seal.log_extract import NAME as EXTRACT_NAME
from rules.seal.manifest_check import is_original
from rules.seal.pdf_parts import attachments_of
from rules.seal.plain_zip import PIECE, Planned, ZipError, of_bytes, zip_pieces

_ODD: Final = re.compile(r"[^A-Za-z0-9_-]+")


class BundleError(DomainError):
    """A bundle cannot be made; ``code`` says why."""

    default_code = "bundle_not_made"
    default_message = "The bundle could not be made."


@dataclass(frozen=True, slots=True, kw_only=True)
class BundleContents:
    """What goes into one bundle.

    Attributes:
        serial: of the packet; names the bundle's folder.
        organisation: whose packet it is.
        bagged_on: ISO day that bag-info.txt gives; of the sealing, so that the same contents give the same
            bytes.
        pdf: the sealed file, or a recipient's signed copy of it. Its attachments lie beside it in the bundle.
        stored: path of the bytes with a SHA-256.
        additions: bytes by name, see ``jobs.packets.additions``.
        extract: log-extract.json; None where there is none.
        deleted: SHA-256 of originals that an addition tells to be deleted: they are left out.
    """

    serial: str
    organisation: str
    bagged_on: str
    pdf: bytes
    stored: Callable[[str], Path]
    additions: Mapping[str, bytes] = field(default_factory=dict)
    extract: bytes | None = None
    deleted: Collection[str] = ()


@dataclass(frozen=True, slots=True)
class Written:
    """The finished archive: hash and size."""

    sha256: str
    size: int


def folder_name(serial: str) -> str:
    """``EM-2026-0417-P1``: the bundle's one folder, and the name of the archive without its ending."""
    return _ODD.sub("-", serial).strip("-") or "packet"


def write_bundle(contents: BundleContents, target: Path) -> Written:
    """Writes the archive to ``target``; the same contents give the same bytes.

    Originals are read twice and never held in memory; each is compared with the hash that the manifest tells.

    Raises:
        BundleError: ``original_missing``, ``original_changed`` (the store is damaged), ``bundle_too_large``.
        rules.seal.enclosed.NotAPacketError: the PDF is none of ours.
    """
    parts = attachments_of(contents.pdf)
    enclosed = enclosed_of(parts)
    payload = [
        of_bytes(PDF_NAME, contents.pdf),
        *(of_bytes(f"data/{name}", data) for name, data in parts.items()),
        *(of_bytes(f"{ADDITIONS}{name}", data) for name, data in contents.additions.items()),
    ]
    if contents.extract is not None:
        payload.append(of_bytes(f"data/{EXTRACT_NAME}", contents.extract))
    digests = {entry.name: _digest_of(entry) for entry in payload}
    for name, (sha256, size) in originals_of(enclosed).items():
        if sha256 in contents.deleted:
            continue
        payload.append(_original(contents.stored, f"data/{name}", sha256, size))
        digests[f"data/{name}"] = Digest(sha256, size)
    tags = _tags(contents, parts, digests)
    return _write([*payload, *tags], folder_name(contents.serial), target)


def originals_of(enclosed: Enclosed) -> dict[str, tuple[str, int]]:
    """Hash and size by name of files that travel beside the PDF: originals, or pictures in their place."""
    found = {
        name: (str(value["sha256"]), int(value["bytes"]))
        for name, value in enclosed.listed()
        if is_original(name) and "withheld" not in value and name not in enclosed.files
    }
    for derived in _derived(enclosed):
        if derived["name"] not in enclosed.files:
            found[str(derived["name"])] = (str(derived["sha256"]), int(derived.get("bytes", -1)))
    return found


def _derived(enclosed: Enclosed) -> list[dict[str, Any]]:
    if REDACTION_NAME not in enclosed.files:
        return []
    try:
        told = read_object(enclosed.files[REDACTION_NAME], REDACTION_NAME)
    except PartError:
        return []
    return [picture["derived"] for picture in told.get("pictures", [])]


def _digest_of(entry: Planned) -> Digest:
    return Digest(sha256_hex(b"".join(entry.pieces())), entry.size)


def _original(stored: Callable[[str], Path], name: str, sha256: str, size: int) -> Planned:
    path = stored(sha256)
    digest, crc32, count = hashlib.sha256(), 0, 0
    try:
        for piece in _pieces(path):
            digest.update(piece)
            crc32 = zlib.crc32(piece, crc32)
            count += len(piece)
    except FileNotFoundError as error:
        raise BundleError("original_missing", f"The stored original of {name} is not there.") from error
    if digest.hexdigest() != sha256 or size not in (count, -1):
        raise BundleError("original_changed", f"The stored original of {name} was changed.")
    return Planned(name=name, size=count, crc32=crc32, pieces=lambda: _pieces(path))


def _pieces(path: Path) -> Iterator[bytes]:
    with path.open("rb") as stream:
        while piece := stream.read(PIECE):
            yield piece


def _tags(
    contents: BundleContents, parts: Mapping[str, bytes], digests: Mapping[str, Digest]
) -> list[Planned]:
    info = [
        ("Source-Organization", _one_line(contents.organisation)),
        ("External-Identifier", _one_line(contents.serial)),
        ("External-Description", "A sealed packet with its parts and originals; how-to-check.txt says how"),
        ("Bagging-Date", contents.bagged_on),
        ("Bag-Software-Agent", f"Witness Mark, engine {ENGINE_VERSION}"),
    ]
    written = {
        **payload_tags(digests, info),
        "check.pyz": check_pyz(),
        "check.html": check_html(),
        "how-to-check.txt": how_to_text(
            HowTo(
                folder=folder_name(contents.serial),
                serial=contents.serial,
                pdf=contents.pdf,
                parts=parts,
                additions=contents.additions,
            )
        ),
    }
    tags = {name: Digest(sha256_hex(data), len(data)) for name, data in written.items()}
    written[TAG_MANIFEST_NAME] = tag_manifest(tags)
    return [of_bytes(name, data) for name, data in written.items()]


def _one_line(text: str) -> str:
    """Text as a line of bag-info.txt can hold it."""
    return "".join(one if one.isprintable() else " " for one in text).strip() or "-"


def _write(planned: list[Planned], folder: str, target: Path) -> Written:
    digest, size = hashlib.sha256(), 0
    rows = [
        Planned(name=f"{folder}/{entry.name}", size=entry.size, crc32=entry.crc32, pieces=entry.pieces)
        for entry in planned
    ]
    try:
        with target.open("wb") as out:
            for piece in zip_pieces(rows):
                digest.update(piece)
                size += len(piece)
                out.write(piece)
    except ZipError as error:
        raise BundleError("bundle_too_large" if "4 GiB" in str(error) else None, str(error)) from error
    return Written(digest.hexdigest(), size)
