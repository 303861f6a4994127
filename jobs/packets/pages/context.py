"""What every chapter works from: the source with its indexes, and short names for records and files."""

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from jobs.packets.pages import times
from jobs.packets.pages.words import person_name, plain
from jobs.packets.source import EnclosedFile, PacketSource
from rules.facts import (
    RECORD_FIELDS,
    Certificate,
    EvidenceItem,
    JobFacts,
    Place,
    Qualification,
    Reading,
    Record,
    Scan,
    Session,
)
from rules.packs.model import PackEdition, Proof
from rules.result import Assessment, ProcedureResult

_KIND_WORDS = {
    "identity_readings": "identity reading",
    "fitted_ways": "fitted sensor",
    "estimate_lines": "estimate line",
    "operations": "operation",
    "closings": "closing of the operation list",
    "lookups": "look-up of the maker's text",
    "sessions": "session",
    "state_changes": "event",
    "glass_sets": "glass set",
    "climate_logs": "climate log",
    "voltage_logs": "voltage log",
    "drive_logs": "drive log",
    "readings": "reading",
    "scans": "scan",
    "lamp_records": "lamp record",
    "statements": "statement",
    "function_checks": "function check",
    "target_identities": "target number",
    "photos": "photo",
    "files": "file",
    "sign_offs": "signature",
    "waivers": "waiver",
    "refusals": "refusal",
    "explanations": "explanation",
    "sublet_trips": "sublet trip",
}
# The field that tells two records of one kind apart in print.
_DETAIL_FIELDS = (
    "way",
    "sensor",
    "operation",
    "document_number",
    "procedure_id",
    "kind",
    "quantity",
    "stage",
    "role",
)


@dataclass(frozen=True)
class PageContext:
    """One packet while its pages are written; ``editions`` are the enclosed packs as read."""

    source: PacketSource
    editions: tuple[PackEdition, ...]
    root: str

    @property
    def facts(self) -> JobFacts:
        return self.source.facts

    @property
    def assessment(self) -> Assessment:
        return self.source.assessment

    @property
    def place(self) -> Place:
        return self.source.facts.place

    def at(self, moment: datetime, seconds: bool = False) -> str:
        return times.instant(self.place, moment, seconds)

    def name(self, login: str) -> str:
        return person_name(self.facts, login)

    @cached_property
    def records(self) -> dict[str, tuple[str, Record]]:
        """Every record by id with the name of its list."""
        found: dict[str, tuple[str, Record]] = {}
        for field in RECORD_FIELDS:
            for record in getattr(self.facts, field):
                # A log and its file share one id: what was read from the file says more than the file.
                found.setdefault(record.id, (field, record))
        for item in self.facts.equipment:
            for certificate in item.certificates:
                found[certificate.id] = (f"certificate {certificate.number} of {item.tag}", certificate)
        for person in self.facts.people:
            for held in person.qualifications:
                found[held.id] = (f"qualification {held.kind} of {person.name}", held)
        return found

    @cached_property
    def files(self) -> dict[str, EnclosedFile]:
        return {file.evidence_id: file for file in self.source.files}

    @cached_property
    def sessions(self) -> dict[str, Session]:
        return {session.id: session for session in self.facts.sessions}

    @cached_property
    def proofs(self) -> dict[tuple[str, int, str, str], Proof]:
        """Proofs by (pack, edition, procedure id, proof id)."""
        return {
            (edition.pack, edition.edition, procedure.id, proof.id): proof
            for edition in self.editions
            for procedure in edition.procedures
            for proof in procedure.proofs
        }

    def edition(self, pack: str, number: int) -> PackEdition | None:
        """One of the enclosed editions."""
        return next((e for e in self.editions if (e.pack, e.edition) == (pack, number)), None)

    @cached_property
    def results(self) -> dict[str, ProcedureResult]:
        return {result.procedure_id: result for result in self.assessment.procedures}

    def evidence_number(self, evidence_id: str) -> str:
        """``evidence 4``, or empty where the id is no file of this packet."""
        file = self.files.get(evidence_id)
        if file is not None:
            return f"evidence {file.number}"
        found = self.records.get(evidence_id)
        if found is not None and isinstance(found[1], EvidenceItem):
            return f"evidence {found[1].number}"
        return ""

    def record_name(self, record_id: str) -> str:
        """A short name for what a verdict rests on; the id itself where nothing is known of it."""
        found = self.records.get(record_id)
        if found is None:
            return self.evidence_number(record_id) or record_id
        field, record = found
        if isinstance(record, EvidenceItem):
            return f"evidence {record.number}"
        words = _describe(field, record)
        numbers = (self.evidence_number(item) for item in (record_id, *record.evidence))
        shown = [text for text in dict.fromkeys(numbers) if text]
        return f"{words} ({', '.join(shown)})" if shown else words


def _describe(field: str, record: Record) -> str:
    words = _KIND_WORDS.get(field, field)
    if isinstance(record, Reading):
        place = "" if record.quantity in record.place else plain(record.place)
        return f"reading {plain(record.quantity if place else record.place)} {place}".strip()
    if isinstance(record, Session):
        return f"session of {record.procedure_id}, attempt {record.attempt}"
    if isinstance(record, Scan):
        return f"scan {plain(record.stage)}"
    if isinstance(record, Certificate | Qualification):
        return words
    detail = next((getattr(record, name) for name in _DETAIL_FIELDS if getattr(record, name, None)), "")
    return f"{words} {plain(str(detail))}".strip()
