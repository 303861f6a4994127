"""Evidence files come in: quarantine, digest, decoding in a limited child process, store, row, log entry."""

import hashlib
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import BinaryIO, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction

from jobs import storage
from jobs.access import Actor
from jobs.facts.reuse import Mine, bands_of, reuse_on_other_jobs
from jobs.intake import Decoded, remembered
from jobs.models import (
    Device,
    Equipment,
    Evidence,
    Job,
    PhotoHash,
    PhotoHashBand,
    Session,
)
from jobs.packets.copies import keep_copies
from jobs.services import (
    assessment_queue,
    capture,
    equipment_use,
    moments,
    recording,
    references,
    slips,
    values,
)
from jobs.services.values import refused
from rules.vocabulary import EVIDENCE_KINDS, EVIDENCE_STAGES

EVIDENCE_ROLES: Final = (*recording.FLOOR_ROLES, "integration")
PIECE_BYTES: Final = 1 << 20
MOST_SUBJECTS: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload:
    """What comes with the bytes.

    ``device`` is the one whose clock stamped ``captured_at`` or the log's samples.

    ``instrument`` is a tag, ``shows`` names photo subjects, ``claimed_sha256`` is 64 hex digits.
    """

    id: UUID
    claimed_sha256: str
    kind: str
    stage: str
    shows: tuple[str, ...] = ()
    captured_at: str = ""
    device: UUID | None = None
    session: UUID | None = None
    sessions: tuple[UUID, ...] = ()
    instrument: str = ""
    file_name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Header:
    """The upload's words, checked and resolved."""

    upload: Upload
    shows: list[str]
    device: Device | None
    session: Session | None
    sessions: list[str]
    instrument: Equipment | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Arrived:
    """Bytes in quarantine."""

    path: Path
    sha256: str
    size_bytes: int


def take_in(
    *,
    job: Job,
    actor: Actor,
    as_of: datetime,
    upload: Upload,
    source: BinaryIO,
    accept: Callable[[Decoded], None] | None = None,
) -> tuple[Evidence, bool]:
    """Takes one file for a job; the second value tells whether it is new.

    The same bytes twice for the same job are the same evidence, whatever id comes with them. What is refused
    leaves neither a row nor a file. ``accept`` may refuse by what was decoded, before anything is kept.

    Raises:
        Refused: ``digest_missing``, ``digest_mismatch``, ``too_large``, ``empty_file``, ``bad_choice``,
            ``bad_name``, those of moments and references, and every code of the decoders.
        Conflict: ``id_in_use``, ``job_archived``.
    """
    recording.require_role(actor, *EVIDENCE_ROLES)
    recording.require_not_archived(job)
    header = _read_header(upload, job=job, actor=actor)
    claimed_moment = moments.read_optional(
        upload.captured_at, field="captured_at", device=header.device, as_of=as_of
    )
    with _quarantine(source) as arrived:
        _check_digest(upload.claimed_sha256, arrived.sha256)
        there = _there(job, upload.id, arrived.sha256)
        if there is not None:
            return there, False
        decoded = remembered.decode(upload.kind, arrived.path, size_bytes=arrived.size_bytes)
        if accept is not None:
            accept(decoded)
        sha256 = storage.put_pieces(_pieces(arrived.path))
        copy_sha256 = storage.put_pieces(_pieces(decoded.working_copy)) if decoded.working_copy else ""
        keep_copies(organisation=job.organisation, of_sha256=sha256, copies=decoded.copies, as_of=as_of)
    captured, how = capture.captured_moment(
        decoded.facts,
        claimed_moment,
        device=header.device,
        zone=ZoneInfo(job.location.tz),
        as_of=as_of,
    )
    evidence = Evidence(
        id=upload.id,
        kind=upload.kind,
        stage=upload.stage,
        shows=header.shows,
        sha256=sha256,
        size_bytes=arrived.size_bytes,
        media_type=decoded.media_type,
        file_name=_plain_name(upload.file_name),
        session=header.session,
        sessions=header.sessions,
        instrument=header.instrument,
        device=header.device,
        captured_by=actor.person,
        captured=captured,
        captured_how=how,
        lat=decoded.facts.get("lat"),
        lon=decoded.facts.get("lon"),
        accuracy_m=decoded.facts.get("accuracy_m"),
        slip_code=slips.seen_slip(decoded.facts.get("slip_texts", ())),
        decoded={**decoded.facts, "decoder": decoded.decoder, "notes": list(decoded.notes)},
        working_copy_sha256=copy_sha256,
    )
    return keep_file(evidence, job=job, actor=actor, as_of=as_of)


def _read_header(upload: Upload, *, job: Job, actor: Actor) -> _Header:
    values.read_choice(upload.kind, EVIDENCE_KINDS, "kind")
    values.read_choice(upload.stage, EVIDENCE_STAGES, "stage")
    if len(upload.shows) > MOST_SUBJECTS:
        raise refused("too_many", "shows", f"shows has more than {MOST_SUBJECTS} names.")
    session_ids = (*((upload.session,) if upload.session is not None else ()), *upload.sessions)
    return _Header(
        upload=upload,
        shows=[values.read_name(name, "shows") for name in dict.fromkeys(upload.shows)],
        device=references.device(actor, upload.device, "device"),
        session=references.session(job, upload.session, "session"),
        sessions=references.sessions(job, session_ids, "sessions"),
        instrument=references.instrument(upload.instrument, "instrument"),
    )


def _plain_name(name: str) -> str:
    """A file's own name for display: without folders and control signs."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(sign for sign in last if sign.isprintable())[:200]


def _check_digest(claimed: str, found: str) -> None:
    if not claimed:
        raise refused("digest_missing", "sha256", "The SHA-256 of the bytes is missing.")
    if claimed.lower() != found:
        raise refused(
            "digest_mismatch", "sha256", "The bytes that arrived are not the ones that were sent. Send again."
        )


@contextmanager
def _quarantine(source: BinaryIO) -> Iterator[_Arrived]:
    """The bytes in a private folder of their own, gone again when the block ends, however it ends."""
    root = Path(settings.EVIDENCE_ROOT) / "quarantine"
    root.mkdir(parents=True, exist_ok=True, mode=0o700)
    with tempfile.TemporaryDirectory(dir=root) as folder:
        path = Path(folder) / "file"
        digest, size_bytes = hashlib.sha256(), 0
        with path.open("xb") as target:
            while piece := source.read(PIECE_BYTES):
                size_bytes += len(piece)
                if size_bytes > settings.MAX_UPLOAD_BYTES:
                    raise refused(
                        "too_large", "body", f"A file has at most {settings.MAX_UPLOAD_BYTES:,} bytes."
                    )
                digest.update(piece)
                target.write(piece)
        if size_bytes == 0:
            raise refused("empty_file", "body", "The file is empty.")
        yield _Arrived(path=path, sha256=digest.hexdigest(), size_bytes=size_bytes)


def _pieces(path: Path) -> Iterator[bytes]:
    with path.open("rb") as stream:
        while piece := stream.read(PIECE_BYTES):
            yield piece


def _there(job: Job, evidence_id: UUID, sha256: str) -> Evidence | None:
    """The evidence that these bytes already are; ``id_in_use`` where the id carries other bytes."""
    same = Evidence.objects.filter(job=job, sha256=sha256).first()
    if same is not None:
        return same
    if Evidence.objects.filter(pk=evidence_id).exists():
        raise recording.id_in_use()
    return None


@transaction.atomic
def keep_file(evidence: Evidence, *, job: Job, actor: Actor, as_of: datetime) -> tuple[Evidence, bool]:
    """Row, number, picture hash, uses and log entry of bytes that lie in the store already."""
    recording.require_not_archived(job)
    # The job's row lock gives numbers without a gap and lets one of two equal uploads see the other.
    counted = Job.objects.select_for_update().get(pk=job.pk)
    there = _there(job, evidence.pk, evidence.sha256)
    if there is not None:
        return there, False
    evidence.job = job
    evidence.number = counted.evidence_count + 1
    recording.stamp(evidence, actor=actor, as_of=as_of)
    recording.insert(evidence)
    Job.objects.filter(pk=job.pk).update(evidence_count=evidence.number)
    _keep_picture_hash(evidence)
    equipment_use.note_uses(
        job=job,
        session=evidence.session,
        kind="evidence",
        uses=[(evidence.instrument, evidence.pk, evidence.captured.reading)],
    )
    _judge_jobs_with_the_same(evidence, job=job, actor=actor, as_of=as_of)
    detail = {
        "evidence": str(evidence.pk),
        "number": evidence.number,
        "kind": evidence.kind,
        "sha256": evidence.sha256,
        "bytes": evidence.size_bytes,
    }
    assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)
    recording.log(actor=actor, as_of=as_of, what="evidence.added", job=job, detail=detail)
    return evidence, True


def _keep_picture_hash(evidence: Evidence) -> None:
    dhash64 = evidence.decoded.get("dhash64")
    if not isinstance(dhash64, str):
        return
    photo = PhotoHash(organisation_id=evidence.organisation_id, evidence=evidence, dhash64=dhash64)
    photo.save(force_insert=True)
    PhotoHashBand.objects.bulk_create(
        PhotoHashBand(organisation_id=evidence.organisation_id, photo=photo, band=band, value=value)
        for band, value in enumerate(bands_of(dhash64))
    )


def _judge_jobs_with_the_same(evidence: Evidence, *, job: Job, actor: Actor, as_of: datetime) -> None:
    """An open job that holds the same file or picture gets the same finding, so it is judged anew too."""
    mine = Mine(id=evidence.pk, sha256=evidence.sha256, dhash64=str(evidence.decoded.get("dhash64") or ""))
    others = [UUID(reuse.other_evidence) for reuse in reuse_on_other_jobs(job, [mine]).get(evidence.pk, ())]
    if not others:
        return
    for other in Job.objects.filter(evidences__in=others).exclude(state="archived").distinct():
        assessment_queue.judge_soon(job=other, actor=actor, as_of=as_of)
