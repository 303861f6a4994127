"""Pictures with regions painted over: checked, painted in the limited child, kept with their page copies."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from jobs import storage
from jobs.intake.child import paint
from jobs.models import Organisation
from jobs.packets.copies import keep_copies
from jobs.packets.redacting import Painted
from jobs.packets.source import EnclosedFile, PacketSource, RedactedPicture
from jobs.services import values
from jobs.services.values import refused
from rules.seal.redaction_check import KINDS

MOST_REGIONS: Final = 50
SHORTEST_WHY: Final = 10
LONGEST_WHY: Final = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """A rectangle as shares (0 to 1) of the upright picture's width and height, from its top left corner."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureChoice:
    """Regions of one picture, by the name of its file in the packet."""

    file: str
    kind: str
    why: str
    regions: tuple[Region, ...]


def check_choices(source: PacketSource, pictures: Iterable[PictureChoice]) -> None:
    """Looks at the choices before anything is painted.

    Raises:
        Refused: ``unknown_picture``, ``chosen_twice``, ``bad_region``, ``bad_choice``, ``text_length``.
    """
    known = {file.name for file in source.shipped_files() if file.copy_sha256}
    seen: set[str] = set()
    for choice in pictures:
        if choice.file not in known:
            raise refused("unknown_picture", "pictures", f"{choice.file} is no picture of this packet.")
        if choice.file in seen:
            raise refused("chosen_twice", "pictures", f"{choice.file} is chosen twice.")
        seen.add(choice.file)
        values.read_choice(choice.kind, tuple(KINDS), "kind")
        values.read_text(choice.why, "why", shortest=SHORTEST_WHY, longest=LONGEST_WHY)
        if not 1 <= len(choice.regions) <= MOST_REGIONS or not all(map(_is_inside, choice.regions)):
            raise refused("bad_region", "pictures", f"Draw 1 to {MOST_REGIONS} regions inside the picture.")


def _is_inside(region: Region) -> bool:
    return (
        0 <= region.x < 1
        and 0 <= region.y < 1
        and 0 < region.width <= 1
        and 0 < region.height <= 1
        and region.x + region.width <= 1 + 1e-9
        and region.y + region.height <= 1 + 1e-9
    )


def paint_pictures(
    *, organisation: Organisation, source: PacketSource, pictures: Iterable[PictureChoice], as_of: datetime
) -> tuple[Painted, ...]:
    """Each chosen picture with its regions painted over, kept in the store; originals stay as they are."""
    files = {file.name: file for file in source.files}
    return tuple(_painted(organisation, source, files[choice.file], choice, as_of) for choice in pictures)


def _painted(
    organisation: Organisation,
    source: PacketSource,
    file: EnclosedFile,
    choice: PictureChoice,
    as_of: datetime,
) -> Painted:
    regions = [
        (region.x, region.y, min(region.width, 1 - region.x), min(region.height, 1 - region.y))
        for region in choice.regions
    ]
    data, copies = paint(storage.read(file.sha256), regions)
    sha256 = storage.put(data)
    keep_copies(organisation=organisation, of_sha256=sha256, copies=copies, as_of=as_of)
    kept = {copy.use: storage.put(copy.data) for copy in copies}
    before = next(
        (item for item in (source.redaction.pictures if source.redaction else ()) if item.name == file.name),
        None,
    )
    return Painted(
        picture=RedactedPicture(
            evidence_id=file.evidence_id,
            number=file.number,
            original_name=before.original_name if before else file.name,
            name=f"redacted-{file.number:04d}.jpg",
            sha256=sha256,
            size_bytes=len(data),
            regions=len(regions) + (before.regions if before else 0),
            kind=choice.kind,
            why=choice.why.strip(),
        ),
        copy_sha256=kept["small"],
        large_sha256=kept["large"],
    )
