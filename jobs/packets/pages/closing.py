"""The last chapters: log, packs with their text, words, the custodian's form, additions, production."""

from datetime import timedelta
from typing import Any, Final

from jobs.packets.manifest import grouped
from jobs.packets.pages import times
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.glossary import WORDS
from jobs.packets.pages.words import counted, plain
from jobs.packets.source import PackText, pack_file_name

FOR_COUNSEL: Final = (
    "how long to keep these records",
    "whether a refusal may be accepted where the shop is",
    "who may sign for the owner",
    "consent to position logs and photos of people (US: 18 U.S.C. 2721 for registration data, state privacy "
    "law; elsewhere for instance the GDPR)",
    "language of disclaimers",
    "discoverability of free-text notes",
    "when a look-back result obliges to tell the owner, the insurer or an authority",
    "admissibility of packets",
    "standards are named here from memory or from drafts: check each in the bought edition before "
    "a clause of it "
    "is cited",
)


def packs_view(context: PageContext) -> dict[str, Any]:
    """Every enclosed edition with its hash; the text of those that this record was judged by."""
    used = {(name, edition) for name, edition, _ in context.assessment.packs}
    return {
        "rows": [
            {
                "name": f"{pack.pack} {pack.edition}",
                "title": pack.title,
                "file": pack_file_name(pack),
                "hash": [grouped(pack.sha256[:32]), grouped(pack.sha256[32:])],
                "used": (pack.pack, pack.edition) in used,
                "force": _in_force(context, pack),
                "withdrawn": times.day_text(pack.withdrawn_on) if pack.withdrawn_on else "",
            }
            for pack in context.source.packs
        ],
        "texts": [_text(pack) for pack in context.source.packs if (pack.pack, pack.edition) in used],
    }


def _in_force(context: PageContext, pack: PackText) -> str:
    """From which local day the edition is in force, and which edition of those enclosed followed it."""
    edition = context.edition(pack.pack, pack.edition)
    if edition is None:
        return ""
    begins = edition.in_force_from
    later = [
        other.in_force_from
        for other in context.editions
        if other.pack == pack.pack and other.in_force_from > begins
    ]
    text = f"in force from {times.day_text(begins)}"
    return f"{text} to {times.day_text(min(later) - timedelta(days=1))}" if later else text


def _text(pack: PackText) -> dict[str, str]:
    return {"name": f"{pack.pack} {pack.edition}", "text": pack.text.replace("\t", "    ").rstrip()}


def words_view() -> list[tuple[str, str]]:
    return list(WORDS)


def custodian_view(context: PageContext) -> dict[str, Any]:
    """What the blank form is filled with beforehand: names and hashes only, nothing that someone swears."""
    source = context.source
    originals = len(source.files)
    return {
        "serial": source.own_serial,
        "organisation": source.organisation_name,
        "sealed": times.instant(context.place, source.sealed_at, seconds=True),
        "root": [grouped(context.root[:32]), grouped(context.root[32:])],
        "originals": counted(originals, "original file", "original files"),
        "program": source.software_version,
    }


def production_view(context: PageContext) -> dict[str, Any] | None:
    """What of this job was given out before this packet was sealed, to whom; counsel's packets only."""
    if context.source.kind != "counsel":
        return None
    return {
        "rows": [
            {
                "at": times.utc(copy.at),
                "serial": copy.serial,
                "kind": plain(copy.kind),
                "whom": copy.whom,
                "purpose": copy.purpose,
                "bytes": copy.size_bytes,
                "hash": [grouped(copy.sha256[:32]), grouped(copy.sha256[32:])],
            }
            for copy in context.source.production
        ],
        "for_counsel": FOR_COUNSEL,
    }
