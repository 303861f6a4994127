"""The packs an organisation has on file, read from their exact bytes."""

from functools import lru_cache

from jobs.models import Organisation, PackEditionOnFile
from rules.packs.model import PackEdition, PackSet
from rules.packs.reader import read_pack


@lru_cache(maxsize=64)
def _read(sha256: str, source: bytes, name: str) -> PackEdition:
    """One edition, read once per process: the bytes and their hash are the key."""
    return read_pack(source, name=name)


def pack_set(organisation: Organisation) -> PackSet:
    """All published editions, superseded and withdrawn ones too: each governs what it governed."""
    rows = list(
        PackEditionOnFile.objects.filter(organisation=organisation)
        .exclude(state="draft")
        .order_by("pack", "edition")
    )
    return PackSet(
        editions=tuple(_read(row.sha256, bytes(row.source), f"{row.pack} {row.edition}") for row in rows),
        withdrawn_on={
            (row.pack, row.edition): row.withdrawn_on for row in rows if row.withdrawn_on is not None
        },
    )
