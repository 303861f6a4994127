"""Chapters 12 and 14: the evidence list with hashes and small pictures, the extract of the ledger."""

from typing import Any, Final

from jobs.packets.manifest import grouped, is_withheld
from jobs.packets.pages import times
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.seal_words import seal_text
from jobs.packets.pages.words import plain, sentence_case
from jobs.packets.source import EnclosedFile
from rules.facts import EvidenceItem, Photo

# Types a small copy can be drawn of.
DRAWN_TYPES: Final = ("image/jpeg", "image/png", "image/webp")


def evidence_view(context: PageContext) -> dict[str, Any]:
    """Every file of the job by number; those that stopped counting are told apart and stay listed."""
    items = sorted((*context.facts.photos, *context.facts.files), key=lambda item: item.number)
    rows = [_row(context, item) for item in items]
    return {
        "rows": [row for row in rows if not row["set_aside"]],
        "rejected": [row for row in rows if row["set_aside"]],
        "count": len(rows),
    }


def _row(context: PageContext, item: EvidenceItem) -> dict[str, Any]:
    file = context.files.get(item.id)
    used = {
        context.proof_anchor(finding): {
            "words": f"{finding.procedure_id} {plain(finding.proof_id)}",
            "anchor": context.proof_anchor(finding),
        }
        for finding in context.assessment.findings
        if item.id in finding.outcome.evidence
    }
    return {
        "number": item.number,
        "kind": sentence_case(plain(item.kind)),
        "stage": plain(item.stage),
        "shows": ", ".join(plain(word) for word in item.shows),
        "file": _file_words(file),
        "type": item.media_type,
        "bytes": item.size_bytes,
        "who": context.name(item.by),
        "captured": times.bracket(context.place, item.captured),
        "raw": times.raw_clock(context.place, item.captured),
        "how": plain(item.captured_how),
        "received": times.short_instant(context.place, item.received_at, True),
        "hash": _hash_lines(item.sha256),
        "thumb": file.sha256 if file and not file.withheld and item.media_type in DRAWN_TYPES else "",
        "withheld": file.withheld if file else "",
        "painted": _painted(context, item),
        "size": f"{item.width} x {item.height}" if isinstance(item, Photo) else "",
        "used": list(used.values()),
        "earlier": _earlier(context, item),
        "alike": _alike(item),
        "set_aside": _set_aside(context, item, file),
    }


def _earlier(context: PageContext, item: EvidenceItem) -> list[str]:
    """Attempts that count for nothing, and yet this file belongs to them or a verdict on them rests on it."""
    return [
        f"{result.procedure_id} attempt {attempt.attempt}, which counts for nothing"
        for result in context.assessment.procedures
        for attempt in result.attempts
        if not attempt.governs
        and (
            item.session == attempt.session_id
            or any(item.id in finding.outcome.evidence for finding in attempt.findings)
        )
    ]


def _alike(item: EvidenceItem) -> list[str]:
    """What was found of this photo among those of other jobs, and what a person decided of it."""
    reuses = [reuse for reuse in item.reuse if not reuse.same_job] if isinstance(item, Photo) else []
    return [
        ("the same file as" if reuse.same_bytes else "looks like")
        + " a picture of another job"
        + (f"; a person decided: {reuse.decision}" if reuse.decision else "; nobody has decided")
        for reuse in reuses
    ]


def _hash_lines(sha256: str) -> list[str]:
    """Four lines of four groups; the text itself where this copy withholds the hash."""
    if len(sha256) != 64:
        return [sha256 or "withheld"]
    return [grouped(sha256[at : at + 16]) for at in range(0, 64, 16)]


def _file_words(file: EnclosedFile | None) -> str:
    if file is None:
        return "not enclosed"
    return f"{file.name}, not given with this copy ({plain(file.withheld)})" if file.withheld else file.name


def _painted(context: PageContext, item: EvidenceItem) -> str:
    """What was painted over in a redacted copy of this picture, and why."""
    redaction = context.source.redaction
    found = [p for p in redaction.pictures if p.evidence_id == item.id] if redaction else []
    return "; ".join(f"painted over: {plain(p.kind)} ({p.why})" for p in found)


def _set_aside(context: PageContext, item: EvidenceItem, file: Any) -> str:
    if item.ended_at is None:
        return ""
    words = [
        sentence_case(plain(item.ended_how or "ended")),
        times.short_instant(context.place, item.ended_at),
    ]
    text = " ".join(words)
    if file is not None and file.set_aside_by:
        text += f", by {context.name(file.set_aside_by)}"
    return f"{text}: {file.set_aside_reason}" if file is not None and file.set_aside_reason else text


def log_view(context: PageContext) -> dict[str, Any]:
    """Each ledger entry of the job with its chain values."""
    return {
        "withheld": "log/" in context.source.withheld,
        "rows": [
            {
                "n": line.n,
                "at": times.utc(line.at),
                "who": line.who,
                "what": line.what,
                "target": line.target,
                "prev": grouped(line.prev[:16]),
                "hash": grouped(line.hash[:16]),
            }
            for line in context.source.shown_log()
        ],
        "head": _head(context),
        "seal": seal_text(context.source.signer),
    }


def _head(context: PageContext) -> list[str]:
    head = context.source.log_head
    if is_withheld("packet/log_head", context.source.withheld):
        return ["withheld"]
    return [grouped(head[:32]), grouped(head[32:])]
