"""Contexts of the finished windshield job for tests of the measured checks, with the packs on file."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from rules.checks.base import CheckContext, RequiredProcedure
from rules.facts import JobFacts, Session, live
from rules.packs.model import PackEdition
from rules.verdict import Outcome
from tests.rules.builders import at
from tests.rules.packs_on_file import packs_on_file
from tests.rules.windshield_job import windshield_job

Z = 1.645
_OF: Mapping[str, tuple[str, ...]] = {"OV-FC-ROAD": ("forward_camera",)}


def edition(pack: str, number: int) -> PackEdition:
    return next(item for item in packs_on_file().editions if (item.pack, item.edition) == (pack, number))


def governing(facts: JobFacts) -> Session | None:
    sessions = [item for item in live(facts.sessions) if item.procedure_id == "OV-FC-ROAD"]
    return sessions[-1] if sessions else None


def required(facts: JobFacts) -> dict[str, RequiredProcedure]:
    """The common record, the bond and the camera on the road, as this job requires them."""
    found: dict[str, RequiredProcedure] = {}
    for pack, number, name in (
        ("common-practice", 3, "CP-EVERY"),
        ("common-practice", 3, "CP-BOND"),
        ("orrinvale", 7, "OV-FC-ROAD"),
    ):
        book = edition(pack, number)
        procedure = book.procedure(name)
        assert procedure is not None
        session = governing(facts) if procedure.kind else None
        found[name] = RequiredProcedure(
            procedure=procedure, edition=book, sensors=_OF.get(name, ()), session=session
        )
    return found


def context(
    procedure_id: str, proof_id: str, facts: JobFacts | None = None, gate: str = "11:50", **fields: Any
) -> CheckContext:
    """The context of one proof of the windshield job; ``arguments`` replaces some of the proof's own."""
    job = windshield_job() if facts is None else facts
    all_required = required(job)
    current = all_required[procedure_id]
    proof = next(item for item in current.procedure.proofs if item.id == proof_id)
    changed = fields.pop("arguments", {})
    base: dict[str, Any] = {
        "facts": job,
        "gate_at": at(gate),
        "proof": replace(proof, arguments={**proof.arguments, **changed}),
        "current": current,
        "required": all_required,
        "z": Z,
        "outcomes": {},
    }
    return CheckContext(**{**base, **fields})


def said(outcome: Outcome) -> tuple[str, tuple[str, ...]]:
    """Verdict and reason codes."""
    return outcome.verdict, outcome.reasons


def numbers(outcome: Outcome) -> dict[str, float | None]:
    return {number.name: number.value for number in outcome.numbers}
