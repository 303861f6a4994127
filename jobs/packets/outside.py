"""A packet for outside hands: others' things replaced before judging, originals holding them left out."""

import codecs
import io
import json
import re
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any, Final

import pikepdf

from jobs.packets.source import EnclosedFile, PacketSource
from jobs.packets.strangers import Known, Replacer, compared, fold, has_vin_of_another, strings_in
from rules.assess import assess
from rules.canonical import from_plain, to_plain
from rules.facts import JobFacts, Photo
from rules.packs.model import PackSet
from rules.seal.redaction_check import LOG_HEAD

# The log entry of a judgement, which holds the hash of all facts.
VERDICT_COMPUTED: Final = "verdict.computed"
# The kind of thing for which an original stays behind, as redaction.json names kinds.
ANOTHERS: Final = "anothers_data"
CUSTOMERS: Final = "customer_name"
# Texts of at most this size are looked through (project default); larger ones hold samples, not names.
MOST_TEXT_BYTES: Final = 8_000_000
_TEXT_TYPES: Final = ("text/", "application/json", "application/xml", "application/gpx+xml")
_ASCII_VIN: Final = re.compile(rb"(?<![A-Za-z0-9])[A-HJ-NPR-Za-hj-npr-z0-9]{17}(?![A-Za-z0-9])")


def own_words(source: PacketSource) -> dict[str, str]:
    """The own customer's name, contact and plate (folded) with the words that stand for them."""
    order = source.order
    words = {
        fold(order.customer_name): "the customer",
        fold(order.customer_contact): "the customer's contact",
        fold(order.plate): "the car's plate",
    }
    last = order.customer_name.split()[-1:] if len(order.customer_name.split()) > 1 else []
    words |= {fold(name): "the customer" for name in last if len(fold(name)) >= 4}
    return {text: word for text, word in words.items() if len(text) >= 3}


def for_outside(
    source: PacketSource, packs: PackSet, known: Known, read: Callable[[str], bytes]
) -> PacketSource:
    """The source of an outside packet: replaced, judged anew, with what holds others' things left out.

    Args:
        source: as frozen from the record.
        packs: for judging.
        known: what belongs to others and what is not told of the own customer.
        read: gives the bytes with a SHA-256; OSError or ValueError where they cannot be had.
    """
    replacer = Replacer(known)
    facts = from_plain(JobFacts, replacer.facts(to_plain(source.facts)))
    files = tuple(_file(source, file, replacer, read) for file in source.files)
    return replace(
        source,
        facts=facts,
        assessment=assess(packs, facts, as_of=source.assessment.gate_at),
        files=files,
        withheld=(*source.withheld, *_log_paths(source, known, replacer)),
        strangers=replacer.count,
    )


# ------------------------------------------------------------------ files


def _file(
    source: PacketSource, file: EnclosedFile, replacer: Replacer, read: Callable[[str], bytes]
) -> EnclosedFile:
    reason = replacer.text(file.set_aside_reason)
    kind = _why_left_out(source, file, replacer, read)
    return replace(file, set_aside_reason=reason, withheld=kind)


def _why_left_out(
    source: PacketSource, file: EnclosedFile, replacer: Replacer, read: Callable[[str], bytes]
) -> str:
    """The kind of thing that keeps an original back; empty where it may go."""
    if belongs_to_others(source, file):
        return ANOTHERS
    try:
        data = read(file.sha256)
    except (OSError, ValueError):
        return ANOTHERS
    return kind_in_bytes(data, file.media_type, replacer.known)


def belongs_to_others(source: PacketSource, file: EnclosedFile) -> bool:
    """Whether a file was set aside, or shows another car as far as the record tells."""
    return file.set_aside_at is not None or file.evidence_id in _evidence_of_others(source)


def _evidence_of_others(source: PacketSource) -> frozenset[str]:
    """Evidence files that show another car: by VIN read from them, by slip, by being on another job too."""
    facts = source.facts
    found: set[str] = set()
    for reading in facts.identity_readings:
        if reading.vin_read.strip() and _differs(reading.vin_read, facts.vehicle.vin):
            found |= set(reading.evidence)
    for scan in facts.scans:
        if any(vin.strip() and _differs(vin, facts.vehicle.vin) for _, vin in scan.vin_per_module):
            found |= {*scan.evidence, scan.id}
    found |= {photo.id for photo in facts.photos if _is_of_another(photo, facts.job_id)}
    found |= {log.id for log in facts.drive_logs if any(reuse.decision != "different" for reuse in log.reuse)}
    return frozenset(found)


def _differs(read: str, own: str) -> bool:
    return "".join(read.split()).upper() != "".join(own.split()).upper()


def _is_of_another(photo: Photo, job_id: str) -> bool:
    foreign_slip = photo.slip is not None and photo.slip.authentic and photo.slip.job_id != job_id
    return foreign_slip or any(reuse.decision != "different" for reuse in photo.reuse)


def kind_in_bytes(data: bytes, media_type: str, known: Known) -> str:
    """The kind of thing in an original that must stay behind; empty where nothing was found.

    Looked through: every file for VINs; texts and the text of PDF files for names, plates and numbers too.
    What cannot be looked through (pixels) is not said to be free of anything.
    """
    for found in _ASCII_VIN.finditer(data):
        if has_vin_of_another(found.group().decode("ascii"), known.vin):
            return ANOTHERS
    if media_type == "application/pdf":
        text = pdf_text(data)
        if text is None:
            return ANOTHERS
    elif media_type.startswith(_TEXT_TYPES) and len(data) <= MOST_TEXT_BYTES:
        text = _plain_text(data, media_type)
    else:
        return ""
    if has_vin_of_another(text, known.vin):
        return ANOTHERS
    said = {compared(phrase) for phrase in known.said_in(text)}
    if any(phrase in known.others for phrase in said):
        return ANOTHERS
    return CUSTOMERS if said else ""


def _plain_text(data: bytes, media_type: str) -> str:
    """A text file's text; of JSON also what its strings say, however their letters are written."""
    is_wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    text = data.decode("utf-16" if is_wide else "utf-8-sig", "replace")
    if media_type != "application/json":
        return text
    try:
        return "\n".join((text, *strings_in(json.loads(text))))
    except (ValueError, RecursionError):
        return text


def pdf_text(data: bytes) -> str | None:
    """All strings of a PDF's pages and properties, as far as they stand there in plain; None: unreadable."""
    try:
        with pikepdf.Pdf.open(io.BytesIO(data)) as pdf:
            told = [str(value) for value in pdf.docinfo.values()] if pdf.docinfo is not None else []
            for page in pdf.pages:
                told.append("".join(_strings(page)))
            metadata = pdf.Root.get("/Metadata")
            if metadata is not None:
                told.append(metadata.read_bytes().decode("utf-8", "replace"))
    except (pikepdf.PdfError, ValueError, TypeError, AttributeError):
        return None
    return "\n".join(told)


def _strings(page: Any) -> Iterable[str]:
    for step in pikepdf.parse_content_stream(page):
        name, operands = str(step.operator), step.operands
        if name in ("Tj", "TJ", "'", '"'):
            for item in list(operands):
                for part in item if isinstance(item, pikepdf.Array) else (item,):
                    if isinstance(part, pikepdf.String):
                        yield str(part)
        elif name in ("T*", "Td", "TD", "Tm", "ET"):
            yield "\n"


# ------------------------------------------------------------------ log


def _log_paths(source: PacketSource, known: Known, replacer: Replacer) -> tuple[str, ...]:
    """Log lines that name somebody or the hash of a replaced text, and each line next to one of these.

    The line after holds the hash of the one before: with all else known it would let the text be guessed.
    """
    hidden: list[str] = []
    last = -1
    for line in source.log:
        told = f"{line.entry} {line.target}"
        names = known.said_in(told)
        hit = names or has_vin_of_another(told, known.vin) or any(old in told for old in replacer.hashes)
        # The hash over all facts as they were: with the rest known, what was replaced could be tried.
        hit = hit or (replacer.touched and line.what == VERDICT_COMPUTED)
        if hit:
            last = line.n
        if hit or line.n == last + 1:
            hidden.append(f"log/{line.n:09d}")
            if line.hash == source.log_head:
                hidden.append(LOG_HEAD)
    return tuple(hidden)
