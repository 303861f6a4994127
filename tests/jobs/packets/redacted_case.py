"""A redacted packet without a database, from choosing to its bundle, and tools to forge it with."""

import io
import json
import tempfile
import zipfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pikepdf

from jobs.intake.child import paint
from jobs.packets.build import BuiltPacket
from jobs.packets.enclosed import read_packet
from jobs.packets.finish import Attachment, finish
from jobs.packets.following import Sealed as Opened
from jobs.packets.following import following
from jobs.packets.manifest import MANIFEST_NAME, Manifest, build_manifest
from jobs.packets.redacting import Painted, Wanted, redacted_source
from jobs.packets.source import EnclosedFile, PacketSource, RedactedPicture, WithheldItem
from rules.canonical import canonical_bytes, sha256_hex
from rules.merkle import entry_leaf, tree_root
from rules.seal.bag import PAYLOAD, TAG_MANIFEST_NAME, Digest, payload_tags, tag_manifest
from rules.seal.pdf_parts import attachments_of
from rules.seal.plain_zip import of_bytes, zip_pieces
from tests.jobs.packets.packet_case import KEY, Store
from tests.jobs.packets.sealed_case import Case, Sealed, TestSigner, sealed, signed_pdf
from tests.rules.builders import at

WHY = "Not needed for the purpose it is asked for."
REGION = (0.3, 0.3, 0.25, 0.25)


def opened(made: Sealed) -> Opened:
    """A sealed packet as the redaction reads it."""
    packet = read_packet(made.pdf)
    return Opened(source=made.case.source, root=packet.root, entries=tuple(packet.entries))


def redacted_source_of(
    made: Sealed, paths: Mapping[str, str], painted: tuple[Painted, ...] = (), number: int = 2
) -> PacketSource:
    """The source of a packet in which ``paths`` (path -> kind) and all that follows from them go."""
    from_sealed = opened(made)
    gone = [*paths, *(f"files/{one.picture.original_name}" for one in painted)]
    follows = following(from_sealed, gone)
    items = [WithheldItem(path=path, where=path, kind=kind, why=WHY) for path, kind in paths.items()]
    items += [
        WithheldItem(path=path, where=path, kind="other", why=why, follows=True)
        for path, why in sorted(follows.items())
    ]
    serial = f"{made.case.source.serial.partition('/')[0]}/P{number}"
    wanted = Wanted(
        serial=serial, made_at=at("12:00"), made_by="lveskel", items=tuple(items), painted=painted
    )
    return redacted_source(from_sealed, wanted)


def painted_over(file: EnclosedFile, store: Store) -> Painted:
    """A face in a picture painted over, as the limited child does it."""
    data, copies = paint(store.path(file.sha256).read_bytes(), [REGION])
    kept = {copy.use: store.put(copy.data) for copy in copies}
    return Painted(
        picture=RedactedPicture(
            evidence_id=file.evidence_id, number=file.number, original_name=file.name,
            name=f"redacted-{file.number:04d}.jpg", sha256=store.put(data), size_bytes=len(data), regions=1,
            kind="face", why=WHY,
        ),
        copy_sha256=kept["small"],
        large_sha256=kept["large"],
    )  # fmt: skip


def redacted_case(made: Sealed) -> Case:
    """Name withheld, a face in the first picture painted over; the log goes on from the full packet's.

    Its pages are those of the full packet, so that they need not be laid out twice: no checker reads pages.
    """
    first = made.case.source.files[0]
    painted = (painted_over(first, made.case.store),)
    source = redacted_source_of(made, {"order/customer_name": "customer_name"}, painted)
    body = body_with(made, parts_of_source(made, source))
    return Case(source=source, store=made.case.store, by=made.case.by, additions=(), origin=made, body=body)


def parts_of_source(made: Sealed, source: PacketSource) -> dict[str, bytes | None]:
    """The attachments of a redacted source; None for those of ``made`` that it has not."""
    manifest = build_manifest(source, KEY)
    parts: dict[str, bytes | None] = dict.fromkeys(attachments_of(made.pdf))
    parts |= {file.name: file.data for file in manifest.files if file.data is not None}
    return {**parts, MANIFEST_NAME: manifest.data}


# ------------------------------------------------------------------ the forger's hand


def manifest_of(made: Sealed) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(attachments_of(made.pdf)[MANIFEST_NAME])
    return told


def redaction_of(made: Sealed) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(attachments_of(made.pdf)["redaction.json"])
    return told


def leaf_of(entry: Mapping[str, Any]) -> str:
    return entry_leaf({entry["path"]: entry["value"]}, bytes.fromhex(entry["salt"])).hex()


def rooted(told: dict[str, Any]) -> dict[str, Any]:
    """The manifest with the root that its entries lead to."""
    leaves = [bytes.fromhex(one["leaf"] if "leaf" in one else leaf_of(one)) for one in told["entries"]]
    return {**told, "root": tree_root(leaves).hex()}


def body_with(made: Sealed, parts: Mapping[str, bytes | None]) -> BuiltPacket:
    """The body with other attachments (None: without it); its pages stay: nothing is laid out anew."""
    before = made.case.built()
    kept = {name: data for name, data in attachments_of(before.pdf).items() if name not in parts}
    kept |= {name: data for name, data in parts.items() if data is not None}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with pikepdf.Pdf.open(io.BytesIO(before.pdf)) as pdf:
            for attached in list(pdf.attachments):
                del pdf.attachments[attached]
            if "/AF" in pdf.Root:
                del pdf.Root.AF
            pdf.save(folder / "bare.pdf")
        files = []
        for number, (name_of, data) in enumerate(sorted(kept.items())):
            (folder / str(number)).write_bytes(data)
            files.append(
                Attachment(
                    name=name_of, media_type="application/json", description="", path=folder / str(number)
                )
            )
        finish(folder / "bare.pdf", folder / "body.pdf", files, made.case.source.sealed_at)
        pdf_bytes = (folder / "body.pdf").read_bytes()
    data = kept[MANIFEST_NAME]
    manifest = Manifest(root=str(json.loads(data)["root"]), data=data, files=before.manifest.files)
    return BuiltPacket(pdf=pdf_bytes, pdf_sha256=sha256_hex(pdf_bytes), manifest=manifest)


def parts_of(manifest: dict[str, Any] | None, redaction: dict[str, Any] | None) -> dict[str, bytes]:
    told = {MANIFEST_NAME: manifest, "redaction.json": redaction}
    return {name: canonical_bytes(one) for name, one in told.items() if one is not None}


def forged_without_key(made: Sealed, parts: Mapping[str, bytes | None]) -> Sealed:
    """Other parts under the true seal: log entry, proof, head and extract stay, the PDF is unsigned."""
    return made.with_changes(pdf=signed_pdf(body_with(made, parts).pdf, made.sealing, None))


def sealed_anew(made: Sealed, parts: Mapping[str, bytes | None], by: TestSigner) -> Sealed:
    """Other parts sealed, logged and signed by whoever holds ``by``: everything fits."""
    source = made.case.source
    redaction = parts.get("redaction.json")
    if redaction is not None and source.redaction is not None:
        source = replace(source, redaction=replace(source.redaction, text=redaction.decode()))
    return sealed(replace(made.case, source=source, by=by, body=body_with(made, parts)))


def rebagged(bundle: Path, changes: Mapping[str, bytes | None], target: Path) -> Path:
    """The archive with other files (None: without it), every list of the bag made anew."""
    with zipfile.ZipFile(bundle) as archive:
        folder = archive.namelist()[0].partition("/")[0]
        files = {name.partition("/")[2]: archive.read(name) for name in archive.namelist()}
    files = {name: data for name, data in {**files, **changes}.items() if data is not None}
    info = [
        tuple(line.split(": ", 1))
        for line in files["bag-info.txt"].decode().splitlines()
        if not line.startswith("Payload-Oxum")
    ]
    payload = {
        name: Digest(sha256_hex(data), len(data)) for name, data in files.items() if name.startswith(PAYLOAD)
    }
    files |= payload_tags(payload, [(label, value) for label, value in info])
    tags = {
        name: Digest(sha256_hex(data), len(data))
        for name, data in files.items()
        if not name.startswith(PAYLOAD) and name != TAG_MANIFEST_NAME
    }
    files[TAG_MANIFEST_NAME] = tag_manifest(tags)
    planned = [of_bytes(f"{folder}/{name}", data) for name, data in files.items()]
    target.write_bytes(b"".join(zip_pieces(planned)))
    return target
