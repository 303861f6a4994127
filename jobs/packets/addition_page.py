"""The pages of one addition as a PDF/A: what was added, when, to which sealed file, and the chain."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

from django.template.loader import render_to_string

from jobs.packets.fonts import printable
from jobs.packets.manifest import PlannedFile, grouped
from jobs.packets.pages.times import weekday_text
from jobs.packets.render import Order, render_pdf

FILE_NAME: Final = "addition.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class AdditionPage:
    """What the pages of one addition say.

    Attributes:
        data: the addition's canonical JSON, attached as it is.
        facts: the addition's facts as (name, value) in words, in order.
        tz: IANA zone of the place; times are shown in it.
    """

    serial: str
    organisation: str
    place: str
    tz: str
    paper: str
    number: int
    title: str
    at: datetime
    text: str
    facts: tuple[tuple[str, str], ...]
    root: str
    pdf_sha256: str
    sha256: str
    previous: str
    data: bytes
    seal_words: str


def addition_pdf(page: AdditionPage) -> bytes:
    """One page or more as PDF/A-3a with the addition itself attached; the same input gives the same bytes.

    Raises:
        jobs.packets.render.RenderError: the pages could not be made.
    """
    html = render_to_string(
        "packet/addition.html",
        {
            "page": page,
            "at": _instant(page.at, page.tz),
            "dated": page.at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "paragraphs": page.text.split("\n"),
            "style": "letter.css" if page.paper == "Letter" else "a4.css",
            "root": _halves(page.root),
            "pdf": _halves(page.pdf_sha256),
            "own": _halves(page.sha256),
            "previous": _halves(page.previous) if page.previous else [],
            "head": grouped(page.sha256[:8]),
        },
    )
    attached = PlannedFile(
        name=FILE_NAME,
        media_type="application/json",
        sha256=page.sha256,
        size_bytes=len(page.data),
        description="The addition itself, as its SHA-256 stands in the log",
        data=page.data,
    )
    return render_pdf(
        Order(
            page=printable(html),
            dated=page.at,
            identifier=page.sha256[:32],
            files=(attached,),
        )
    )


def _instant(at: datetime, tz: str) -> str:
    """``Tue 5 May 2026, 13:31:40 CDT (UTC-05:00)``; only the offset where the zone has no letters."""
    local = at.astimezone(ZoneInfo(tz))
    offset = f"UTC{local:%z}"
    offset = f"{offset[:-2]}:{offset[-2:]}"
    letters = local.tzname() or ""
    zone = f"{letters} ({offset})" if letters.isalpha() else offset
    return f"{weekday_text(local.date())}, {local:%H:%M:%S} {zone}"


def _halves(digest: str) -> list[str]:
    return [grouped(digest[:32]), grouped(digest[32:])]
