"""Short names for records: what a verdict rests on, with the job's own numbers of its evidence files."""

from collections.abc import Iterable
from typing import Final

from rules.facts import (
    RECORD_FIELDS,
    Certificate,
    EvidenceItem,
    FloorSurvey,
    JobFacts,
    Qualification,
    Reading,
    Record,
    Scan,
    Session,
)

_KIND_WORDS: Final = {
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
    "floor_surveys": "floor survey",
}
# The field that tells two records of one kind apart in print.
_DETAIL_FIELDS: Final = (
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


class RecordNames:
    """Every record of one job by id, and what it is called in print."""

    def __init__(self, facts: JobFacts) -> None:
        self.records = records_by_id(facts)
        # A log and its file share one id: the file has the number.
        self.numbers = {item.id: item.number for item in (*facts.photos, *facts.files)}

    def evidence_number(self, evidence_id: str) -> str:
        """``evidence 4``, or empty where the id is no evidence file of this job."""
        number = self.numbers.get(evidence_id)
        return "" if number is None else f"evidence {number}"

    def name(self, record_id: str) -> str:
        """A short name for a record, its evidence numbers behind it; the id itself where nothing is known."""
        found = self.records.get(record_id)
        if found is None:
            return self.evidence_number(record_id) or record_id
        field, record = found
        if isinstance(record, EvidenceItem):
            return f"evidence {record.number}"
        numbers = (self.evidence_number(item) for item in (record_id, *record.evidence))
        shown = [text for text in dict.fromkeys(numbers) if text]
        words = _describe(field, record)
        return f"{words} ({', '.join(shown)})" if shown else words


def records_by_id(facts: JobFacts) -> dict[str, tuple[str, Record]]:
    """Every record by id with the name of its list; what was read from a file says more than the file."""
    found: dict[str, tuple[str, Record]] = {}
    for field in RECORD_FIELDS:
        for record in getattr(facts, field):
            found.setdefault(record.id, (field, record))
    for item in facts.equipment:
        for certificate in item.certificates:
            found[certificate.id] = (f"certificate {certificate.number} of {item.tag}", certificate)
    for person in facts.people:
        for held in person.qualifications:
            found[held.id] = (f"qualification {held.kind} of {person.name}", held)
    return found


def names_of(facts: JobFacts, record_ids: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """(id, name) of each of these records that the job knows, by id."""
    names = RecordNames(facts)
    known = (item for item in dict.fromkeys(record_ids) if item in names.records or item in names.numbers)
    return tuple((item, names.name(item)) for item in sorted(known))


def _describe(field: str, record: Record) -> str:
    words = _KIND_WORDS.get(field, field)
    if isinstance(record, Reading):
        place = "" if record.quantity in record.place else _plain(record.place)
        return f"reading {_plain(record.quantity if place else record.place)} {place}".strip()
    if isinstance(record, Session):
        return f"session of {record.procedure_id}, attempt {record.attempt}"
    if isinstance(record, Scan):
        return f"scan {_plain(record.stage)}"
    if isinstance(record, Certificate | Qualification):
        return words
    if isinstance(record, FloorSurvey):
        return f"{words} of bay {record.bay}"
    detail = next((getattr(record, name) for name in _DETAIL_FIELDS if getattr(record, name, None)), "")
    return f"{words} {_plain(str(detail))}".strip()


def _plain(code: str) -> str:
    return code.replace("_", " ").replace(".", " ").replace("tyre", "tire")
