"""The reader of a packet: page 1 first, each claim with its evidence and computation, what is left out."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.http import HttpResponse
from django.urls import reverse

from jobs.access import scope_of
from jobs.errors import NotFound
from jobs.packets.additions import additions_listed
from jobs.packets.told import LEFT_OUT, Told, ToldFile, told_by
from jobs.packets.told import picture_of as photo_of
from jobs.selectors import granted
from jobs.services.time_line import time_line_page_of_packet
from portal.web.job_page import page_of
from portal.web.proof_rows import Row

# What each part is called; those without a code of a grant's sections come always.
PARTS: Final = (
    ("statement", "Statement of record"),
    ("required", "What was required"),
    ("vehicle", "Vehicle and shop"),
    ("procedures", "Procedures"),
    ("people", "People and signatures"),
    ("waivers", "Waivers and refusals"),
    ("time_line", "Time line"),
    ("evidence", "Evidence"),
    ("computations", "Computations"),
    ("packs", "Packs"),
    ("log", "Log extract"),
    ("withheld", "Withheld"),
    ("additions", "Later additions"),
)
ALWAYS: Final = frozenset({"statement", "withheld", "additions"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Where the reader's buttons lead: its own page, the download, and its photos up to their number."""

    own: str
    take: str
    bundle: str
    times: str
    pictures: str
    back: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """One claim of the statement: a sentence, its verdict where it has one, and where it can be looked up."""

    number: int
    words: str
    verdict: str
    anchor: str
    evidence: tuple[int, ...]
    instruments: tuple[str, ...]
    citation: str


def places_of_person(packet_id: Any) -> Places:
    return Places(
        own=reverse("web:packet", args=[packet_id]),
        take=reverse("web:packet-download", args=[packet_id]),
        bundle=reverse("web:packet-bundle", args=[packet_id]),
        times=reverse("web:packet-times", args=[packet_id]),
        pictures=reverse("web:packet", args=[packet_id]) + "/pictures/",
        back=reverse("web:packets"),
    )


def places_of_link(token: str, packet_id: Any) -> Places:
    own = reverse("web:link-packet", args=[token, packet_id])
    return Places(
        own=own,
        take=reverse("web:link-take", args=[token, packet_id]),
        bundle=reverse("web:link-bundle", args=[token, packet_id]),
        times=reverse("web:link-times", args=[token, packet_id]),
        pictures=own + "/pictures/",
        back=reverse("web:link", args=[token]),
    )


def reader_of(grant: Any, places: Places, *, as_of: datetime) -> dict[str, Any]:
    """Everything the reader's template shows of a granted packet.

    Args:
        grant: as ``jobs.access`` or ``jobs.link_access`` gave it: of a sealed packet.
    """
    packet = grant.packet
    with scope_of(packet):
        summary = granted.summary(grant)
        check = granted.integrity(packet)
        told = told_by(packet) if check.is_intact else None
        additions = list(additions_listed(packet))
        newer = granted.newer_than(packet)
    shown = page_of(told.assessment if told else None, told.people if told else {}, summary.tz)
    open_parts = ALWAYS | set(grant.sections) if grant.sections else {code for code, _ in PARTS}
    return {
        "packet": summary,
        "page": shown,
        "check": check,
        "told": told,
        "vehicle": _vehicle(told.facts) if told else {},
        "claims": _claims(shown) if told else [],
        "files": _files(told) if told else [],
        "additions": additions,
        "tz": summary.tz,
        "newer": newer,
        "open": {code: code in open_parts for code, _ in PARTS},
        "parts": [_part(code, name, told, additions) for code, name in PARTS if code in open_parts],
        "is_limited": bool(grant.sections),
        "closed_parts": [name for code, name in PARTS if code not in open_parts],
        "places": places,
        "recipient": grant.recipient,
        "left": None if grant.max_downloads is None else max(grant.max_downloads - grant.downloads, 0),
        "as_of": as_of,
    }


def _part(code: str, name: str, told: Told | None, additions: list[Any]) -> dict[str, Any]:
    counts = {"additions": len(additions)}
    if told is not None:
        counts |= {"evidence": len(told.files), "withheld": len(told.withheld), "log": told.log_entries}
        counts["computations"] = len(told.assessment.findings) if told.assessment else 0
    return {"code": code, "name": name, "count": counts.get(code)}


def _vehicle(facts: Mapping[str, Any]) -> dict[str, str]:
    """What the file says of the car and its owner; ``withheld`` where this copy leaves it out."""

    def of(path: str) -> str:
        return str(facts[path]) if path in facts and facts[path] is not None else LEFT_OUT

    return {
        "name": f"{of('facts/vehicle/make')} {of('facts/vehicle/model')} {of('facts/vehicle/model_year')}",
        "vin": of("facts/vehicle/vin"),
        "plate": of("order/plate"),
        "owner": of("order/customer_name"),
        "payer": of("order/payer"),
    }


def _claims(page: Mapping[str, Any]) -> list[Claim]:
    """The claims in the order of page 1: why something was required, then each proof with its verdict."""
    claims: list[Claim] = []
    if not page["judged"]:
        return claims
    because = {item.procedure_id: item for item in page["required"]}
    for procedure in page["procedures"]:
        rows: list[Row] = procedure["rows"]
        required = because.get(rows[0].procedure_id) if rows else None
        if required is not None:
            claims.append(
                _claim(len(claims), required.sentence, anchor=f"why-{required.procedure_id}", of=required)
            )
        claims += [
            _claim(len(claims) + place, f"{row.title}. {row.line}", anchor=f"sheet-{row.anchor}", of=row.told)
            for place, row in enumerate(rows)
        ]
    return claims


def _claim(before: int, words: str, *, anchor: str, of: Any) -> Claim:
    return Claim(
        number=before + 1,
        words=words,
        verdict=getattr(of, "verdict", ""),
        anchor=anchor,
        evidence=getattr(of, "evidence", ()),
        instruments=getattr(of, "instruments", ()),
        citation=of.citation,
    )


def _files(told: Told) -> list[ToldFile]:
    return list(told.files)


def times_of(grant: Any) -> dict[str, Any]:
    """What the page of the time line shows of a granted packet; ``NotFound`` where it is not granted."""
    if grant.sections and "time_line" not in grant.sections:
        raise NotFound()
    packet = grant.packet
    with scope_of(packet):
        line = time_line_page_of_packet(packet)
    return {"line": line, "number": packet.serial, "is_packet": True, "tz": packet.job.location.tz}


def picture_of(grant: Any, number: int) -> HttpResponse:
    """One photo of a granted packet. Raises ``NotFound`` where the packet or the grant shows none."""
    if grant.sections and "evidence" not in grant.sections:
        raise NotFound()
    with scope_of(grant.packet):
        data = photo_of(grant.packet, number)
    if data is None:
        raise NotFound()
    headers = {
        "Content-Security-Policy": "sandbox; default-src 'none'",
        "Content-Disposition": "inline",
        "X-Content-Type-Options": "nosniff",
        "Cross-Origin-Resource-Policy": "same-origin",
    }
    return HttpResponse(data, content_type="image/jpeg", headers=headers)
