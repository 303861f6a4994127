"""BagIt 1.0 (RFC 8493) as bundles use it: the tag files written, with SHA-256 and nothing that is optional.

A path in a manifest has its CR, LF and % percent-encoded (RFC 8493 section 2.1.3); all else stands as it is.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

DECLARATION: Final = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
DECLARATION_NAME: Final = "bagit.txt"
INFO_NAME: Final = "bag-info.txt"
MANIFEST_NAME: Final = "manifest-sha256.txt"
TAG_MANIFEST_NAME: Final = "tagmanifest-sha256.txt"
PAYLOAD: Final = "data/"

_ENCODED: Final = {"%": "%25", "\n": "%0A", "\r": "%0D"}
_CODES: Final = re.compile(r"%(25|0A|0D)", re.IGNORECASE)
_LABEL: Final = re.compile(r"[A-Za-z0-9]+(?:-[A-Za-z0-9]+)*")


class BagError(ValueError):
    """What cannot be put into a bag."""


@dataclass(frozen=True, slots=True)
class Digest:
    """Hash (64 lower-case hex digits) and size in bytes of one file."""

    sha256: str
    size: int


def encoded_path(path: str) -> str:
    """``path`` as it stands in a manifest."""
    return "".join(_ENCODED.get(character, character) for character in path)


def decoded_path(text: str) -> str:
    """The path that ``text`` in a manifest means; other percent signs stand for themselves."""
    return _CODES.sub(lambda found: chr(int(found[1], 16)), text)


def path_fault(path: str) -> str:
    """Why a path must not stand in a manifest (RFC 8493 section 5.1); empty where it may."""
    if not path:
        return "an empty path"
    if path.startswith(("/", "~", "\\")) or re.match(r"[A-Za-z]:", path):
        return f"{path} leads out of the bag"
    parts = re.split(r"[/\\]", path)
    if ".." in parts:
        return f"{path} leads out of the bag"
    if "" in parts or "." in parts:
        return f"{path} is not in its plainest form"
    return ""


def manifest_text(digests: Mapping[str, Digest]) -> bytes:
    """The lines of a manifest, sorted by path: hash, two blanks, path (the form of ``sha256sum``).

    Raises:
        BagError: a path that must not stand there.
    """
    lines = []
    for path in sorted(digests, key=str.encode):
        if fault := path_fault(path):
            raise BagError(fault)
        lines.append(f"{digests[path].sha256}  {encoded_path(path)}\n")
    return "".join(lines).encode()


def oxum(payload: Iterable[Digest]) -> str:
    """Payload-Oxum: bytes, a dot, number of files."""
    total, count = 0, 0
    for digest in payload:
        total += digest.size
        count += 1
    return f"{total}.{count}"


def info_text(lines: Iterable[tuple[str, str]]) -> bytes:
    """bag-info.txt, one line per label in the order given.

    Raises:
        BagError: a label or value that a line cannot hold.
    """
    told = []
    for label, value in lines:
        if _LABEL.fullmatch(label) is None:
            raise BagError(f"{label!r} is no label")
        if not value or value != value.strip() or not value.isprintable():
            raise BagError(f"{label} has a value that one line cannot hold")
        told.append(f"{label}: {value}\n")
    return "".join(told).encode()


def payload_tags(payload: Mapping[str, Digest], info: Iterable[tuple[str, str]]) -> dict[str, bytes]:
    """bagit.txt, bag-info.txt and the payload manifest; Payload-Oxum is added to ``info``.

    Args:
        payload: paths that begin with ``data/``.

    Raises:
        BagError: a path outside ``data/``, or one that must not stand in a manifest; no payload.
    """
    outside = [path for path in payload if not path.startswith(PAYLOAD)]
    if outside or not payload:
        raise BagError(f"{outside[0]} is not payload" if outside else "a bag without payload")
    return {
        DECLARATION_NAME: DECLARATION,
        INFO_NAME: info_text([*info, ("Payload-Oxum", oxum(payload.values()))]),
        MANIFEST_NAME: manifest_text(payload),
    }


def tag_manifest(tags: Mapping[str, Digest]) -> bytes:
    """The manifest over every tag file but itself.

    Raises:
        BagError: payload, or a tag manifest, among them.
    """
    wrong = [path for path in tags if path.startswith((PAYLOAD, "tagmanifest-"))]
    if wrong:
        raise BagError(f"{wrong[0]} does not belong in a tag manifest")
    return manifest_text(tags)
