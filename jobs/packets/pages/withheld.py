"""What a copy does not give: what kind of thing, where it stood, why; never what it said."""

from itertools import groupby
from typing import Any, Final

from jobs.packets.pages.context import PageContext
from jobs.packets.pages.words import counted, plain, sentence_case
from jobs.packets.source import PacketSource

KIND_WORDS: Final = {
    "insurer": "A packet for an insurer gives no name, contact or plate of the owner.",
    "owner": "A packet for the owner gives no entries of the shop's own log.",
}


def withheld_view(context: PageContext) -> dict[str, Any] | None:
    """None where nothing is withheld."""
    source = context.source
    files = [file for file in source.files if file.withheld]
    if source.redaction is None and not source.withheld and not files and not source.strangers:
        return None
    return {
        "of": source.redaction.of if source.redaction else "",
        "by": context.name(source.redaction.made_by) if source.redaction else "",
        "kind_words": KIND_WORDS.get(source.kind, ""),
        "groups": _groups(source),
        "pictures": _pictures(source),
        "files": [{"name": file.name, "why": plain(file.withheld)} for file in files],
        "paths": [_where(path) for path in source.withheld],
        "again": _again(source),
        "strangers": counted(source.strangers, "identifier", "identifiers") if source.strangers else "",
    }


def withheld_count(source: PacketSource) -> int:
    """How many things a reader of this copy does not get, chosen or following from what was chosen."""
    redaction = source.redaction
    chosen = len(redaction.items) + len(redaction.pictures) if redaction else len(source.withheld)
    return chosen + sum(bool(file.withheld) for file in source.files)


def _groups(source: PacketSource) -> list[dict[str, Any]]:
    if source.redaction is None:
        return []
    items = sorted(source.redaction.items, key=lambda item: (item.follows, item.kind, item.why, item.where))
    return [
        {
            "kind": sentence_case(plain(kind)),
            "why": "it would give away what was withheld" if follows else why,
            "where": list(dict.fromkeys(item.where for item in group)),
        }
        for (follows, kind, why), found in groupby(
            items, key=lambda item: (item.follows, item.kind, item.why)
        )
        for group in (list(found),)
    ]


def _pictures(source: PacketSource) -> list[dict[str, Any]]:
    if source.redaction is None:
        return []
    return [
        {
            "number": item.number,
            "name": item.name,
            "regions": counted(item.regions, "region is", "regions are"),
            "kind": plain(item.kind),
            "why": item.why,
        }
        for item in source.redaction.pictures
    ]


def _again(source: PacketSource) -> list[dict[str, str]]:
    if source.redaction is None:
        return []
    return [
        {"what": f"{item.procedure_id}, {item.title}", "because": item.because}
        for item in source.redaction.not_judged_again
    ]


def _where(path: str) -> str:
    """``order/customer_name`` as ``order, customer name``; a folder as ``all of log``."""
    words = plain(path.strip("/")).replace("/", ", ")
    return f"all of: {words}" if path.endswith("/") else words
