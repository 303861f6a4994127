"""The drive of one session step by step, for charts and packets: the analysis that the verdict rests on."""

from dataclasses import dataclass
from datetime import datetime

from rules.checks.base import CheckContext, RequiredProcedure
from rules.checks.drive import Needs, analyse_session, limits_of, needs_of
from rules.checks.session_track import SessionTrack, session_track
from rules.facts import JobFacts, Session, live
from rules.packs.model import PackEdition, Procedure, Proof
from rules.science.track import Analysis, DriveLimits


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveReview:
    """Track, limits, needs and every step with its reason; times are seconds of the log's clock."""

    track: SessionTrack
    limits: DriveLimits
    needs: Needs
    analysis: Analysis


def review_drive(
    facts: JobFacts, edition: PackEdition, session_id: str, gate_at: datetime
) -> DriveReview | None:
    """The drive of that session under ``edition``; None without a drive proof, or a track that can be judged.

    Args:
        facts: the snapshot as held at ``gate_at``.
        edition: the pack edition that governs the session.
        session_id: the session; its procedure must ask for a drive.
        gate_at: the gate instant.
    """
    session = next((item for item in live(facts.sessions) if item.id == session_id), None)
    procedure = None if session is None else edition.procedure(session.procedure_id)
    if session is None or procedure is None:
        return None
    proof = next((item for item in procedure.proofs if item.check == "drive_log"), None)
    if proof is None:
        return None
    context = _context(facts, (edition, procedure, proof), session, gate_at)
    track = session_track(context)
    if track is None or not track.in_order:
        return None
    return DriveReview(
        track=track,
        limits=limits_of(proof),
        needs=needs_of(proof),
        analysis=analyse_session(context, track, session),
    )


def _context(
    facts: JobFacts, text: tuple[PackEdition, Procedure, Proof], session: Session, gate_at: datetime
) -> CheckContext:
    edition, procedure, proof = text
    current = RequiredProcedure(procedure=procedure, edition=edition, sensors=(), session=session)
    return CheckContext(
        facts=facts,
        gate_at=gate_at,
        proof=proof,
        current=current,
        required={procedure.id: current},
        z=edition.z,
        outcomes={},
    )
