"""All packets of a sample as one ZIP: made by the worker, each copy stamped, counted and logged.

A worker that stops in between goes on after the last copy that was counted: none is made or logged twice.
"""

import io
import uuid
import zipfile
from collections.abc import Iterator
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Final
from uuid import UUID

from django.db import IntegrityError, transaction

from jobs import copies, outbox
from jobs.access import Actor
from jobs.errors import Conflict, DomainError, NotFound
from jobs.ledger.append import append
from jobs.link_access import holding
from jobs.models import (
    AccessGrant,
    ArchivedCopy,
    Packet,
    Sample,
    SampleArchive,
    SampledPacket,
    scope,
)
from jobs.services.downloads import NOBODY, Given, note_download
from jobs.services.packet import sealed_bytes, stamped_copy
from rules.canonical import canonical_bytes, sha256_hex

TASK: Final = "jobs.build_sample_archive"
PROGRAM: Final = "archive"
# So many copies for one lease of the worker; then the work is asked for again (project default: a copy takes
# a second or two, a lease at most five minutes).
AT_ONE_GO: Final = 40
KEPT_FOR: Final = timedelta(days=3)
WORKING: Final = ("waiting", "building")
PIECE_BYTES: Final = 1 << 18


@transaction.atomic
def request_archive(*, sample: Sample, actor: Actor, as_of: datetime, archive_id: UUID) -> SampleArchive:
    """Asks for the ZIP of a drawn sample; one that waits, is built or is still kept is joined.

    Raises:
        NotFound: not the person whom the sample was opened for, nor, where there is none, its organisation's.
        Conflict: ``not_drawn``.
    """
    own = sample.for_person_id is None and sample.organisation_id == actor.organisation_id
    if sample.for_person_id != actor.person.pk and not (own and not actor.is_outsider):
        raise NotFound()
    if sample.drawn_at is None:
        raise Conflict("not_drawn", "Nothing is drawn yet.")
    with scope(sample.organisation_id):
        Sample.objects.select_for_update().get(pk=sample.pk)
        there = SampleArchive.objects.filter(
            sample=sample, person=actor.person, state__in=(*WORKING, "ready")
        )
        for archive in there.order_by("-requested_at"):
            if archive.until is None or archive.until > as_of:
                return archive
        archive = SampleArchive(
            id=archive_id,
            organisation=sample.organisation,
            sample=sample,
            person=actor.person,
            total=SampledPacket.objects.filter(sample=sample).count(),
            requested_at=as_of,
        )
        archive.save(force_insert=True)
        _ask_for_work(archive, as_of)
        append(
            organisation=sample.organisation,
            at=as_of,
            who=actor.person.login,
            device="",
            what="archive.requested",
            target=f"sample/{sample.pk}",
            detail={"archive": str(archive.pk), "packets": archive.total},
        )
    return archive


def _ask_for_work(archive: SampleArchive, as_of: datetime) -> None:
    outbox.enqueue(
        organisation=archive.organisation,
        task=TASK,
        arguments={"archive_id": str(archive.pk)},
        key=f"archive/{archive.pk}",
        at=as_of,
    )


def perform_archive(*, archive_id: UUID, as_of: datetime) -> SampleArchive:
    """Makes the next copies, and the ZIP once all are there. The scope of the organisation is open."""
    archive = SampleArchive.objects.select_related("sample", "organisation", "person").get(pk=archive_id)
    if archive.state not in WORKING:
        return archive
    SampleArchive.objects.filter(pk=archive.pk, state="waiting").update(state="building")
    done = set(ArchivedCopy.objects.filter(archive=archive).values_list("place", flat=True))
    left = [row for row in _drawn(archive.sample) if row.place not in done]
    for row in left[:AT_ONE_GO]:
        _make_copy(archive, row, as_of)
    if len(left) > AT_ONE_GO:
        with transaction.atomic():
            _ask_for_work(archive, as_of)
            outbox.finish_here()
    else:
        _finish(archive, as_of)
    archive.refresh_from_db()
    return archive


def _drawn(sample: Sample) -> Iterator[SampledPacket]:
    rows = SampledPacket.objects.filter(sample=sample).order_by("place")
    return iter(rows.select_related("packet__job", "packet__organisation"))


def _make_copy(archive: SampleArchive, row: SampledPacket, as_of: datetime) -> None:
    """One packet's copy, counted like any other download; one that is no longer open is left out."""
    packet, grant = row.packet, _grant(archive, row.packet, as_of)
    if grant is None and archive.person.organisation_id != packet.organisation_id:
        return
    data = stamped_copy(packet=packet, grant=grant, at=as_of) if grant is not None else sealed_bytes(packet)
    name = uuid.uuid4()
    copies.put(name, data)
    try:
        with transaction.atomic():
            download = note_download(
                packet=packet,
                actor=_actor(archive),
                as_of=as_of,
                grant=grant,
                given=Given(sha256=sha256_hex(data), size_bytes=len(data), copy=name),
                caller=NOBODY,
            )
            kept = ArchivedCopy(
                organisation=archive.organisation,
                archive=archive,
                place=row.place,
                name=f"{row.place:04d}-{packet.serial.replace('/', '-')}.pdf",
                download=download,
            )
            kept.save(force_insert=True)
    except (DomainError, IntegrityError):
        # Access ended a moment ago, or another worker was quicker: neither is counted here.
        copies.remove(name)


def _grant(archive: SampleArchive, packet: Packet, as_of: datetime) -> AccessGrant | None:
    rows = AccessGrant.objects.filter(packet=packet, to_person=archive.person, sections=[])
    found = holding(rows, as_of=as_of).select_related("to_person__organisation", "link")
    return found.order_by("until", "pk").first()


def _actor(archive: SampleArchive) -> Actor:
    return Actor(
        person=archive.person,
        organisation=archive.person.organisation,
        location_ids=frozenset(),
        roles=frozenset(archive.person.roles),
    )


def _finish(archive: SampleArchive, as_of: datetime) -> None:
    """Puts the copies into one ZIP, stored as they are, with the sample's own sheet first."""
    rows = list(
        ArchivedCopy.objects.filter(archive=archive).select_related("download__packet").order_by("place")
    )
    copies.put_pieces(archive.pk, _zip_pieces(archive, rows))
    digest = sha256()
    size = 0
    for piece in copies.pieces(archive.pk, 0, copies.path(archive.pk).stat().st_size):
        digest.update(piece)
        size += len(piece)
    with transaction.atomic():
        moved = SampleArchive.objects.filter(pk=archive.pk, state__in=WORKING).update(
            state="ready", ready_at=as_of, until=as_of + KEPT_FOR, sha256=digest.hexdigest(), size_bytes=size
        )
        if moved == 1:
            detail = {"archive": str(archive.pk), "sha256": digest.hexdigest(), "copies": len(rows)}
            _log(archive, as_of, "archive.built", detail)
        outbox.finish_here()
    for row in rows:
        if row.download.copy is not None:
            copies.remove(row.download.copy)


def _zip_pieces(archive: SampleArchive, rows: list[ArchivedCopy]) -> Iterator[bytes]:
    """The ZIP in pieces: nothing is held in memory but the piece at hand and the list of contents."""
    sink = _Sink()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_STORED, allowZip64=True) as packed:
        sheet = zipfile.ZipInfo("sample.json", date_time=archive.requested_at.timetuple()[:6])
        packed.writestr(sheet, sample_sheet(archive.sample))
        for row in rows:
            entry = zipfile.ZipInfo(row.name, date_time=row.download.downloaded_at.timetuple()[:6])
            entry.external_attr = 0o644 << 16
            copy = row.download.copy
            assert copy is not None  # noqa: S101 - a copy for an archive always has its file
            with packed.open(entry, "w", force_zip64=True) as inside:
                for piece in copies.pieces(copy, 0, row.download.size_bytes):
                    inside.write(piece)
                    yield from sink.taken()
    yield from sink.taken()


class _Sink(io.RawIOBase):
    """Takes what the ZIP writer writes, and gives it on; the writer cannot go back in it."""

    def __init__(self) -> None:
        self.waiting: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, data: object) -> int:
        piece = bytes(memoryview(data))  # type: ignore[arg-type]  # any buffer
        self.waiting.append(piece)
        return len(piece)

    def taken(self) -> Iterator[bytes]:
        waiting, self.waiting = self.waiting, []
        yield from waiting


def sample_sheet(sample: Sample) -> bytes:
    """Everything with which anybody can draw the sample again, as canonical JSON; see ``redraw_sample``."""
    drawn = sample.drawn_at is not None
    return canonical_bytes(
        {
            "format": "sample 1",
            "id": str(sample.pk),
            "organisation": sample.organisation.name,
            "from": sample.from_on.isoformat(),
            "to": sample.to_on.isoformat(),
            "locations": list(sample.locations),
            "only_granted": sample.only_granted,
            "seed_sha256": sample.seed_sha256,
            "population": sample.population,
            "population_sha256": sample.population_sha256,
            "bad": sample.bad,
            "confidence": sample.confidence,
            "look_at": sample.size,
            "seed": bytes(sample.seed).hex() if drawn else "",
            "word": sample.word,
            "drawn": list(sample.drawn.order_by("place").values_list("packet__serial", flat=True)),
        }
    )


@transaction.atomic
def bury_archive(*, archive_id: UUID, error: str, as_of: datetime) -> None:
    """Marks an archive failed after the last attempt."""
    archive = SampleArchive.objects.select_related("sample", "organisation").get(pk=archive_id)
    moved = SampleArchive.objects.filter(pk=archive_id, state__in=WORKING).update(
        state="failed", failure=error[:300]
    )
    if moved == 1:
        _log(archive, as_of, "archive.failed", {"archive": str(archive.pk)})


def archive_open(archive: SampleArchive, *, as_of: datetime) -> bool:
    """Whether the ZIP may still be given: every packet in it is still open to whom it was made for."""
    with scope(archive.organisation_id):
        rows = ArchivedCopy.objects.filter(archive=archive).values("download__grant")
        made = AccessGrant.objects.filter(pk__in=rows)
        return (
            archive.until is not None
            and as_of < archive.until
            and (made.count() == holding(made, as_of=as_of).count())
        )


def note_archive_sent(*, archive: SampleArchive, first_byte: int, sent_bytes: int, as_of: datetime) -> None:
    """Notes in the log that the ZIP, or a stretch of it, went out; its packets were counted one by one."""
    whole = first_byte + sent_bytes == archive.size_bytes
    detail = {"archive": str(archive.pk), "first_byte": first_byte, "bytes": sent_bytes, "to_its_end": whole}
    with transaction.atomic():
        _log(archive, as_of, "archive.sent", detail, who=archive.person.login)


def _log(
    archive: SampleArchive, as_of: datetime, what: str, detail: dict[str, object], who: str = PROGRAM
) -> None:
    append(
        organisation=archive.organisation,
        at=as_of,
        who=who,
        device="",
        what=what,
        target=f"sample/{archive.sample_id}",
        detail=detail,
    )
