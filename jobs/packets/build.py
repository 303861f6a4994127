"""From a frozen source and a packet key to a packet's body: packs, tree, pages, rendering, attachments."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from jobs.packets.manifest import MANIFEST_NAME, Manifest, PlannedFile, build_manifest
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.page import packet_page
from jobs.packets.pictures import picture_paths
from jobs.packets.render import Order, render_pdf
from jobs.packets.source import PacketSource, PackText
from rules.canonical import sha256_hex
from rules.packs.model import PackEdition
from rules.packs.reader import read_pack


@dataclass(frozen=True, slots=True, kw_only=True)
class BuiltPacket:
    """A packet's body: the PDF's bytes before sealing, their hash, the manifest with its root."""

    pdf: bytes
    pdf_sha256: str
    manifest: Manifest

    @property
    def root(self) -> str:
        return self.manifest.root


def read_packs(packs: tuple[PackText, ...]) -> tuple[PackEdition, ...]:
    """The enclosed editions, read from their exact text."""
    return tuple(read_pack(pack.text.encode(), name=f"{pack.pack} {pack.edition}") for pack in packs)


def build_packet(
    source: PacketSource,
    packet_key: bytes,
    stored: Callable[[str], Path],
    person_keys: Mapping[str, bytes] | None = None,
    *,
    attach_originals: bool = False,
) -> BuiltPacket:
    """The packet's body of a source: the same source, key, fonts and program give the same bytes.

    Args:
        source: the frozen input.
        packet_key: 32 bytes drawn once for this packet.
        stored: gives the path of the bytes with a SHA-256; the caller has made sure that they are intact.
        person_keys: of the people in it, see ``build_manifest``.
        attach_originals: put the evidence into the PDF too; it travels beside it, named by its hash in the
            manifest, and makes the file many times larger.

    Raises:
        RenderError: the pages could not be made.
    """
    manifest = build_manifest(source, packet_key, person_keys)
    context = PageContext(source=source, editions=read_packs(source.packs), root=manifest.root)
    page = packet_page(context)
    own = PlannedFile(
        name=MANIFEST_NAME,
        media_type="application/json",
        sha256=manifest.sha256,
        size_bytes=len(manifest.data),
        description="Every statement and file of the packet as leaves of one tree, with its root",
        data=manifest.data,
    )
    files = tuple(file for file in manifest.files if attach_originals or file.data is not None)
    pdf = render_pdf(
        Order(
            page=page.html,
            dated=source.sealed_at,
            identifier=manifest.root[:32],
            charts=page.charts,
            pictures=picture_paths(source, page.pictures, stored),
            files=(own, *files),
            stored={file.name: stored(file.sha256) for file in files if file.data is None},
        )
    )
    return BuiltPacket(pdf=pdf, pdf_sha256=sha256_hex(pdf), manifest=manifest)
