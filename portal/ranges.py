"""A kept copy as an answer: the whole, or from where an interrupted download stopped (RFC 9110, 14)."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase

from jobs import copies
from jobs.errors import Gone
from jobs.link_access import still_open
from jobs.models import PacketDownload, SampleArchive
from jobs.packets.bundle import folder_name
from jobs.services.downloads import BUNDLE, PDF, Stretch, note_transfer
from jobs.services.sample_archive import archive_open, note_archive_sent
from portal.addresses import caller_of
from portal.clock import now
from portal.downloads import headers_of

MEDIA_TYPES: Final = {PDF: "application/pdf", BUNDLE: "application/zip"}
_ONE_RANGE: Final = re.compile(r"bytes=(\d{0,19})-(\d{0,19})", re.ASCII)


class AccessTakenBackError(RuntimeError):
    """Access ended while bytes were on their way: the connection is cut, so that none takes them for all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A file that is kept for a while; ``is_open`` is asked before each piece, ``note`` told at the end."""

    copy: UUID
    sha256: str
    size_bytes: int
    media_type: str
    file_name: str
    is_open: Callable[[], bool]
    note: Callable[[Stretch], None]


@dataclass(frozen=True, slots=True)
class Wanted:
    """Bytes ``first`` to before ``end`` of ``size``."""

    first: int
    end: int
    size: int

    @property
    def is_part(self) -> bool:
        return (self.first, self.end) != (0, self.size)


def wanted_bytes(request: HttpRequest, *, etag: str, size: int) -> Wanted | None:
    """What the Range header asks for; the whole where there is none that counts, None where it lies outside.

    Several ranges at once, other units and a Range with an If-Range of another file give the whole.
    """
    whole = Wanted(0, size, size)
    if_range = request.headers.get("If-Range")
    if if_range is not None and if_range.strip() != etag:
        return whole
    found = _ONE_RANGE.fullmatch(request.headers.get("Range", "").replace(" ", ""))
    if found is None or not any(found.groups()):
        return whole
    first_text, last_text = found.groups()
    if not first_text:
        length = min(int(last_text), size)
        return Wanted(size - length, size, size) if length else None
    first = int(first_text)
    end = min(int(last_text) + 1, size) if last_text else size
    if last_text and int(last_text) < first:
        return whole
    return Wanted(first, end, size) if first < size else None


def kept_download(request: HttpRequest, download: PacketDownload) -> Kept:
    """A recipient's copy of one packet, as it was counted. Raises ``Gone`` ``copy_gone``."""
    if download.copy is None:
        raise Gone("copy_gone", "No copy is kept of this.")
    caller = caller_of(request)

    def note(stretch: Stretch) -> None:
        note_transfer(download=download, stretch=stretch, as_of=now(), caller=caller)

    return Kept(
        copy=download.copy,
        sha256=download.sha256,
        size_bytes=download.size_bytes,
        media_type=MEDIA_TYPES[download.form],
        file_name=f"{folder_name(download.packet.serial)}.{'zip' if download.form == BUNDLE else 'pdf'}",
        is_open=lambda: still_open(download, as_of=now()),
        note=note,
    )


def kept_archive(archive: SampleArchive, *, as_of: datetime) -> Kept:
    """The ZIP of a sample. Raises ``Gone`` ``copy_gone`` unless it is ready and still kept."""
    if archive.state != "ready" or archive.until is None or archive.until <= as_of:
        raise Gone("copy_gone", "This archive is not ready, or no longer kept.")

    def note(stretch: Stretch) -> None:
        note_archive_sent(
            archive=archive, first_byte=stretch.first_byte, sent_bytes=stretch.sent_bytes, as_of=now()
        )

    return Kept(
        copy=archive.pk,
        sha256=archive.sha256,
        size_bytes=archive.size_bytes or 0,
        media_type="application/zip",
        file_name=f"sample-{str(archive.sample_id)[:8]}.zip",
        is_open=lambda: archive_open(archive, as_of=now()),
        note=note,
    )


def copy_answer(request: HttpRequest, kept: Kept) -> HttpResponseBase:
    """The copy or the part of it that is asked for; what was really sent is noted when it is over.

    ``HEAD`` tells size and name and notes nothing. Raises ``Gone`` ``copy_gone``.
    """
    if not copies.exists(kept.copy):
        raise Gone("copy_gone", "This copy is no longer kept. Ask for it once more.")
    headers = headers_of(sha256=kept.sha256, size_bytes=kept.size_bytes, file_name=kept.file_name)
    headers |= {"Accept-Ranges": "bytes", "Cache-Control": "private, no-store"}
    wanted = wanted_bytes(request, etag=headers["ETag"], size=kept.size_bytes)
    if wanted is None:
        del headers["Content-Length"], headers["Repr-Digest"]
        headers["Content-Range"] = f"bytes */{kept.size_bytes}"
        return HttpResponse(status=416, headers=headers)
    headers["Content-Length"] = str(wanted.end - wanted.first)
    if wanted.is_part:
        headers["Content-Range"] = f"bytes {wanted.first}-{wanted.end - 1}/{wanted.size}"
    status = 206 if wanted.is_part else 200
    if request.method == "HEAD":
        return HttpResponse(content_type=kept.media_type, status=status, headers=headers)
    return StreamingHttpResponse(
        _sent(kept, wanted), content_type=kept.media_type, status=status, headers=headers
    )


def _sent(kept: Kept, wanted: Wanted) -> Iterator[bytes]:
    """The bytes in pieces; access is asked for before each, and in the end it is noted what went out."""
    sent, stopped = 0, False
    try:
        for piece in copies.pieces(kept.copy, wanted.first, wanted.end - wanted.first):
            if not kept.is_open():
                stopped = True
                raise AccessTakenBackError
            yield piece
            sent += len(piece)
    finally:
        kept.note(Stretch(first_byte=wanted.first, sent_bytes=sent, stopped=stopped))
