"""What a check is given and the shared parts of checks: freshness, a session's own records, sentences."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime

from rules.facts import JobFacts, Moment, Session
from rules.packs.model import PackEdition, Procedure, Proof
from rules.verdict import Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class RequiredProcedure:
    """One required procedure with the text that governs it and its governing session.

    ``session`` is None where no governing session exists. ``order_open`` is True where the clocks leave open
    whether the session began after the operation that calls for the procedure.
    """

    procedure: Procedure
    edition: PackEdition
    sensors: tuple[str, ...]
    session: Session | None
    order_open: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckContext:
    """Everything one check may look at.

    Attributes:
        facts: the snapshot as held at ``gate_at``; ended records are still in it, use ``rules.facts.live``.
        gate_at: the gate instant G.
        proof: the proof to judge, with parsed arguments.
        current: the procedure that the proof belongs to.
        required: every required procedure by id, ``current`` among them.
        z: decision factor, the largest of the packs that apply.
        outcomes: outcomes of proofs judged before, by (procedure id, proof id); equipment_valid,
            people_qualified and in_order are judged after all others.
        refused_sensors: sensors whose aiming the owner refused with effect.
        waived: proofs waived with effect, as (procedure id, proof id).
        car_gone: the car has left, by the facts held at G.
    """

    facts: JobFacts
    gate_at: datetime
    proof: Proof
    current: RequiredProcedure
    required: Mapping[str, RequiredProcedure]
    z: float
    outcomes: Mapping[tuple[str, str], Outcome]
    refused_sensors: tuple[str, ...] = ()
    waived: tuple[tuple[str, str], ...] = ()
    car_gone: bool = False

    @property
    def session(self) -> Session | None:
        return self.current.session

    @property
    def procedure(self) -> Procedure:
        return self.current.procedure


Check = Callable[[CheckContext], Outcome]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartWindow:
    """Start and end of the session part that a proof belongs to; ``end`` is None while it runs."""

    start: Moment
    end: Moment | None
