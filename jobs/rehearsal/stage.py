"""The stage of a rehearsal: the cast, the clocks, and which row every record of the story became."""

import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db.models import Model

from jobs import storage
from jobs.access import Actor, actor_for_person
from jobs.errors import Refused
from jobs.models import Device, Equipment, Job, Location, Organisation, Person, scope, unscoped
from jobs.rehearsal.script import Act, ClockScript, JobScript, Scenario
from jobs.services.devices import ClockEntry, issue_clock_ticket, observe_clock
from jobs.services.equipment import WITH_CLOCK

_NAMESPACE: Final = uuid.UUID("8a1f2c7e-3d5b-5f69-9b7a-5d0c4e8f1a63")


@dataclass
class JobOnStage:
    """A job of the story with its row, once its order was opened."""

    script: JobScript
    organisation: Organisation
    location: Location
    row: Job | None = None

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.location.tz)

    @property
    def job(self) -> Job:
        if self.row is None:
            raise Refused("not_there_yet", f"The order of {self.script.id} is not open yet.")
        return self.row


@dataclass
class Stage:
    """Everything that playing a record may need.

    Attributes:
        pins: by login.
        rows: (job's name, section, record's name) → the row it became; the desk's job has no name.
        told: id of a row as text → ``section.name``, for the report.
    """

    scenario: Scenario
    pins: Mapping[str, str]
    organisations: Mapping[str, Organisation]
    jobs: dict[str, JobOnStage] = field(default_factory=dict)
    rows: dict[tuple[str, str, str], Model] = field(default_factory=dict)
    told: dict[str, str] = field(default_factory=dict)
    _compared: set[tuple[uuid.UUID, datetime]] = field(default_factory=set)
    _found: dict[tuple[str, ...], Any] = field(default_factory=dict)

    def id(self, job: str, *names: str) -> uuid.UUID:
        """The same id for the same record on every run."""
        return uuid.uuid5(_NAMESPACE, "/".join((self.scenario.title, job, *names)))

    def once(self, key: tuple[str, ...], find: Callable[[], Any]) -> Any:
        """What ``find`` gave the first time: the cast and its devices do not change while a story is told."""
        if key not in self._found:
            with unscoped():
                self._found[key] = find()
        return self._found[key]

    def place(self, code: str, organisation: Organisation) -> Location:
        rows = Location.objects.filter
        key = ("place", str(organisation.pk), code)
        found: Location | None = self.once(key, lambda: rows(organisation=organisation, code=code).first())
        if found is None:
            raise Refused("unknown_location", f"There is no location {code} in {organisation.name}.")
        return found

    def clock(self, device: Device) -> ClockScript:
        name = device.equipment.tag if device.equipment is not None else device.name
        return self.scenario.clocks.get(name, ClockScript())

    def shown(self, device: Device, at: datetime, zone: ZoneInfo) -> datetime:
        """What the device's clock shows at the true instant ``at``."""
        script = self.clock(device)
        off = script.off
        for begins, later in script.sets:
            if begins.on(self.scenario.day, zone) <= at:
                off = later
        # Added to the instant, not to the wall: the night of a clock change has hours of its own.
        return (at.astimezone(UTC) + off).astimezone(zone)

    def compare(self, device: Device, actor: Actor, at: datetime, zone: ZoneInfo, delay: timedelta) -> None:
        """One exchange of the device with the server, as a tablet makes whenever it has signal."""
        if (device.pk, at) in self._compared:
            return
        self._compared.add((device.pk, at))
        entry = ClockEntry(
            id=self.id("", "comparison", device.name, at.isoformat()),
            ticket=issue_clock_ticket(as_of=at),
            device_sent_at=self.shown(device, at - delay / 2, zone).isoformat(),
            device_received_at=self.shown(device, at + delay / 2, zone).isoformat(),
        )
        observe_clock(device=device, actor=replace(actor, device=device), as_of=at, entry=entry)


@dataclass(frozen=True, kw_only=True)
class Call:
    """One record on its way to its service.

    Attributes:
        at: the true instant of what is recorded; ``as_of`` when the server receives it.
        job: None for what belongs to no job.
    """

    stage: Stage
    act: Act
    job_on_stage: JobOnStage | None
    actor: Actor
    device: Device
    at: datetime
    as_of: datetime
    zone: ZoneInfo
    day: date
    location: Location

    @property
    def body(self) -> Mapping[str, Any]:
        return self.act.body

    @property
    def job(self) -> Job:
        assert self.job_on_stage is not None  # noqa: S101 - only the desk's acts have none
        return self.job_on_stage.job

    @property
    def script(self) -> JobScript:
        assert self.job_on_stage is not None  # noqa: S101 - only the desk's acts have none
        return self.job_on_stage.script

    @property
    def job_name(self) -> str:
        return self.job_on_stage.script.id if self.job_on_stage is not None else ""

    def with_body(self, body: Mapping[str, Any]) -> "Call":
        return replace(self, act=replace(self.act, body=body))

    @staticmethod
    def stored(sha256: str) -> bytes:
        return storage.read(sha256)

    def id(self, *more: str) -> uuid.UUID:
        return self.stage.id(self.job_name, self.act.section, self.act.name, *more)

    def instant(self, when: Any) -> datetime:
        """The true instant of a time in the record's body; the record's own time where there is none."""
        return self.at if when is None else when.on(self.day, self.zone).astimezone(UTC)

    def claim(self, when: Any = None) -> str:
        """What the device's clock showed then, as the tablet sends it."""
        return self.stage.shown(self.device, self.instant(when), self.zone).isoformat()

    def row(self, section: str, name: str) -> Any:
        """The row that another record of this job became.

        Raises:
            Refused: ``not_there_yet`` where it was not played before this one, or was refused.
        """
        found = self.stage.rows.get((self.job_name, section, name))
        if found is None:
            raise Refused("not_there_yet", f"{section}.{name} is not on record at that time.")
        return found

    def find(self, name: str, sections: Sequence[str]) -> Any:
        for section in sections:
            found = self.stage.rows.get((self.job_name, section, name))
            if found is not None:
                return found
        raise Refused("not_there_yet", f"{name} is not on record at that time.")

    def evidence(self) -> tuple[uuid.UUID, ...]:
        """Ids of the photos and files that the record names."""
        sections = self.act.kind.points_at.get("photos", ())
        return tuple(self.evidence_of(self.find(name, sections)) for name in self.body.get("photos") or ())

    @staticmethod
    def evidence_of(row: Any) -> uuid.UUID:
        """The id of the file behind a row: a scan's summary, or the file itself."""
        listed = getattr(row, "modules", None) is not None and row.evidence
        return uuid.UUID(row.evidence[0]) if listed else row.pk

    def session(self) -> uuid.UUID | None:
        name = self.body.get("session")
        return self.row("sessions", name).pk if name is not None else None

    def sessions(self) -> tuple[uuid.UUID, ...]:
        return tuple(self.row("sessions", name).pk for name in self.body.get("sessions") or ())

    @property
    def pin(self) -> str:
        return self.stage.pins[self.actor.person.login]


def set_stage(scenario: Scenario, rows: Mapping[str, Any]) -> Stage:
    """The stage of a loaded world; instruments with a clock get the device that stands for it."""
    with unscoped():
        by_name = {row.name: row for row in Organisation.objects.all()}
        _add_instrument_clocks()
    organisations = {row["code"]: by_name[row["name"]] for row in rows["organisations"]}
    stage = Stage(
        scenario=scenario,
        pins={row["login"]: str(row["pin"]) for row in rows["people"]},
        organisations=organisations,
    )
    for name, script in scenario.jobs.items():
        organisation = organisations.get(script.organisation)
        if organisation is None:
            raise Refused("unknown_organisation", f"There is no organisation {script.organisation}.")
        place = stage.place(script.location, organisation)
        stage.jobs[name] = JobOnStage(script=script, organisation=organisation, location=place)
    return stage


def _add_instrument_clocks() -> None:
    with_one = Device.objects.filter(equipment__isnull=False).values_list("equipment_id", flat=True)
    enroller = Person.objects.filter(login="pvantongeren").first()
    for row in Equipment.objects.filter(cls__in=WITH_CLOCK).exclude(pk__in=with_one):
        if enroller is not None and row.home_location is not None:
            Device.objects.create(
                id=uuid.uuid5(_NAMESPACE, f"clock/{row.tag}"),
                organisation=row.organisation,
                location=row.home_location,
                name=f"{row.tag} clock",
                kind=row.cls,
                equipment=row,
                enrolled_at=row.organisation.created_at,
                enrolled_by=enroller,
            )


def call_for(stage: Stage, act: Act, job: JobOnStage | None) -> Call:
    """Who records this act, on which device, when, and when the server receives it.

    Raises:
        Refused: ``unknown_person``, ``unknown_device``, ``unknown_location``.
    """
    first = next(iter(stage.jobs.values()))
    around = job or first
    place = stage.place(act.where, around.organisation) if act.where else around.location
    zone = ZoneInfo(place.tz)
    day = job.script.day if job is not None else stage.scenario.day
    at = act.at.on(day, zone).astimezone(UTC)
    as_of = act.received.on(day, zone).astimezone(UTC) if act.received is not None else at
    login = act.by or _by_cast(act, around.script)
    actor = stage.once(("actor", login), lambda: actor_for_person(_person(login), as_of=as_of))
    name = act.device or around.script.device
    key = ("device", str(around.organisation.pk), str(place.pk), name)
    device = stage.once(key, lambda: _device(name, around.organisation, place))
    return Call(
        stage=stage,
        act=act,
        job_on_stage=job,
        actor=replace(actor, device=device),
        device=device,
        at=at,
        as_of=as_of,
        zone=zone,
        day=day,
        location=place,
    )


def _by_cast(act: Act, script: JobScript) -> str:
    role = act.kind.cast
    if role == "signer":
        role = "technician" if act.body.get("role") == "technician" else "reviewer"
    return script.cast[role]


def _person(login: str) -> Person:
    found = Person.objects.select_related("organisation").filter(login=login).first()
    if found is None:
        raise Refused("unknown_person", f"There is nobody with the login {login}.")
    return found


def _device(name: str, organisation: Organisation, place: Location) -> Device:
    rows = Device.objects.select_related("equipment").filter(organisation=organisation)
    if name:
        found = rows.filter(name__in=(name, f"{name} clock")).order_by("name").first()
    else:
        found = rows.filter(location=place, equipment__isnull=True).order_by("name").first()
    if found is None:
        raise Refused("unknown_device", f"There is no device {name or 'at ' + place.code}.")
    return found


def in_scope(call: Call) -> Any:
    """The scope of the job's organisation, or of the actor's for what belongs to no job."""
    if call.job_on_stage is not None:
        return scope(call.job_on_stage.organisation.pk)
    return scope(call.actor.organisation.pk)
