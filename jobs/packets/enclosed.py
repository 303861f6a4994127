"""Reading a packet file: its attachments and the manifest, from bytes that nobody has checked yet."""

import io
import json
from dataclasses import dataclass
from typing import Any, Final

import pikepdf

from jobs.packets.manifest import FORMAT, MANIFEST_NAME

# A manifest larger than this is refused before it is parsed (project default).
MOST_MANIFEST_BYTES: Final = 200_000_000
RECIPIENT_NAME: Final = "recipient.json"


class NotAPacketError(ValueError):
    """The file is no PDF of ours, or cannot be read at all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Enclosed:
    """What a packet file carries: attachments by name, and the parsed manifest."""

    files: dict[str, bytes]
    manifest: dict[str, Any]
    recipient: dict[str, Any] | None

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


def read_packet(pdf: bytes) -> Enclosed:
    """Opens a packet file.

    Raises:
        NotAPacketError: no PDF, encrypted, without a manifest, or with one of another form.
    """
    try:
        with pikepdf.Pdf.open(io.BytesIO(pdf)) as opened:
            if opened.is_encrypted:
                raise NotAPacketError("the file is encrypted")
            files = {name: spec.get_file().read_bytes() for name, spec in opened.attachments.items()}
    except (pikepdf.PdfError, pikepdf.PasswordError, ValueError, KeyError) as error:
        raise NotAPacketError(f"the file cannot be read as a packet: {error}") from error
    return Enclosed(
        files=files,
        manifest=_manifest(files),
        recipient=_object(files[RECIPIENT_NAME], RECIPIENT_NAME) if RECIPIENT_NAME in files else None,
    )


def _manifest(files: dict[str, bytes]) -> dict[str, Any]:
    data = files.get(MANIFEST_NAME)
    if data is None:
        raise NotAPacketError(f"there is no {MANIFEST_NAME} in the file")
    if len(data) > MOST_MANIFEST_BYTES:
        raise NotAPacketError(f"{MANIFEST_NAME} is too large")
    manifest = _object(data, MANIFEST_NAME)
    entries = manifest.get("entries")
    if manifest.get("format") != FORMAT or not isinstance(entries, list):
        raise NotAPacketError(f"{MANIFEST_NAME} has another form")
    if not all(isinstance(entry, dict) and isinstance(entry.get("path"), str) for entry in entries):
        raise NotAPacketError(f"{MANIFEST_NAME} has another form")
    return manifest


def _object(data: bytes, name: str) -> dict[str, Any]:
    try:
        value = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise NotAPacketError(f"{name} cannot be read: {error}") from error
    if not isinstance(value, dict):
        raise NotAPacketError(f"{name} has another form")
    return value
