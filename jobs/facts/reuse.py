"""The same file or the same-looking picture on other jobs of the organisation."""

import base64
import binascii
import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal
from uuid import UUID

from django.db.models import Q

from jobs.models import Evidence, Job, PhotoDecision, PhotoHash, PhotoHashBand
from rules.facts import Reuse
from rules.rounding import to_six

# Hashes this near are shown to a person unless a second measure clears them (project default).
NEAREST_BITS: Final = 6
# Pictures whose 64 x 64 luma correlates at least this much stay flagged (project default).
ALIKE_CORRELATION: Final = 0.97
# 64 bits in seven bands: within six bits of each other, at least one band is equal.
BAND_WIDTHS: Final = (10, 9, 9, 9, 9, 9, 9)


def bands_of(dhash64: str) -> tuple[int, ...]:
    """The seven bands of a 64-bit hash of 16 hex digits, most significant first."""
    bits = int(dhash64, 16)
    bands, left = [], 64
    for width in BAND_WIDTHS:
        left -= width
        bands.append((bits >> left) & ((1 << width) - 1))
    return tuple(bands)


def distance_bits(first: str, second: str) -> int:
    """Number of bits in which two hashes differ."""
    return (int(first, 16) ^ int(second, 16)).bit_count()


def correlation(first: object, second: object) -> float | None:
    """Normalised correlation of two base64 lumas of the same size; None where it has no value.

    A picture of one even grey correlates with nothing: then nothing clears the pair.
    """
    a, b = _luma(first), _luma(second)
    if not a or len(a) != len(b):
        return None
    mean_a, mean_b = math.fsum(a) / len(a), math.fsum(b) / len(b)
    spread_a = math.sqrt(math.fsum((x - mean_a) * (x - mean_a) for x in a))
    spread_b = math.sqrt(math.fsum((y - mean_b) * (y - mean_b) for y in b))
    if spread_a == 0 or spread_b == 0:
        return None
    shared = math.fsum((x - mean_a) * (y - mean_b) for x, y in zip(a, b, strict=True))
    return to_six(shared / (spread_a * spread_b))


def _luma(text: object) -> bytes:
    try:
        return base64.b64decode(text, validate=True) if isinstance(text, str) else b""
    except binascii.Error:
        return b""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mine:
    """A file of the job at hand: id, bytes' hash, picture hash (empty for no picture)."""

    id: UUID
    sha256: str
    dhash64: str = ""


def reuse_on_other_jobs(job: Job, mine: Sequence[Mine]) -> dict[UUID, tuple[Reuse, ...]]:
    """What else in the organisation has the same bytes or looks the same, by evidence id; four queries.

    Files of other jobs that were set aside there do not count: that is how a reviewer assigns a file to one
    job.
    """
    found: dict[UUID, list[Reuse]] = defaultdict(list)
    decisions = _decisions(mine)
    exact = _same_bytes(job, mine)
    for own in mine:
        for other in exact.get(own.sha256, ()):
            found[own.id].append(_reuse(other, 0, True, None, decisions.get((own.id, other))))
    for own, other, distance, match in _look_alikes(job, mine):
        if match is not None and match < ALIKE_CORRELATION:
            continue
        if any(reuse.other_evidence == str(other) for reuse in found[own.id]):
            continue
        found[own.id].append(_reuse(other, distance, False, match, decisions.get((own.id, other))))
    return {
        own: tuple(sorted(reuses, key=lambda reuse: (reuse.distance, reuse.other_evidence)))
        for own, reuses in found.items()
    }


def _reuse(other: UUID, distance: int, same_bytes: bool, match: float | None, decision: str | None) -> Reuse:
    return Reuse(
        other_evidence=str(other),
        distance=distance,
        same_job=False,
        same_bytes=same_bytes,
        correlation=match,
        decision=_decision(decision),
    )


def _decision(text: str | None) -> Literal["same picture", "different"] | None:
    if text == "same picture":
        return "same picture"
    return "different" if text == "different" else None


def _same_bytes(job: Job, mine: Sequence[Mine]) -> dict[str, list[UUID]]:
    rows = (
        Evidence.objects.filter(sha256__in={own.sha256 for own in mine}, job__isnull=False)
        .exclude(job=job)
        .exclude(ended_at__isnull=False)
        .order_by("id")
    )
    found: dict[str, list[UUID]] = defaultdict(list)
    for sha256, evidence_id in rows.values_list("sha256", "pk"):
        found[sha256].append(evidence_id)
    return found


def _decisions(mine: Sequence[Mine]) -> dict[tuple[UUID, UUID], str]:
    ids = [own.id for own in mine]
    rows = PhotoDecision.objects.filter(Q(photo__in=ids) | Q(other__in=ids), ended_at__isnull=True)
    found: dict[tuple[UUID, UUID], str] = {}
    for photo, other, decision in rows.order_by("received_at", "id").values_list(
        "photo_id", "other_id", "decision"
    ):
        found[(photo, other)] = found[(other, photo)] = decision
    return found


def _look_alikes(job: Job, mine: Sequence[Mine]) -> list[tuple[Mine, UUID, int, float | None]]:
    pictures = [own for own in mine if own.dhash64]
    near = Q(pk__in=())
    for band in range(len(BAND_WIDTHS)):
        near |= Q(band=band, value__in={bands_of(own.dhash64)[band] for own in pictures})
    others = dict(
        PhotoHash.objects.filter(
            pk__in=PhotoHashBand.objects.filter(near).values("photo_id"),
            evidence__job__isnull=False,
            evidence__ended_at__isnull=True,
        )
        .exclude(evidence__job=job)
        .values_list("pk", "dhash64")
    )
    pairs = [
        (own, other, distance_bits(own.dhash64, dhash64))
        for own in pictures
        for other, dhash64 in others.items()
        if distance_bits(own.dhash64, dhash64) <= NEAREST_BITS
    ]
    lumas = _lumas(id_ for own, other, _ in pairs for id_ in (own.id, other))
    return [
        (own, other, distance, correlation(lumas.get(own.id), lumas.get(other)))
        for own, other, distance in pairs
    ]


def _lumas(ids: Iterable[UUID]) -> dict[UUID, Any]:
    rows = Evidence.objects.filter(pk__in=set(ids)).values_list("pk", "decoded")
    return {pk: decoded.get("luma64") for pk, decoded in rows}
