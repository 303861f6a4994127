"""An edition replaced or withdrawn, told on every packet of which it governed a procedure."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

from jobs.models import PackEditionOnFile, Packet, PacketAddition
from jobs.services.additions import add_to_packet
from jobs.services.governed import governed_procedures
from jobs.services.sealed_packets import PROGRAM, STAYS, day_words, sealed_ones, untold


def edition_replaced(*, edition: PackEditionOnFile, as_of: datetime) -> tuple[PacketAddition, ...]:
    """A newly published edition, on every packet of which the edition it ends governed a procedure."""
    ended = PackEditionOnFile.objects.filter(
        pack=edition.pack, state__in=("superseded", "withdrawn"), in_force_until=edition.in_force_from
    ).exclude(pk=edition.pk)
    made = []
    for old in ended.order_by("edition"):
        key = f"replaced/{old.pk}/{edition.edition}"
        for packet, procedures in _governed(old, key, as_of):
            tz = packet.job.location.tz
            text = (
                f"Edition {old.edition} of pack {old.pack}, which governed {_procedure_words(procedures)}, "
                f"is replaced by edition {edition.edition} from {day_words(edition.in_force_from, tz)} on, "
                f"published on {day_words(as_of, tz)}. What the packet says was judged by the text in force "
                f"when the work was done; another answer under a newer text is information, not a finding of "
                f"fault. {STAYS}"
            )
            facts = _edition_facts(old, procedures) | {
                "replaced_by": {
                    "edition": edition.edition,
                    "sha256": edition.sha256,
                    "from": edition.in_force_from.isoformat(),
                }
            }
            made.append(_tell_edition(packet, text, facts, as_of, key))
    return tuple(made)


def edition_withdrawn(*, edition: PackEditionOnFile, as_of: datetime) -> tuple[PacketAddition, ...]:
    """A withdrawn edition, on every packet of which it governed a procedure, with reason and severity."""
    made = []
    key = f"withdrawn/{edition.pk}"
    for packet, procedures in _governed(edition, key, as_of):
        tz = packet.job.location.tz
        day = day_words(edition.withdrawn_on or as_of, tz)
        text = (
            f"Edition {edition.edition} of pack {edition.pack}, which governed "
            f"{_procedure_words(procedures)}, was withdrawn on {day} (severity: "
            f"{edition.withdrawn_severity}). Reason given: {edition.withdrawn_reason} {STAYS}"
        )
        facts = _edition_facts(edition, procedures) | {
            "withdrawn_on": edition.withdrawn_on.isoformat() if edition.withdrawn_on else "",
            "severity": edition.withdrawn_severity,
            "reason": edition.withdrawn_reason,
        }
        made.append(_tell_edition(packet, text, facts, as_of, key))
    return tuple(made)


def _governed(
    edition: PackEditionOnFile, key: str, as_of: datetime
) -> Iterator[tuple[Packet, tuple[tuple[str, str], ...]]]:
    for packet in sealed_ones(untold(key).filter(as_of__lt=as_of, assessment__isnull=False)):
        procedures = governed_procedures(packet.assessment, edition.pack, edition.edition)
        if procedures:
            yield packet, procedures


def _procedure_words(procedures: Iterable[tuple[str, str]]) -> str:
    return ", ".join(f"{identity} ({title})" if title else identity for identity, title in procedures)


def _edition_facts(edition: PackEditionOnFile, procedures: Iterable[tuple[str, str]]) -> dict[str, Any]:
    return {
        "pack": edition.pack,
        "edition": edition.edition,
        "sha256": edition.sha256,
        "procedures": [identity for identity, _ in procedures],
    }


def _tell_edition(
    packet: Packet, text: str, facts: dict[str, Any], as_of: datetime, key: str
) -> PacketAddition:
    return add_to_packet(
        packet=packet, kind="rule_change", text=text, facts=facts, as_of=as_of, who=PROGRAM, key=key
    )
