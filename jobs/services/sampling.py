"""Samples of sealed packets: seed committed, population frozen after that, drawn in the open, drawn again.

The order of the log's entries is the proof: ``sample.committed`` (hash of the seed, and the rule by which the
population follows) stands before ``sample.frozen`` (hash of the population), and that before ``sample.drawn``
(seed, word, what was drawn). Who draws says a word, so that no choice of the seed could foresee the draw.
"""

import secrets
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Exists, OuterRef

from jobs.access import Actor, get_location_for, locations_for
from jobs.errors import Conflict, NotAllowed, NotFound
from jobs.ledger.append import append
from jobs.link_access import holding
from jobs.models import AccessGrant, Organisation, Packet, Sample, SampledPacket, scope, unscoped
from jobs.services import recording, values
from jobs.services.sharing import GRANTERS, LONGEST_GRANT, receiver
from jobs.services.values import refused
from rules.canonical import canonical_bytes, sha256_hex
from rules.science.sampling import LARGEST_LOT, draw, needed

SEED_BYTES: Final = 32
# With more parts nobody reads the sentence (project default).
MOST_LOCATIONS: Final = 200
LONGEST_PERIOD: Final = timedelta(days=3660)
FORMAT: Final = "sample 1"


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleEntry:
    """What to sample, and how sure to be.

    Attributes:
        from_on, to_on: local days of the sealing, both included, in the organisation's zone.
        locations: codes; empty means all that the actor sees.
        one_in: one job in so many is bad: that share is what is to be noticed.
        confidence: ``0.95`` and the like.
        for_person: login of who looks at the packets; empty for the organisation's own eyes.
        access_until: how long the drawn packets are open to them; empty with ``for_person`` empty.
    """

    id: UUID
    from_on: str
    to_on: str
    locations: tuple[str, ...] = ()
    one_in: str = "20"
    confidence: str = "0.95"
    for_person: str = ""
    access_until: str = ""


@transaction.atomic
def open_sample(*, actor: Actor, as_of: datetime, entry: SampleEntry, of: UUID | None = None) -> Sample:
    """Commits a fresh seed, then freezes the population. Nothing is drawn yet.

    Args:
        of: for somebody who looks from outside: whose packets, of those granted to them.

    Raises:
        NotAllowed: ``role_missing``.
        NotFound: a location that is not the actor's; nothing granted by that organisation.
        Conflict: ``nothing_to_sample``, ``id_in_use``.
        Refused: ``bad_period``, ``bad_share``, ``bad_confidence``, ``lot_too_large``, and those of sharing.
    """
    if not actor.is_outsider:
        recording.require_role(actor, *GRANTERS)
    with unscoped():
        if Sample.objects.filter(pk=entry.id).exists():
            raise recording.id_in_use()
    organisation = _organisation(actor, of, as_of)
    codes = _locations(actor, entry)
    # Somebody from outside comes with the scope of their own house; the packets are another's.
    with scope(organisation.pk):
        return _open(actor, organisation, as_of, entry, codes)


def _open(
    actor: Actor, organisation: Organisation, as_of: datetime, entry: SampleEntry, codes: list[str]
) -> Sample:
    first, last = _period(entry)
    seed = secrets.token_bytes(SEED_BYTES)
    rule = {
        "from": first.isoformat(),
        "to": last.isoformat(),
        "locations": codes,
        "only_granted_to": actor.person.login if actor.is_outsider else "",
    }
    _log(organisation, actor, as_of, "committed", entry.id, {"seed_sha256": sha256_hex(seed), **rule})
    population = _population(actor, organisation, as_of, (first, last), codes)
    if not population:
        raise Conflict("nothing_to_sample", "No sealed packet lies in this period.")
    if len(population) > LARGEST_LOT:
        raise refused("lot_too_large", "from_on", f"More than {LARGEST_LOT} packets; take a shorter period.")
    bad, size = _plan(len(population), entry)
    person = actor.person if actor.is_outsider else None
    if person is None and entry.for_person:
        person = receiver(actor, entry.for_person)
    sample = Sample(
        id=entry.id,
        organisation=organisation,
        for_person=person,
        opened_by=actor.person,
        opened_at=as_of,
        from_on=first,
        to_on=last,
        locations=codes,
        only_granted=actor.is_outsider,
        seed=seed,
        seed_sha256=sha256_hex(seed),
        population=population,
        population_sha256=population_sha256(population),
        population_size=len(population),
        bad=bad,
        confidence=entry.confidence,
        size=size,
        access_until=_access_until(entry, as_of),
    )
    recording.insert(sample)
    frozen = {"population_sha256": sample.population_sha256, "size": len(population), "look_at": size}
    _log(organisation, actor, as_of, "frozen", sample.pk, frozen)
    return sample


def population_sha256(population: list[dict[str, str]]) -> str:
    """The hash under which a population stands in the log: of its canonical JSON (RFC 8785)."""
    return sha256_hex(canonical_bytes(population))


@transaction.atomic
def draw_sample(*, sample: Sample, actor: Actor, as_of: datetime, word: str) -> Sample:
    """Draws with the committed seed and the word, publishes both, and opens what was drawn to who looks.

    Args:
        sample: as ``jobs.access.get_sample_for`` gave it.
        word: one line, anything that whoever draws likes; up to 120 characters.

    Raises:
        NotAllowed: ``not_yours_to_draw``, ``role_missing``.
        Conflict: ``drawn_before``.
        Refused: ``text_length``, ``text_signs``.
    """
    if sample.for_person_id is not None and sample.for_person_id != actor.person.pk:
        # Whose eyes it is for says the word: the shop cannot pick by it.
        raise NotAllowed("not_yours_to_draw", "This sample is drawn by the person it was opened for.")
    if sample.for_person_id is None:
        recording.require_role(actor, *GRANTERS)
    said = values.read_text(word, "word", longest=120)
    if "\n" in said:
        raise refused("text_signs", "word", "word is one line.")
    moved = Sample.objects.filter(pk=sample.pk, drawn_at__isnull=True).update(
        drawn_at=as_of, drawn_by=actor.person, word=said
    )
    if moved != 1:
        raise Conflict("drawn_before", "This sample was drawn before.")
    sample.refresh_from_db()
    chosen = draw(bytes(sample.seed), said, [row["serial"] for row in sample.population], sample.size)
    _keep_drawn(sample, chosen, as_of)
    detail = {"seed": bytes(sample.seed).hex(), "word": said, "drawn": list(chosen)}
    _log(sample.organisation, actor, as_of, "drawn", sample.pk, detail)
    return sample


def _keep_drawn(sample: Sample, chosen: tuple[str, ...], as_of: datetime) -> None:
    packet_of = {row["serial"]: UUID(row["packet"]) for row in sample.population}
    packets = Packet.objects.select_related("job").in_bulk([packet_of[serial] for serial in chosen])
    for place, serial in enumerate(chosen, start=1):
        packet = packets[packet_of[serial]]
        grant = None if sample.only_granted else _grant(sample, packet, as_of)
        row = SampledPacket(
            organisation=sample.organisation, sample=sample, place=place, packet=packet, grant=grant
        )
        row.save(force_insert=True)


def _grant(sample: Sample, packet: Packet, as_of: datetime) -> AccessGrant | None:
    """Access for who looks; those of the organisation itself need none."""
    person = sample.for_person
    if person is None or sample.access_until <= as_of:
        return None
    grant = AccessGrant(
        organisation=sample.organisation,
        packet=packet,
        job=packet.job,
        to_person=person,
        purpose="insurer_audit",
        valid_from=as_of,
        until=sample.access_until,
        granted_at=as_of,
        granted_by=sample.opened_by,
    )
    grant.save(force_insert=True)
    return grant


def _organisation(actor: Actor, of: UUID | None, as_of: datetime) -> Organisation:
    if not actor.is_outsider:
        return actor.organisation
    if of is None:
        raise refused("unknown_reference", "of", "Say whose packets, of those granted to you.")
    with unscoped():
        mine = holding(AccessGrant.objects.filter(to_person=actor.person, organisation=of), as_of=as_of)
        first = mine.select_related("organisation").first()
    if first is None:
        raise NotFound()
    return first.organisation


def _period(entry: SampleEntry) -> tuple[date, date]:
    first, last = values.read_day(entry.from_on, "from_on"), values.read_day(entry.to_on, "to_on")
    if not timedelta(0) <= last - first <= LONGEST_PERIOD:
        raise refused("bad_period", "to_on", "to_on is the same day or later, within ten years.")
    return first, last


def _locations(actor: Actor, entry: SampleEntry) -> list[str]:
    if len(entry.locations) > MOST_LOCATIONS:
        raise refused("too_many", "locations", f"locations has more than {MOST_LOCATIONS} codes.")
    codes = sorted(set(entry.locations))
    if actor.is_outsider:
        return codes
    for code in codes:
        get_location_for(actor, code)
    # Somebody of single locations samples these: the log says which.
    seen = [] if actor.location_ids is None else [place.code for place in locations_for(actor)]
    return codes or seen


def _population(
    actor: Actor, organisation: Organisation, as_of: datetime, period: tuple[date, date], codes: list[str]
) -> list[dict[str, str]]:
    """One packet a job, by serial: the newest sealed whole one, or of those granted the newest."""
    zone = ZoneInfo(organisation.default_tz)
    begin, end = (
        datetime.combine(day, time(), tzinfo=zone).astimezone(UTC)
        for day in (period[0], period[1] + timedelta(days=1))
    )
    rows = Packet.objects.filter(state="sealed", built_at__gte=begin, built_at__lt=end)
    if codes:
        rows = rows.filter(job__location__code__in=codes)
    if actor.is_outsider:
        granted = holding(AccessGrant.objects.filter(to_person=actor.person), as_of=as_of)
        rows = rows.filter(pk__in=granted.values("packet_id"))
        later = rows.filter(job=OuterRef("job"), number__gt=OuterRef("number"))
    else:
        rows = rows.filter(kind="full")
        later = Packet.objects.filter(
            job=OuterRef("job"), kind="full", state="sealed", number__gt=OuterRef("number")
        )
    found = rows.filter(~Exists(later)).values_list("pk", "serial", "merkle_root")
    listed = [{"packet": str(pk), "serial": serial, "root": root} for pk, serial, root in found]
    return sorted(listed, key=lambda row: row["serial"])


def _plan(lot: int, entry: SampleEntry) -> tuple[int, int]:
    """How many bad ones are to be noticed, and how many to look at for it."""
    share, _ = values.read_number(entry.one_in, "one_in")
    if not 1 <= share <= LARGEST_LOT:
        raise refused("bad_share", "one_in", "one_in lies between 1 and 100000.")
    confidence = read_confidence(entry.confidence)
    bad = max(int(Fraction(lot) / Fraction(entry.one_in)), 1)
    return bad, needed(lot, bad, confidence)


def read_confidence(text: str) -> Fraction:
    """``0.95`` as an exact fraction; ``Refused`` ``bad_confidence`` outside 0.5 to 0.999."""
    value, _ = values.read_number(text, "confidence")
    if not 0.5 <= value <= 0.999 or len(text) > 8:
        raise refused("bad_confidence", "confidence", "confidence lies between 0.5 and 0.999.")
    return Fraction(text)


def _access_until(entry: SampleEntry, as_of: datetime) -> datetime:
    if not entry.access_until:
        return as_of + LONGEST_GRANT
    until = values.read_instant(entry.access_until, "access_until")
    if not as_of < until <= as_of + LONGEST_GRANT:
        raise refused("grant_too_long", "access_until", f"Access ends within {LONGEST_GRANT.days} days.")
    return until


def _log(
    organisation: Organisation, actor: Actor, as_of: datetime, what: str, sample: UUID, detail: dict[str, Any]
) -> None:
    append(
        organisation=organisation,
        at=as_of,
        who=actor.person.login,
        device="",
        what=f"sample.{what}",
        target=f"sample/{sample}",
        detail=detail,
    )
