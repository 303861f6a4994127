"""The parts of a packet as a checker has them, from bytes that nobody has looked at yet."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, NoReturn

from rules.canonical import CanonicalError, canonical_bytes, sha256_hex
from rules.seal.bag import Digest

MANIFEST_NAME: Final = "manifest.json"
FACTS_NAME: Final = "facts.json"
ASSESSMENT_NAME: Final = "assessment.json"
SEALING_NAME: Final = "sealing.json"
REDACTION_NAME: Final = "redaction.json"
RECIPIENT_NAME: Final = "recipient.json"
# Parts that the manifest does not list: they are made after it, or beside it.
BESIDE: Final = frozenset({MANIFEST_NAME, SEALING_NAME, REDACTION_NAME, RECIPIENT_NAME})
FORMATS: Final[Mapping[str, int]] = {"packet manifest 1": 1, "packet manifest 2": 2}
# Larger ones are refused before they are parsed (project limits).
MOST_MANIFEST_BYTES: Final = 200_000_000
MOST_PART_BYTES: Final = 200_000_000

_FILES: Final = "files/"


class NotAPacketError(ValueError):
    """The file is no packet of ours, or cannot be read at all."""


class PartError(ValueError):
    """A part of a packet that does not have its form."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Enclosed:
    """What a packet carries.

    Attributes:
        files: the parts that are read, by name.
        digests: hash and size of every part that is there, originals too.
        manifest: parsed; its entries have been looked at as far as each has a path.
        form: 1 or 2, of the manifest.
        has_originals: whether originals should be there (a bundle); a PDF leaves them out.
    """

    files: Mapping[str, bytes]
    digests: Mapping[str, Digest]
    manifest: dict[str, Any]
    form: int
    recipient: dict[str, Any] | None
    has_originals: bool

    @property
    def root(self) -> str:
        return str(self.manifest.get("root", ""))

    @property
    def entries(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.manifest["entries"]
        return found

    def value(self, path: str) -> Any:
        """The value of one entry, None where it is withheld or absent."""
        return next((entry.get("value") for entry in self.entries if entry["path"] == path), None)

    def values(self) -> dict[str, Any]:
        """Value by path of all entries that are shipped."""
        return {entry["path"]: entry["value"] for entry in self.entries if "value" in entry}

    def withheld(self) -> list[str]:
        """Paths of which only the leaf is shipped, in order."""
        return [entry["path"] for entry in self.entries if "value" not in entry]

    def listed(self) -> Iterator[tuple[str, dict[str, Any]]]:
        """Name and entry of each file that the manifest tells the hash of."""
        for entry in self.entries:
            if entry["path"].startswith(_FILES) and isinstance(entry.get("value"), dict):
                yield entry["path"].removeprefix(_FILES), entry["value"]

    @property
    def serial(self) -> str:
        return str(self.value("packet/serial") or "")


def enclosed_of(
    files: Mapping[str, bytes], digests: Mapping[str, Digest] | None = None, *, has_originals: bool = False
) -> Enclosed:
    """The parts, with manifest and recipient parsed.

    Args:
        files: the parts by name.
        digests: of parts that were measured without being kept; those of ``files`` are added.

    Raises:
        NotAPacketError: no manifest, or one of another form.
    """
    measured = {name: Digest(sha256_hex(data), len(data)) for name, data in files.items()}
    manifest, form = _manifest(files)
    recipient = None
    if RECIPIENT_NAME in files:
        try:
            recipient = read_object(files[RECIPIENT_NAME], RECIPIENT_NAME)
        except PartError as error:
            raise NotAPacketError(str(error)) from error
    return Enclosed(
        files=files,
        digests={**(digests or {}), **measured},
        manifest=manifest,
        form=form,
        recipient=recipient,
        has_originals=has_originals,
    )


def _manifest(files: Mapping[str, bytes]) -> tuple[dict[str, Any], int]:
    data = files.get(MANIFEST_NAME)
    if data is None:
        raise NotAPacketError(f"there is no {MANIFEST_NAME} in the file")
    if len(data) > MOST_MANIFEST_BYTES:
        raise NotAPacketError(f"{MANIFEST_NAME} is too large")
    try:
        manifest = read_object(data, MANIFEST_NAME)
    except PartError as error:
        raise NotAPacketError(str(error)) from error
    entries, form = manifest.get("entries"), FORMATS.get(str(manifest.get("format")))
    if form is None or not isinstance(entries, list) or set(manifest) != {"format", "root", "entries"}:
        raise NotAPacketError(f"{MANIFEST_NAME} has another form")
    if not all(isinstance(entry, dict) and isinstance(entry.get("path"), str) for entry in entries):
        raise NotAPacketError(f"{MANIFEST_NAME} has another form")
    return manifest, form


def read_object(data: bytes, name: str) -> dict[str, Any]:
    """One JSON object. Raises ``PartError``: no JSON, a name twice, no object, too large or too deep."""
    if len(data) > MOST_PART_BYTES:
        raise PartError(f"{name} is too large")
    try:
        value = json.loads(data, object_pairs_hook=_object, parse_constant=_constant)
    except (ValueError, RecursionError) as error:
        raise PartError(f"{name} cannot be read: {error}") from error
    if not isinstance(value, dict):
        raise PartError(f"{name} has another form")
    return value


def read_canonical(data: bytes, name: str) -> dict[str, Any]:
    """The same, for bytes that must be canonical (RFC 8785): there is one way to write them."""
    value = read_object(data, name)
    try:
        canonical = canonical_bytes(value)
    except CanonicalError as error:
        raise PartError(f"{name} cannot be written again: {error}") from error
    if canonical != data:
        raise PartError(f"{name} is not in canonical form")
    return value


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a name stands twice in one object")
    return found


def _constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number")
