"""Who is asking, and the only functions that turn an outside id into a row.

A row of another organisation, of a location that is not the caller's, and a row that does not exist all give
the same ``NotFound``. Nothing here says more than that, and neither may callers.
"""

import hashlib
import hmac
import secrets
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime
from typing import Final, TypeVar
from uuid import UUID

from django.db.models import F, Model, Q, QuerySet

from jobs.errors import NotFound, NotSignedIn
from jobs.link_access import holding
from jobs.models import (
    AccessGrant,
    ApiToken,
    AssessmentRun,
    Bay,
    BayFloorSurvey,
    Device,
    Equipment,
    EstimateLine,
    Evidence,
    Job,
    JobRecord,
    Location,
    OperationDone,
    Organisation,
    PackEditionOnFile,
    Packet,
    Person,
    RepairOrder,
    Sample,
    SampleArchive,
    Session,
    ShareLink,
    TenantModel,
    Vehicle,
    scope,
    unscoped,
)

TOKEN_MARK: Final = "wm_"  # noqa: S105 - lets scanners of leaked secrets know our tokens
PREFIX_LENGTH: Final = 12
# They look from outside: whatever organisation they belong to, they see what was granted and nothing else.
OUTSIDE_ROLES: Final = frozenset({"auditor", "counsel"})

ModelT = TypeVar("ModelT", bound=Model)
TenantT = TypeVar("TenantT", bound=TenantModel)
RecordT = TypeVar("RecordT", bound=JobRecord)


@dataclass(frozen=True, slots=True, kw_only=True)
class Actor:
    """Who acts, and within what.

    Attributes:
        location_ids: locations whose jobs may be seen; None means all of the organisation.
        roles: the person's roles.
        scopes: what the token may be used for; empty for a person signed in to the pages.
        token: None for a person signed in to the pages.
        device: the capture device that the token is bound to.
    """

    person: Person
    organisation: Organisation
    location_ids: frozenset[UUID] | None
    roles: frozenset[str]
    scopes: frozenset[str] = frozenset()
    token: ApiToken | None = None
    device: Device | None = None

    @property
    def organisation_id(self) -> UUID:
        return self.organisation.pk

    @property
    def is_outsider(self) -> bool:
        """Whether all roles of the actor are such that see granted packets only (also with no role)."""
        return self.roles <= OUTSIDE_ROLES

    def has_role(self, *roles: str) -> bool:
        return bool(self.roles.intersection(roles))

    def sees_location(self, location_id: UUID) -> bool:
        return self.location_ids is None or location_id in self.location_ids


def new_token_text() -> str:
    """A fresh token, 256 random bits; shown once and never stored."""
    return TOKEN_MARK + secrets.token_urlsafe(32)


def token_prefix(text: str) -> str:
    """The part that finds the row: too short to be of use to a thief."""
    return text[:PREFIX_LENGTH]


def token_sha256(text: str) -> str:
    """What is stored to prove the token. A fast hash is enough for 256 random bits."""
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def actor_for_token(text: str, *, as_of: datetime) -> Actor:
    """The actor of an API token.

    Raises:
        NotSignedIn: unknown, expired or revoked token, or its person or device not active; all the same.
    """
    if not text.startswith(TOKEN_MARK) or not text.isascii():
        raise NotSignedIn()
    with unscoped():
        token = (
            ApiToken.objects.select_related("person__organisation", "device", "location")
            .filter(prefix=token_prefix(text))
            .first()
        )
    stored = token.sha256 if token is not None else "0" * 64
    if not hmac.compare_digest(stored, token_sha256(text)) or token is None:
        raise NotSignedIn()
    if not _token_holds(token, as_of):
        raise NotSignedIn()
    actor = actor_for_person(token.person, as_of=as_of)
    locations = actor.location_ids
    if token.location_id is not None:
        locations = frozenset({token.location_id}) if actor.sees_location(token.location_id) else frozenset()
    return Actor(
        person=actor.person,
        organisation=actor.organisation,
        location_ids=locations,
        roles=actor.roles,
        scopes=frozenset(token.scopes),
        token=token,
        device=token.device,
    )


def actor_for_person(person: Person, *, as_of: datetime) -> Actor:
    """The actor of a signed-in person. Roles and locations are read anew for each request.

    Raises:
        NotSignedIn: the account is not active on that day (UTC).
    """
    day = as_of.date()
    started = person.active_from is None or person.active_from <= day
    ended = person.active_to is not None and person.active_to < day
    if not person.is_active or not started or ended:
        raise NotSignedIn()
    locations = None
    if not person.all_locations:
        with scope(person.organisation_id):
            locations = frozenset(person.locations.values_list("pk", flat=True))
    return Actor(
        person=person,
        organisation=person.organisation,
        location_ids=locations,
        roles=frozenset(person.roles),
    )


def scope_of(owner: Actor | TenantModel) -> AbstractContextManager[None]:
    """Queries inside see the rows of the organisation of the caller, or of a row that was found."""
    return scope(owner.organisation_id)


def jobs_for(actor: Actor) -> QuerySet[Job]:
    """Every job the actor may see, with order, vehicle and location joined."""
    rows = _rows(actor, Job).select_related("order__vehicle", "location")
    return _at_locations(actor, rows, "location_id")


def orders_for(actor: Actor) -> QuerySet[RepairOrder]:
    """Every repair order the actor may see, with vehicle, location and job joined."""
    rows = _rows(actor, RepairOrder).select_related("vehicle", "location", "job")
    return _at_locations(actor, rows, "location_id")


def equipment_for(actor: Actor) -> QuerySet[Equipment]:
    """Instruments and tools of the actor's locations, and those without a home."""
    rows = _rows(actor, Equipment).select_related("home_location")
    if actor.location_ids is None:
        return rows
    return rows.filter(Q(home_location__isnull=True) | Q(home_location_id__in=actor.location_ids))


def surveys_for(actor: Actor) -> QuerySet[BayFloorSurvey]:
    """Every floor survey of the bays at the actor's locations, with bay and instrument joined."""
    rows = _rows(actor, BayFloorSurvey).select_related("bay__location", "instrument", "surveyed_by")
    return _at_locations(actor, rows, "bay__location_id")


def locations_for(actor: Actor) -> QuerySet[Location]:
    """The actor's own locations, by code."""
    return _at_locations(actor, _rows(actor, Location).order_by("code"), "pk")


def packs_for(actor: Actor) -> QuerySet[PackEditionOnFile]:
    """Every pack edition that the actor's organisation has on file."""
    return _rows(actor, PackEditionOnFile).order_by("pack", "edition")


def get_job_for(actor: Actor, job_id: UUID | str) -> Job:
    """The job, with order, vehicle and location joined. Raises ``NotFound``."""
    return _one(jobs_for(actor), pk=_uuid(job_id))


def get_order_for(actor: Actor, order_id: UUID | str) -> RepairOrder:
    """The repair order. Raises ``NotFound``."""
    return _one(orders_for(actor), pk=_uuid(order_id))


def get_vehicle_for(actor: Actor, vehicle_id: UUID | str) -> Vehicle:
    """The vehicle, if it was at one of the actor's locations, or no order names it. Raises ``NotFound``."""
    rows = _rows(actor, Vehicle)
    if actor.location_ids is not None:
        with scope(actor.organisation_id):
            here = RepairOrder.objects.filter(location_id__in=actor.location_ids).values("vehicle_id")
            anywhere = RepairOrder.objects.values("vehicle_id")
        rows = rows.filter(Q(pk__in=here) | ~Q(pk__in=anywhere))
    return _one(rows, pk=_uuid(vehicle_id))


def get_location_for(actor: Actor, code: str) -> Location:
    """The location with this code. Raises ``NotFound``."""
    return _one(locations_for(actor), code=code)


def get_bay_for(actor: Actor, code: str) -> Bay:
    """The bay with this code. Raises ``NotFound``."""
    rows = _rows(actor, Bay).select_related("location")
    return _one(_at_locations(actor, rows, "location_id"), code=code)


def get_survey_for(actor: Actor, survey_id: UUID | str) -> BayFloorSurvey:
    """A survey of a bay at one of the actor's locations, with its bay joined. Raises ``NotFound``."""
    return _one(surveys_for(actor), pk=_uuid(survey_id))


def get_person_for(actor: Actor, login: str) -> Person:
    """An active person of the actor's organisation. Raises ``NotFound``."""
    return _one(Person.objects.filter(organisation=actor.organisation, is_active=True), login=login.lower())


def get_device_for(actor: Actor, device_id: UUID | str) -> Device:
    """An enrolled device of the actor's locations, or one bound to none. Raises ``NotFound``."""
    rows = _rows(actor, Device).filter(revoked_at__isnull=True)
    if actor.location_ids is not None:
        rows = rows.filter(Q(location__isnull=True) | Q(location_id__in=actor.location_ids))
    return _one(rows, pk=_uuid(device_id))


def get_equipment_for(actor: Actor, tag: str) -> Equipment:
    """The instrument or tool with this tag. Raises ``NotFound``."""
    return _one(equipment_for(actor), tag=tag)


def get_pack_for(actor: Actor, pack: str, edition: int) -> PackEditionOnFile:
    """One pack edition on file. Raises ``NotFound``."""
    return _one(packs_for(actor), pack=pack, edition=edition)


def get_record_for(actor: Actor, model: type[RecordT], job_id: UUID | str, record_id: UUID | str) -> RecordT:
    """A record of ``model`` of a job that the actor may see. Raises ``NotFound``."""
    job = get_job_for(actor, job_id)
    return _one(_rows(actor, model).filter(job=job), pk=_uuid(record_id))


def get_session_for(actor: Actor, job_id: UUID | str, session_id: UUID | str) -> Session:
    """The session. Raises ``NotFound``."""
    return get_record_for(actor, Session, job_id, session_id)


def get_operation_for(actor: Actor, job_id: UUID | str, operation_id: UUID | str) -> OperationDone:
    """The operation done. Raises ``NotFound``."""
    return get_record_for(actor, OperationDone, job_id, operation_id)


def get_estimate_line_for(actor: Actor, job_id: UUID | str, line_id: UUID | str) -> EstimateLine:
    """The estimate line. Raises ``NotFound``."""
    return get_record_for(actor, EstimateLine, job_id, line_id)


def get_evidence_for(actor: Actor, job_id: UUID | str, evidence_id: UUID | str) -> Evidence:
    """The evidence file's row. Raises ``NotFound``."""
    job = get_job_for(actor, job_id)
    return _one(_rows(actor, Evidence).filter(job=job), pk=_uuid(evidence_id))


def get_run_for(actor: Actor, job_id: UUID | str, run_id: UUID | str) -> AssessmentRun:
    """A request for judgement, with its result joined. Raises ``NotFound``."""
    job = get_job_for(actor, job_id)
    rows = _rows(actor, AssessmentRun).select_related("assessment").filter(job=job)
    return _one(rows, pk=_uuid(run_id))


def grants_for(actor: Actor, *, as_of: datetime) -> QuerySet[AccessGrant]:
    """Grants to this very person that hold now, from whatever organisation, with packet and job joined."""
    unspent = Q(max_downloads__isnull=True) | Q(downloads__lt=F("max_downloads"))
    with unscoped():
        return (
            holding(AccessGrant.objects.filter(unspent, to_person=actor.person), as_of=as_of)
            .select_related("organisation", "packet__job", "packet__organisation")
            .order_by("until", "pk")
        )


def grant_of_packet(actor: Actor, packet: Packet, *, as_of: datetime) -> AccessGrant | None:
    """The grant through which the actor sees this packet; None where none holds."""
    return grants_for(actor, as_of=as_of).filter(packet=packet).first()


def packets_for(actor: Actor, *, as_of: datetime) -> QuerySet[Packet]:
    """Packets of the jobs that the actor may see, and packets granted to this person."""
    own = jobs_for(actor).values("pk")
    granted = grants_for(actor, as_of=as_of).filter(packet__isnull=False).values("packet_id")
    with unscoped():
        rows = Packet.objects.select_related("job__location", "organisation", "assessment")
    return rows.filter(Q(job__in=own) | Q(pk__in=granted))


def samples_for(actor: Actor) -> QuerySet[Sample]:
    """Samples of the organisation, for those who see all of it, and those opened by or for this person."""
    with unscoped():
        rows = Sample.objects.select_related("organisation", "for_person", "opened_by", "drawn_by")
    mine = Q(for_person=actor.person) | Q(opened_by=actor.person)
    if not actor.is_outsider and actor.location_ids is None:
        mine |= Q(organisation=actor.organisation)
    return rows.filter(mine).order_by("-opened_at", "pk")


def get_sample_for(actor: Actor, sample_id: UUID | str) -> Sample:
    """A sample. Raises ``NotFound``. Its organisation may be another: open ``scope_of`` it to read on."""
    return _one(samples_for(actor), pk=_uuid(sample_id))


def get_archive_for(actor: Actor, archive_id: UUID | str) -> SampleArchive:
    """An archive that was asked for by this very person. Raises ``NotFound``."""
    with unscoped():
        rows = SampleArchive.objects.select_related("sample", "organisation")
    return _one(rows.filter(person=actor.person), pk=_uuid(archive_id))


def get_grant_for(actor: Actor, grant_id: UUID | str) -> AccessGrant:
    """A grant to a packet of one of the actor's jobs. Raises ``NotFound``."""
    rows = _rows(actor, AccessGrant).filter(packet__job__in=jobs_for(actor).values("pk"))
    return _one(rows, pk=_uuid(grant_id))


def get_link_for(actor: Actor, link_id: UUID | str) -> ShareLink:
    """A link that opens packets of the actor's jobs, and of no others. Raises ``NotFound``."""
    with scope(actor.organisation_id):
        foreign = AccessGrant.objects.exclude(packet__job__in=jobs_for(actor).values("pk"))
    rows = _rows(actor, ShareLink).exclude(pk__in=foreign.filter(link__isnull=False).values("link_id"))
    return _one(rows, pk=_uuid(link_id))


def get_packet_for(actor: Actor, packet_id: UUID | str, *, as_of: datetime) -> Packet:
    """A packet of the actor's own jobs, or one granted to this person and not run out. Raises ``NotFound``.

    Its organisation may be another than the actor's: open ``scope(packet.organisation_id)`` to read on.
    """
    return _one(packets_for(actor, as_of=as_of), pk=_uuid(packet_id))


def _token_holds(token: ApiToken, as_of: datetime) -> bool:
    device_gone = token.device is not None and token.device.revoked_at is not None
    return token.revoked_at is None and token.expires_at > as_of and not device_gone


def _rows(actor: Actor, model: type[TenantT]) -> QuerySet[TenantT]:
    """The organisation's rows of a table; somebody who looks from outside gets none of the record's."""
    with scope(actor.organisation_id):
        rows = model.objects.all()
    return rows.none() if actor.is_outsider else rows


def _at_locations(actor: Actor, rows: QuerySet[ModelT], field: str) -> QuerySet[ModelT]:
    return rows if actor.location_ids is None else rows.filter(**{f"{field}__in": actor.location_ids})


def _uuid(value: UUID | str) -> UUID:
    if isinstance(value, UUID):
        return value
    try:
        return UUID(value)
    except ValueError:
        raise NotFound() from None


def _one(rows: QuerySet[ModelT], **which: object) -> ModelT:
    found = rows.filter(**which).first()
    if found is None:
        raise NotFound()
    return found
