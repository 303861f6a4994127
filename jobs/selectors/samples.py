"""Reads of samples: as pages and the API show them, and whether a published one draws the same again."""

import json
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from jobs.models import LogEntry, Sample, SampleArchive, SampledPacket, unscoped
from rules.canonical import canonical_bytes, sha256_hex
from rules.science.sampling import chance_of_seeing, draw

FORMAT: Final = "sample 1"


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnPacket:
    place: int
    packet_id: UUID
    serial: str
    vehicle: str
    location: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleShown:
    """A sample as it may be told to those who may see it: the seed only once it was drawn."""

    id: UUID
    organisation: str
    for_person: str
    opened_by: str
    opened_at: Any
    from_on: Any
    to_on: Any
    locations: tuple[str, ...]
    only_granted: bool
    lot: int
    bad: int
    one_in: int
    confidence: str
    percent: str
    size: int
    chance: float
    seed_sha256: str
    population_sha256: str
    drawn_at: Any
    drawn_by: str
    seed: str
    word: str
    tz: str
    access_until: Any


def shown(sample: Sample) -> SampleShown:
    """One sample; follows foreign keys only."""
    is_drawn = sample.drawn_at is not None
    return SampleShown(
        id=sample.pk,
        organisation=sample.organisation.name,
        for_person=sample.for_person.name if sample.for_person else "",
        opened_by=sample.opened_by.name,
        opened_at=sample.opened_at,
        from_on=sample.from_on,
        to_on=sample.to_on,
        locations=tuple(sample.locations),
        only_granted=sample.only_granted,
        lot=sample.population_size,
        bad=sample.bad,
        one_in=round(sample.population_size / sample.bad),
        confidence=sample.confidence,
        percent=percent_words(sample.confidence),
        size=sample.size,
        chance=chance_of_seeing(sample.population_size, sample.bad, sample.size),
        seed_sha256=sample.seed_sha256,
        population_sha256=sample.population_sha256,
        drawn_at=sample.drawn_at,
        drawn_by=sample.drawn_by.name if sample.drawn_by else "",
        seed=bytes(sample.seed).hex() if is_drawn else "",
        word=sample.word,
        tz=sample.organisation.default_tz,
        access_until=sample.access_until,
    )


def percent_words(confidence: str) -> str:
    """``0.95`` as ``95 %``, ``0.995`` as ``99.5 %``."""
    return f"{float(confidence) * 100:.1f}".removesuffix(".0") + " %"


def sentence(lot: int, one_in: int, confidence: str, size: int) -> str:
    """What the plan means, for somebody who is no statistician."""
    return (
        f"You want to be {percent_words(confidence)} sure to notice a shop where 1 job in {one_in} is bad: "
        f"look at {size} of {lot}."
    )


def drawn_packets(sample: Sample) -> tuple[DrawnPacket, ...]:
    """What was drawn, in the order of the draw. The organisation's scope must be open."""
    rows = SampledPacket.objects.filter(sample=sample).order_by("place")
    return tuple(
        DrawnPacket(
            place=row.place,
            packet_id=row.packet.pk,
            serial=row.packet.serial,
            vehicle=f"{row.packet.job.order.vehicle.make} {row.packet.job.order.vehicle.model}",
            location=row.packet.job.location.name,
        )
        for row in rows.select_related("packet__job__order__vehicle", "packet__job__location")
    )


def archive_of(sample: Sample, person_id: UUID) -> SampleArchive | None:
    """The newest archive that this person asked for. The organisation's scope must be open."""
    rows = SampleArchive.objects.filter(sample=sample, person_id=person_id)
    return rows.order_by("-requested_at").first()


def archive_progress(archive: SampleArchive) -> int:
    """How many of its copies are made. The organisation's scope must be open."""
    return archive.copies.count()


# ------------------------------------------------------------------ drawn again


def faults_of_sheet(sheet: dict[str, Any]) -> list[str]:
    """What does not agree in a published sample by itself; empty: seed, population and draw agree."""
    if sheet.get("format") != FORMAT or not isinstance(sheet.get("population"), list):
        return ["This is no sheet of a sample."]
    if not sheet.get("seed"):
        return ["The sample is not drawn yet: its seed is not published."]
    faults = []
    seed = bytes.fromhex(str(sheet["seed"]))
    if sha256_hex(seed) != sheet.get("seed_sha256"):
        faults.append("The seed is not the one whose hash was committed.")
    if sha256_hex(canonical_bytes(sheet["population"])) != sheet.get("population_sha256"):
        faults.append("The population is not the one that was frozen.")
    again = draw(seed, str(sheet["word"]), [row["serial"] for row in sheet["population"]], sheet["look_at"])
    if list(again) != sheet.get("drawn"):
        faults.append("Drawn again, other packets come out.")
    return faults


def faults_against_log(sheet: dict[str, Any]) -> list[str]:
    """What does not agree with the log of this installation, and whether its entries stand in their order."""
    target = f"sample/{sheet.get('id')}"
    with unscoped():
        entries = {
            entry.what: (entry.n, json.loads(entry.detail))
            for entry in LogEntry.objects.filter(target=target, what__startswith="sample.")
        }
    wanted = ("sample.committed", "sample.frozen", "sample.drawn")
    if not all(what in entries for what in wanted):
        return ["The log of this installation does not tell of this draw."]
    committed, frozen, drawn = (entries[what] for what in wanted)
    faults = []
    if not committed[0] < frozen[0] < drawn[0]:
        faults.append("The log tells it in another order.")
    if committed[1].get("seed_sha256") != sheet.get("seed_sha256"):
        faults.append("Another seed was committed.")
    if frozen[1].get("population_sha256") != sheet.get("population_sha256"):
        faults.append("Another population was frozen.")
    told = (drawn[1].get("seed"), drawn[1].get("word"), drawn[1].get("drawn"))
    if told != (sheet.get("seed"), sheet.get("word"), sheet.get("drawn")):
        faults.append("The log tells of another draw.")
    return faults
