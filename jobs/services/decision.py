"""What people decide and sign: the work, the review, waivers, refusals, explanations."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction

from jobs.access import Actor
from jobs.errors import Conflict, NotAllowed
from jobs.facts import job_facts, pack_set
from jobs.models import Explanation, Job, RecordedMoment, Refusal, Session, SignOff, Waiver
from jobs.services import moments, pins, recording, references, signing, values
from jobs.services.values import refused
from rules.editions import editions_at
from rules.packs.model import Procedure, Proof
from rules.science.trouble_codes import normalise
from rules.vocabulary import FUNCTIONS

# A reason that a stranger understands years later needs this many characters (project default).
SHORTEST_REASON: Final = 40
TECHNICIAN_ROLES: Final = ("technician", "glass_installer", "guest_calibrator")
# Whether the second signer may review is judged and printed, so a wrong one is recorded rather than refused.
REVIEW_ROLES: Final = (*TECHNICIAN_ROLES, "quality_reviewer", "quality_manager", "location_manager")
WAIVER_ROLES: Final = ("location_manager", "quality_reviewer", "quality_manager", "operations_manager")
RELATIONS: Final = ("owner", "authorised_agent", "other")


@dataclass(frozen=True, slots=True, kw_only=True)
class SignOffEntry:
    """``role`` technician or quality_reviewer; ``statement_version`` names the wording that is signed."""

    id: UUID
    role: str
    pin: str
    statement_version: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WaiverEntry:
    """Which proof, why it cannot be produced (40 characters or more), and what was done instead."""

    id: UUID
    procedure_id: str
    proof_id: str
    reason: str
    instead: str
    pin: str
    customer_told_at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusalEntry:
    """The owner declines a procedure; ``systems_named`` in the function names of SAE J3063."""

    id: UUID
    procedure_id: str
    refused_by_name: str
    relation: str
    told_text_version: str
    systems_named: tuple[str, ...]
    lamp_state: str
    signed_at: str
    device: UUID | None = None
    evidence: tuple[UUID, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ExplanationEntry:
    """Why a code that stays has nothing to do with the work (40 characters or more)."""

    id: UUID
    module: str
    code: str
    text: str
    ftb: str = ""


def sign(*, job: Job, actor: Actor, as_of: datetime, entry: SignOffEntry) -> SignOff:
    """Signs the work or the review, over everything the record holds now.

    The PIN is asked for each signature.

    Raises:
        NotAllowed: ``role_missing``, ``pin_wrong``, ``pin_locked``.
        Refused: ``bad_choice``, ``text_length``.
        Conflict: ``pin_not_set``, ``id_in_use``, ``job_archived``.
    """
    role = values.read_choice(entry.role, ("technician", "quality_reviewer"), "role")
    recording.require_role(actor, *(TECHNICIAN_ROLES if role == "technician" else REVIEW_ROLES))
    recording.require_not_archived(job)
    statement = values.read_text(entry.statement_version, "statement_version", longest=80)
    pins.check_pin(actor=actor, as_of=as_of, pin=entry.pin)
    with transaction.atomic():
        # The lock keeps records from slipping in between reading what is covered and signing it.
        Job.objects.select_for_update().get(pk=job.pk)
        return signing.keep_sign_off(
            sign_off_id=entry.id,
            role=role,
            statement_version=statement,
            facts=job_facts(job=job, as_of=as_of),
            job=job,
            actor=actor,
            as_of=as_of,
        )


def grant_waiver(*, job: Job, actor: Actor, as_of: datetime, entry: WaiverEntry) -> Waiver:
    """Takes one proof out of the gate under the actor's name; its verdict stays.

    After departure it is kept as a late note without effect: that is judged, not refused here.

    Raises:
        Refused: ``text_length`` (reason of 40 characters, instead), ``unknown_proof``, ``not_waivable``.
        NotAllowed: ``role_missing``, ``waive_role_missing``, ``same_person``, ``pin_wrong``, ``pin_locked``.
    """
    recording.require_role(actor, *WAIVER_ROLES)
    recording.require_not_archived(job)
    reason = values.read_text(entry.reason, "reason", shortest=SHORTEST_REASON)
    instead = values.read_text(entry.instead, "instead", shortest=10)
    proof = _waivable_proof(job, entry, as_of=as_of)
    role = _waiving_role(actor, proof)
    _refuse_performer(job, actor, entry.procedure_id)
    pins.check_pin(actor=actor, as_of=as_of, pin=entry.pin)
    waiver = Waiver(
        id=entry.id,
        procedure_id=entry.procedure_id,
        proof_id=entry.proof_id,
        granted_by=actor.person,
        role=role,
        reason=reason,
        instead=instead,
        at=RecordedMoment.exact(as_of),
        customer_told=moments.read_optional(
            entry.customer_told_at, field="customer_told_at", device=actor.device, as_of=as_of
        ),
        device=actor.device,
    )
    return recording.keep(waiver, job=job, actor=actor, as_of=as_of, what="waiver.granted")


def _procedure(job: Job, procedure_id: str, as_of: datetime) -> Procedure:
    facts = job_facts(job=job, as_of=as_of)
    for edition in editions_at(pack_set(job.organisation), facts, as_of):
        found = edition.procedure(procedure_id)
        if found is not None:
            return found
    raise refused("unknown_procedure", "procedure_id", "No pack in force has this procedure.")


def _waivable_proof(job: Job, entry: WaiverEntry, *, as_of: datetime) -> Proof:
    procedure = _procedure(job, entry.procedure_id, as_of)
    proof = next((item for item in procedure.proofs if item.id == entry.proof_id), None)
    if proof is None:
        raise refused("unknown_proof", "proof_id", f"{entry.procedure_id} has no proof {entry.proof_id}.")
    if not proof.waivable:
        raise refused("not_waivable", "proof_id", "The pack does not allow waiving this proof.")
    return proof


def _waiving_role(actor: Actor, proof: Proof) -> str:
    """The role under which the actor waives: the one the pack names, or any that may waive."""
    allowed = (proof.waive_role,) if proof.waive_role else WAIVER_ROLES
    for role in allowed:
        if role in actor.roles:
            return role
    raise NotAllowed("waive_role_missing", f"Only a {allowed[0].replace('_', ' ')} may waive this proof.")


def _refuse_performer(job: Job, actor: Actor, procedure_id: str) -> None:
    sessions = Session.objects.filter(job=job, procedure_id=procedure_id, ended_at__isnull=True)
    if sessions.filter(performed_by=actor.person).exists():
        raise NotAllowed("same_person", "Whoever did the work cannot waive its proofs.")


@transaction.atomic
def record_refusal(*, job: Job, actor: Actor, as_of: datetime, entry: RefusalEntry) -> Refusal:
    """Keeps that the owner declines a procedure. The actor is the witness.

    Raises:
        Conflict: ``refusals_not_allowed`` by the organisation.
        Refused: ``not_refusable``, ``unknown_procedure``, ``bad_choice``, ``list_empty``, and those of
            moments.
    """
    recording.require_role(actor, *recording.FLOOR_ROLES)
    if not job.organisation.refusal_allowed:
        raise Conflict("refusals_not_allowed", "This organisation accepts no refusals.")
    if not _procedure(job, entry.procedure_id, as_of).refusable:
        raise refused("not_refusable", "procedure_id", "The pack does not allow declining this procedure.")
    if not entry.systems_named:
        raise refused("list_empty", "systems_named", "Name every system that will not work as intended.")
    device = references.device(actor, entry.device, "device")
    refusal = Refusal(
        id=entry.id,
        procedure_id=entry.procedure_id,
        refused_by_name=values.read_text(entry.refused_by_name, "refused_by_name", longest=120),
        relation=values.read_choice(entry.relation, RELATIONS, "relation"),
        told_text_version=values.read_text(entry.told_text_version, "told_text_version", longest=80),
        systems_named=values.read_choices(
            [name.lower() for name in entry.systems_named], FUNCTIONS, "systems_named"
        ),
        lamp_state=values.read_text(entry.lamp_state, "lamp_state", longest=200),
        at=moments.read_moment(entry.signed_at, field="signed_at", device=device, as_of=as_of),
        witness=actor.person,
        device=device,
        evidence=references.evidence(job, entry.evidence),
    )
    return recording.keep(refusal, job=job, actor=actor, as_of=as_of, what="refusal.recorded")


def _trouble_code(entry: ExplanationEntry) -> tuple[str, str | None]:
    try:
        return normalise(entry.code, entry.ftb or None)
    except ValueError as error:
        raise refused("code_format", "code", "code must be a trouble code like C1A45 or C1A45-54.") from error


@transaction.atomic
def explain(*, job: Job, actor: Actor, as_of: datetime, entry: ExplanationEntry) -> Explanation:
    """A reviewer explains a trouble code that stays, or (code ``vin``) another VIN in a used module.

    Codes: role_missing, code_format, text_length.
    """
    recording.require_role(actor, "quality_reviewer")
    code, ftb = ("vin", None) if entry.code == "vin" else _trouble_code(entry)
    explanation = Explanation(
        id=entry.id,
        module=values.read_text(entry.module, "module", longest=80),
        code=code,
        ftb=ftb or "",
        text=values.read_text(entry.text, "text", shortest=SHORTEST_REASON),
        explained_by=actor.person,
        role="quality_reviewer",
        at=RecordedMoment.exact(as_of),
        device=actor.device,
    )
    return recording.keep(explanation, job=job, actor=actor, as_of=as_of, what="code.explained")
