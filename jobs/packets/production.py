"""What was handed to whom, when, with which hash, under which grant; and the data of a custodian's form."""

import unicodedata
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any, Final

from jobs.ledger.entry import instant_text
from jobs.models import AccessGrant, Job, LedgerHead, LegalHold, Packet, PacketDownload
from jobs.packets.additions import additions_listed, check_chain
from jobs.selectors.deletions import deletions_of_job, words_of
from jobs.selectors.holds import holds_over

# What a spreadsheet would take for a formula (OWASP, CSV Injection; from memory), and line breaks.
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n")
COLUMNS: Final = (
    "at", "recipient", "login", "serial", "kind", "sha256", "bytes", "grant", "purpose", "granted_by",
    "granted_at", "until", "revoked_at", "request",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductionLine:
    """One time a packet was taken. ``grant`` is empty for the operator's own people; ``at`` is UTC.

    ``sha256`` is of the bytes that were given: of a recipient's own stamped copy, or of the sealed file.
    """

    at: str
    recipient: str
    login: str
    serial: str
    kind: str
    sha256: str
    bytes: int
    grant: str = ""
    purpose: str = ""
    granted_by: str = ""
    granted_at: str = ""
    until: str = ""
    revoked_at: str = ""
    request: str = ""

    def to_plain(self) -> dict[str, Any]:
        return asdict(self)


def production_lines(job: Job, as_of: datetime) -> tuple[ProductionLine, ...]:
    """Every taking of every packet of the job up to ``as_of``, the oldest first; the job's scope is open."""
    rows = PacketDownload.objects.filter(packet__job=job, downloaded_at__lte=as_of).select_related(
        "packet", "grant__granted_by", "grant__link", "grant__to_person__organisation", "person__organisation"
    )
    return tuple(_line(row) for row in rows.order_by("downloaded_at", "pk"))


def _line(row: PacketDownload) -> ProductionLine:
    grant = row.grant
    told = {} if grant is None else _grant_fields(grant)
    return ProductionLine(
        at=instant_text(row.downloaded_at),
        recipient=_recipient(row),
        login=row.person.login if row.person is not None else "",
        serial=row.packet.serial,
        kind=row.packet.kind,
        sha256=row.sha256,
        bytes=row.size_bytes,
        request=row.request_id,
        **told,
    )


def _recipient(row: PacketDownload) -> str:
    if row.recipient:
        return row.recipient
    if row.grant is not None:
        return row.grant.recipient
    return f"{row.person.organisation.name}, {row.person.name}" if row.person is not None else ""


def _grant_fields(grant: AccessGrant) -> dict[str, str]:
    return {
        "grant": str(grant.pk),
        "purpose": grant.purpose,
        "granted_by": grant.granted_by.login,
        "granted_at": instant_text(grant.granted_at),
        "until": instant_text(grant.until),
        "revoked_at": instant_text(grant.revoked_at) if grant.revoked_at is not None else "",
    }


def safe_cell(value: object) -> str:
    """A cell that no spreadsheet takes for a formula: an apostrophe goes before what could start one.

    RFC 4180 quotes the rest; line breaks inside a cell become blanks.
    """
    text = " ".join(str(value).splitlines()) if isinstance(value, str) else str(value)
    # Full-width signs are taken for the plain ones by some programs.
    plain = unicodedata.normalize("NFKC", text)
    return f"'{text}" if plain.startswith(_FORMULA) or plain.lstrip().startswith(_FORMULA) else text


def production_csv(lines: tuple[ProductionLine, ...]) -> bytes:
    """The production log as CSV (RFC 4180), UTF-8, with CRLF; every cell quoted and safe to open."""
    rows = [list(COLUMNS), *([line.to_plain()[name] for name in COLUMNS] for line in lines)]
    return "".join(_csv_row(row) for row in rows).encode("utf-8")


def _csv_row(cells: list[Any]) -> str:
    quoted = (safe_cell(cell).replace('"', '""') for cell in cells)
    return ",".join(f'"{cell}"' for cell in quoted) + "\r\n"


# ------------------------------------------------------------------ the custodian's form


def custodian_form(packet: Packet, as_of: datetime) -> dict[str, Any]:
    """What a custodian's certificate can state of a packet from the record alone, and what a person must add.

    For counsel to adapt (United States: Federal Rules of Evidence 803(6), 902(11), 902(13), 902(14)). The
    program states facts; it certifies nothing, and whoever signs answers for what he or she signs.
    """
    job, organisation = packet.job, packet.organisation
    head = LedgerHead.objects.filter(pk=organisation.pk).first()
    chain_faults = check_chain(packet)
    return {
        "format": "custodian form 1",
        "made_at": instant_text(as_of.astimezone(UTC)),
        "organisation": organisation.name,
        "record": {
            "order": job.number,
            "packet": packet.serial,
            "kind": packet.kind,
            "speaks_for": instant_text(packet.as_of),
            "sealed_at": instant_text(packet.built_at) if packet.built_at is not None else "",
            "root": packet.merkle_root,
            "pdf_sha256": packet.pdf_sha256,
            "manifest_sha256": packet.manifest_sha256,
        },
        "log": {
            "entries": head.n if head is not None else 0,
            "newest_hash": head.hash if head is not None else "",
        },
        "additions": [
            {"number": line.number, "kind": line.kind, "at": instant_text(line.at), "sha256": line.sha256}
            for line in additions_listed(packet)
        ],
        "additions_check": list(chain_faults) or ["The additions form a whole chain and stand in the log."],
        "deleted": [
            {"what": row.words, "sha256": row.sha256, "why": words_of(row)} for row in deletions_of_job(job)
        ],
        "holds": [_hold(row) for row in holds_over([job.pk], organisation)],
        "handed_out": [line.to_plain() for line in production_lines(job, as_of)],
        "statements_to_adapt": [
            "The record was made at or near the time by, or from what was told by, somebody with knowledge.",
            "It was kept in the course of a regularly conducted activity of the business.",
            "Making it was a regular practice of that activity.",
            "It was produced by an electronic process that gives an accurate result, as described.",
            "The copy was identified by its SHA-256, which agrees with that of the sealed file.",
        ],
        "to_be_filled_in": {
            "name": "", "title": "", "business": "", "basis_of_knowledge": "", "notice_given_to": "",
            "place": "", "date": "", "signature": "",
        },
    }  # fmt: skip


def _hold(row: LegalHold) -> dict[str, str]:
    return {
        "hold": str(row.pk),
        "placed_at": instant_text(row.placed_at),
        "placed_by": row.placed_by.login,
        "matter": row.matter,
    }
