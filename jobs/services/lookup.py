"""The maker's text as it stood on the day somebody looked it up."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from jobs.access import Actor
from jobs.models import Job, TextLookup
from jobs.services import moments, recording, references, values


@dataclass(frozen=True, slots=True, kw_only=True)
class LookupEntry:
    """Document number, edition and section as printed in the maker's text."""

    id: UUID
    procedure_id: str
    document_number: str
    edition: str
    section: str
    retrieved_at: str
    device: UUID | None = None
    evidence: tuple[UUID, ...] = ()


def record_lookup(*, job: Job, actor: Actor, as_of: datetime, entry: LookupEntry) -> TextLookup:
    """Keeps one citation with who looked it up and when. Codes: text_length and those of moments."""
    recording.require_role(actor, *recording.FLOOR_ROLES)
    device = references.device(actor, entry.device, "device")
    lookup = TextLookup(
        id=entry.id,
        procedure_id=values.read_text(entry.procedure_id, "procedure_id", longest=80),
        document_number=values.read_text(entry.document_number, "document_number", longest=80),
        edition=values.read_text(entry.edition, "edition", shortest=0, longest=40),
        section=values.read_text(entry.section, "section", shortest=0, longest=80),
        retrieved=moments.read_optional(entry.retrieved_at, field="retrieved_at", device=device, as_of=as_of),
        retrieved_by=actor.person,
        device=device,
        evidence=references.evidence(job, entry.evidence),
    )
    return recording.keep(lookup, job=job, actor=actor, as_of=as_of, what="text.looked_up")
