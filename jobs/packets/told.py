"""What a sealed packet tells its reader: from the sealed file, which holds nothing of what is withheld."""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from jobs import storage
from jobs.intake.picture_copies import NoPictureError, page_copy
from jobs.models import Packet
from jobs.packets.enclosed import Enclosed, read_packet
from jobs.packets.pages.words import plain as plain_word
from jobs.packets.pages.words import sentence_case
from jobs.packets.source import PacketSource
from rules.canonical import PlainError, from_plain
from rules.result import Assessment
from rules.seal.enclosed import ASSESSMENT_NAME, REDACTION_NAME
from rules.seal.entries import SPLIT, EntryError, part_of, rebuild

# What stands on the screen where this copy leaves something out.
LEFT_OUT: Final = "withheld"
_EVIDENCE: Final = re.compile(r"evidence-(\d{4,9})\.[a-z0-9]+")
# Withheld parts that are no plain text: what a judgement needs in their place to be shown at all.
_WORDS: Final = {"notes": [], "required": "", "why": "", "change": "", "settle_why": ""}


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldFile:
    """One evidence file as the packet lists it; ``sha256`` is empty where even that is withheld.

    ``painted`` says why something was blotted out of a photo: what is shown is the painted copy.
    ``about`` says what the file is and when in the job it was made, as far as that is shipped.
    """

    number: int
    name: str
    media_type: str
    sha256: str
    size_bytes: int | None
    withheld: str
    painted: str = ""
    about: str = ""

    @property
    def is_picture(self) -> bool:
        return self.media_type.startswith("image/") and not self.withheld


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldWithheld:
    """One entry that is not shipped, with the leaf that keeps its place in the tree."""

    path: str
    leaf: str
    kind: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """Attributes:
    assessment: the judgement as sealed, with ``LEFT_OUT`` where words or names are withheld; None where too
        much of it is withheld to be shown.
    people: names by id, as far as they are shipped.
    facts: further entries by path, ``facts/vehicle/vin`` and the like.
    """

    assessment: Assessment | None
    people: dict[str, str]
    facts: Mapping[str, Any]
    files: tuple[ToldFile, ...]
    withheld: tuple[ToldWithheld, ...]
    entries: int
    log_entries: int
    packs: tuple[tuple[str, str], ...]


def told_by(packet: Packet) -> Told:
    """Reads the stored sealed file.

    Raises:
        jobs.storage.StoredBytesMissingError, jobs.storage.StoredBytesChangedError: the store is damaged.
        NotAPacketError: the stored file is no packet.
    """
    return told_by_parts(read_packet(storage.read(packet.pdf_sha256)))


def told_by_parts(enclosed: Enclosed) -> Told:
    """The same from parts at hand."""
    values = enclosed.values()
    return Told(
        assessment=_assessment(enclosed, values),
        people=dict(_people(values)),
        facts=values,
        files=tuple(sorted(_files(enclosed), key=lambda file: file.number)),
        withheld=_withheld(enclosed),
        entries=len(enclosed.entries),
        log_entries=sum(1 for path in values if path.startswith("log/")),
        packs=tuple(
            (path.removeprefix("packs/"), str(value["sha256"]))
            for path, value in values.items()
            if path.startswith("packs/") and isinstance(value, dict)
        ),
    )


def _assessment(enclosed: Enclosed, values: Mapping[str, Any]) -> Assessment | None:
    try:
        if ASSESSMENT_NAME in enclosed.files:
            plain = json.loads(enclosed.files[ASSESSMENT_NAME])
        else:
            filled = dict(values)
            for path in enclosed.withheld():
                part = part_of(path)
                if part is not None:
                    filled[path] = _filling(*part)
            plain = rebuild("assessment", filled)
        return from_plain(Assessment, plain)
    except (ValueError, KeyError, TypeError, PlainError, EntryError):
        return None


def _filling(where: str, record: str, part: str) -> Any:
    if where == "assessment/procedures" and part == "attempts":
        return []
    fields = SPLIT[where][part]
    if len(fields) == 1:
        return LEFT_OUT
    names = [field.rpartition(".")[2] for field in fields]
    return {name: _WORDS.get(name, LEFT_OUT) for name in names}


def _people(values: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for path, value in values.items():
        pieces = path.split("/")
        if path.startswith("facts/people/") and len(pieces) == 3 and isinstance(value, dict):
            name = str(value.get("name") or values.get(f"{path}/name", "") or LEFT_OUT)
            yield str(value.get("id", pieces[2])), name
            login = value.get("login") or values.get(f"{path}/login")
            if isinstance(login, str):
                yield login, name


def _about(values: Mapping[str, Any]) -> dict[int, str]:
    """What each evidence file is, by number: ``Photo, intake: vin plate``."""
    found = {}
    for path, value in values.items():
        if (
            not path.startswith(("facts/photos/", "facts/files/"))
            or not isinstance(value, dict)
            or "number" not in value
        ):
            continue
        shows = ", ".join(plain_word(str(word)) for word in value.get("shows") or ())
        kind = sentence_case(plain_word(str(value.get("kind", ""))))
        stage = plain_word(str(value.get("stage", "")))
        found[int(value["number"])] = f"{kind}, {stage}" + (f": {shows}" if shows else "")
    return found


def _files(enclosed: Enclosed) -> Iterator[ToldFile]:
    about = _about(enclosed.values())
    painted = {
        int(picture["number"]): str(picture.get("why", "")) or LEFT_OUT
        for picture in _redaction(enclosed).get("pictures", ())
    }
    for entry in enclosed.entries:
        name = entry["path"].removeprefix("files/")
        found = _EVIDENCE.fullmatch(name)
        if name == entry["path"] or found is None:
            continue
        value = entry.get("value")
        told = value if isinstance(value, dict) else {}
        number = int(found.group(1))
        if number in painted:
            yield ToldFile(
                number=number,
                name=name,
                media_type="image/jpeg",
                sha256="",
                size_bytes=None,
                withheld="",
                painted=painted[number],
                about=about.get(number, ""),
            )
            continue
        yield ToldFile(
            number=number,
            name=name,
            media_type=str(told.get("media_type", "")),
            sha256=str(told.get("sha256", "")),
            size_bytes=told.get("bytes"),
            withheld=str(told.get("withheld", "")) if told else LEFT_OUT,
            about=about.get(number, ""),
        )


def _redaction(enclosed: Enclosed) -> dict[str, Any]:
    """What redaction.json of the sealed file says; nothing where there is none."""
    told = json.loads(enclosed.files.get(REDACTION_NAME, b"{}"))
    return told if isinstance(told, dict) else {}


def _withheld(enclosed: Enclosed) -> tuple[ToldWithheld, ...]:
    reasons = {
        str(field["path"]): (str(field.get("kind", "")), str(field.get("why", "")))
        for field in _redaction(enclosed).get("fields", ())
    }
    return tuple(
        ToldWithheld(
            path=entry["path"],
            leaf=str(entry.get("leaf", "")),
            kind=reasons.get(entry["path"], ("", ""))[0],
            why=reasons.get(entry["path"], ("", ""))[1],
        )
        for entry in enclosed.entries
        if "value" not in entry
    )


def picture_of(packet: Packet, number: int) -> bytes | None:
    """Photo ``number`` as a JPEG without metadata; None where this packet shows none.

    Asked of the packet's frozen source, which decides for its pages too: a withheld photo is not in it, and
    where something was blotted out the copy is. An original never leaves this way.
    """
    source = PacketSource.from_bytes(storage.read(packet.source_sha256))
    file = next((file for file in source.shipped_files() if file.number == number), None)
    if file is None or not file.media_type.startswith("image/"):
        return None
    if file.large_sha256:
        return storage.read(file.large_sha256)
    try:
        return page_copy(storage.read(file.sha256), "large").data
    except NoPictureError:
        return None
