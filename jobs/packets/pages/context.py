"""What every chapter works from: the source with its indexes, and short names for records and files."""

from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import Any

from jobs.packets.pages import times
from jobs.packets.pages.words import minus_signs, person_name
from jobs.packets.source import EnclosedFile, PacketSource
from rules.explain import Explanation, explanation
from rules.facts import JobFacts, Place, Record, Session
from rules.packs.model import PackEdition, Proof
from rules.record_names import RecordNames
from rules.result import Assessment, ProcedureResult
from rules.verdict import Finding


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

    @property
    def devices(self) -> tuple[Any, ...]:
        """Names of devices, each with ``id`` and ``name``; none in a source of an earlier form."""
        return tuple(getattr(self.source, "devices", ()))

    def name(self, login: str) -> str:
        return person_name(self.facts, login)

    @cached_property
    def names(self) -> RecordNames:
        return RecordNames(self.facts)

    @property
    def records(self) -> dict[str, tuple[str, Record]]:
        """Every record by id with the name of its list."""
        return self.names.records

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

    def record_name(self, record_id: str) -> str:
        """A short name for what a verdict rests on; the id itself where nothing is known of it."""
        return self.names.name(record_id)

    @cached_property
    def _numbers(self) -> dict[tuple[str, str], str]:
        found: dict[tuple[str, str], str] = {}
        for place, result in enumerate(self.assessment.procedures, start=1):
            own = [f for f in self.assessment.findings if f.procedure_id == result.procedure_id]
            for inner, finding in enumerate(own, start=1):
                found.setdefault((finding.procedure_id, finding.proof_id), f"5.{place}.{inner}")
        return found

    def proof_number(self, finding: Finding) -> str:
        """``5.2.7``: where chapter 5 tells of the proof."""
        return self._numbers.get((finding.procedure_id, finding.proof_id), "5")

    def proof_anchor(self, finding: Finding) -> str:
        """``proof-5-2-7``: the anchor of the same place."""
        return f"proof-{self.proof_number(finding).replace('.', '-')}"

    def explained(self, finding: Finding) -> Explanation:
        """The finding in the words that screen and API use too."""
        rests_on = finding.outcome.evidence
        told = explanation(finding, {item: self.record_name(item) for item in rests_on})
        return replace(
            told,
            required=minus_signs(told.required),
            shows=minus_signs(told.shows),
            why=minus_signs(told.why),
            change=minus_signs(told.change),
            notes=tuple(minus_signs(note) for note in told.notes),
        )
