"""What the sheets of one packet share: the facts as judged, and each finding with its proof and records."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from jobs.packets.pages.context import PageContext
from rules.checks.base import CheckContext, RequiredProcedure
from rules.checks.order import order_proof
from rules.facts import JobFacts, Reading, Record, Session, facts_held_at
from rules.packs.model import Proof
from rules.quantities import Limit
from rules.verdict import Finding, Number


@dataclass(frozen=True)
class Desk:
    """One packet's facts as they were held at the gate instant."""

    context: PageContext

    @cached_property
    def facts(self) -> JobFacts:
        return facts_held_at(self.context.facts, self.context.assessment.gate_at)

    @cached_property
    def required(self) -> dict[str, RequiredProcedure]:
        """Required procedures with the text and session that governed them."""
        found: dict[str, RequiredProcedure] = {}
        sessions = {session.id: session for session in self.facts.sessions}
        for result in self.context.assessment.procedures:
            edition = self.context.edition(result.pack, result.edition)
            procedure = edition.procedure(result.procedure_id) if edition else None
            if edition is None or procedure is None or result.state != "required":
                continue
            found[result.procedure_id] = RequiredProcedure(
                procedure=procedure,
                edition=edition,
                sensors=(),
                session=sessions.get(result.governing_session or ""),
            )
        return found

    @cached_property
    def z(self) -> float:
        return max((edition.z for edition in self.context.editions), default=1.645)

    def paper(self, finding: Finding) -> "Paper":
        return Paper(desk=self, finding=finding)


@dataclass(frozen=True)
class Paper:
    """One finding on the desk."""

    desk: Desk
    finding: Finding

    @property
    def context(self) -> PageContext:
        return self.desk.context

    @property
    def facts(self) -> JobFacts:
        return self.desk.facts

    @cached_property
    def proof(self) -> Proof | None:
        """The proof of the pack; the implicit one of an order is made again."""
        own = self.finding
        found = self.context.proofs.get((own.pack, own.edition, own.procedure_id, own.proof_id))
        if found is None and own.check == "in_order" and own.procedure_id in self.desk.required:
            return order_proof(self.desk.required[own.procedure_id].procedure)
        return found

    @cached_property
    def session(self) -> Session | None:
        return next((item for item in self.facts.sessions if item.id == self.finding.session_id), None)

    @cached_property
    def numbers(self) -> dict[str, Number]:
        return {number.name: number for number in self.finding.outcome.numbers}

    def value(self, name: str) -> float | None:
        number = self.numbers.get(name)
        return None if number is None else number.value

    @cached_property
    def records(self) -> tuple[Record, ...]:
        """The records that the verdict rests on, as held at the gate instant."""
        ids = self.finding.outcome.evidence
        held = {
            record.id: record
            for name in ("readings", "scans", "climate_logs", "voltage_logs", "drive_logs")
            for record in getattr(self.facts, name)
        }
        others = self.context.records
        return tuple(
            held[item] if item in held else others[item][1] for item in ids if item in held or item in others
        )

    @cached_property
    def readings(self) -> tuple[Reading, ...]:
        return tuple(item for item in self.records if isinstance(item, Reading))

    def reading(self, quantity: str, place: str | None = None) -> Reading | None:
        """The last reading of a quantity among those the verdict rests on."""
        found = [r for r in self.readings if r.quantity == quantity and place in (None, r.place)]
        return max(found, key=lambda item: (item.at.low, item.id), default=None)

    def limit(self, name: str) -> Limit | None:
        value = None if self.proof is None else self.proof.arguments.get(name)
        return value if isinstance(value, Limit) else None

    def named(self, names: Iterable[str]) -> list[Number]:
        return [self.numbers[name] for name in names if name in self.numbers]

    def check_context(self) -> CheckContext | None:
        """The finding's own view of the record, for finding out which events it speaks of."""
        current = self.desk.required.get(self.finding.procedure_id)
        if current is None or self.proof is None:
            return None
        assessment = self.context.assessment
        return CheckContext(
            facts=self.facts,
            gate_at=assessment.gate_at,
            proof=self.proof,
            current=current,
            required=self.desk.required,
            z=self.desk.z,
            outcomes={(f.procedure_id, f.proof_id): f.outcome for f in assessment.findings},
            waived=tuple((f.procedure_id, f.proof_id) for f in assessment.findings if f.waived_by),
        )
