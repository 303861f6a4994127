"""Everything that can be checked of a record at once: logs, store, every sealed packet, every addition."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from jobs import storage
from jobs.ledger.verify import verify_all
from jobs.models import Evidence, Job, LogEntry, Organisation, Packet, PacketAddition, scope, unscoped
from jobs.packets.additions import check_chain
from jobs.packets.enclosed import NotAPacketError
from jobs.packets.verify import verify_pdf
from jobs.scrubbing import scrub
from jobs.selectors.deletions import deleted_note, note_of_packet
from jobs.selectors.stored_names import all_named
from rules.seal.tree_head import TreeHead

BATCH: Final = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class WholeCheck:
    """``faults`` in words, empty where everything agrees; ``counts`` of what was looked at."""

    counts: dict[str, int]
    heads: dict[str, dict[str, Any]]
    faults: tuple[str, ...]

    def to_plain(self) -> dict[str, Any]:
        return {"counts": self.counts, "heads": self.heads, "faults": list(self.faults)}


def counts_of_record() -> dict[str, int]:
    """How many rows of each kind there are, to be compared between a record and its restored copy."""
    with unscoped():
        return {
            "organisations": Organisation.objects.count(),
            "jobs": Job.objects.count(),
            "evidence": Evidence.objects.count(),
            "log_entries": LogEntry.objects.count(),
            "packets": Packet.objects.filter(state="sealed").count(),
            "additions": PacketAddition.objects.count(),
        }


def check_everything(*, packets: bool = True, against: Iterable[TreeHead] = ()) -> WholeCheck:
    """Checks all of it, however long it takes: every file is hashed, every sealed packet read.

    Args:
        packets: also read every sealed packet; without it their files are hashed only.
        against: heads of logs that were kept outside, which the logs must still have.
    """
    faults: list[str] = []
    heads: dict[str, dict[str, Any]] = {}
    kept = tuple(against)
    for report in verify_all(against=kept):
        heads[report.organisation] = {"n": report.entries, "hash": report.head}
        if not report.is_whole:
            faults.append(f"log of {report.name}: {report.fault} at entry {report.at_n}")
    faults += [
        f"a head of {head.size} entries was kept outside, and there is no log of {head.organisation}"
        for head in kept
        if head.organisation not in heads
    ]
    with unscoped():
        named = {sha256 for sha256, _ in all_named()}
    found = scrub(named=named, out_of_time=lambda: False, start_anew=True)
    faults += [f"stored file {name} is damaged" for name in found.damaged]
    faults += [f"stored file {name} is missing" for name in found.missing]
    counts = {**counts_of_record(), "files": found.looked_at, "bytes": found.bytes, "unnamed": found.unnamed}
    if packets:
        for organisation in Organisation.objects.order_by("pk"):
            with scope(organisation.pk):
                faults += list(_packet_faults())
    return WholeCheck(counts=counts, heads=heads, faults=tuple(faults))


def _packet_faults() -> Iterable[str]:
    for packet in Packet.objects.filter(state="sealed").order_by("pk").iterator(BATCH):
        yield from (f"packet {packet.serial}: {fault}" for fault in check_chain(packet))
        if note_of_packet(packet.pk):
            continue
        try:
            pdf = storage.read(packet.pdf_sha256)
            told = verify_pdf(pdf, stored=kept_or_deleted, expected_pdf_sha256=packet.pdf_sha256)
        except (storage.StoredBytesMissingError, storage.StoredBytesChangedError) as error:
            yield f"packet {packet.serial}: {error.message}"
        except NotAPacketError as error:
            yield f"packet {packet.serial}: {error}"
        else:
            if not told.agrees:
                what = ", ".join(line.what for line in told.lines if line.result == "differs")
                yield f"packet {packet.serial}: differs in {what}"


def kept_or_deleted(sha256: str) -> bool:
    """Whether a file is in the store as it was, or was deleted on purpose: both are as the record says."""
    return storage.is_intact(sha256) or bool(deleted_note(sha256))
