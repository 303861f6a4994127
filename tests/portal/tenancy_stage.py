"""The stage of the tenancy matrix: three places with one of everything, and one person for every role."""

import json
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from hashlib import sha256
from typing import Any, Final

from django.apps import apps
from django.db import connection, transaction
from django.test import Client

from jobs.models import (
    AccessGrant,
    Bay,
    Equipment,
    PackEditionOnFile,
    Packet,
    Person,
    Sample,
    ShareLink,
    unscoped,
)
from jobs.models.people import ROLES
from tests.portal.api.files import jpeg
from tests.portal.cast import LONG_AGO, Answer, Caller, Cast, Site, make_cast
from tests.portal.intake import earlier, order_body, vehicle_body

DOORS: Final = ("token", "session")


@dataclass(frozen=True)
class Things:
    """Ids of one place's things; ``canary`` stands in every text that was typed there."""

    canary: str
    location: str
    device: str
    tag: str
    vehicle: str
    job: str
    line: str
    operation: str
    session: str
    evidence: str
    evidence_bytes: bytes
    run: str
    packet: str
    bay: str
    survey: str
    pack: str = "common-practice"
    grant: str = ""
    link: str = ""
    sample: str = ""

    def ids(self) -> tuple[str, ...]:
        return (
            self.device, self.vehicle, self.job, self.line, self.operation, self.session, self.evidence,
            self.run, self.packet, self.survey,
        )  # fmt: skip


@dataclass
class Stage:
    """Everybody works at ``home``; ``sibling`` and ``foreign`` they must not see; ``absent`` is nowhere."""

    cast: Cast
    home: Things
    sibling: Things
    foreign: Things
    absent: Things
    people: dict[str, Person] = field(default_factory=dict)
    tokens: dict[str, str] = field(default_factory=dict)
    everywhere: Person | None = None
    everywhere_token: str = ""
    revoked_token: str = ""
    clients: dict[str, Client] = field(default_factory=dict)
    at_rest: Mapping[str, str] = field(default_factory=dict)
    # One for all tokens: it keeps no cookie, and a new one would load every middleware again.
    plain: Client = field(default_factory=lambda: Client(raise_request_exception=False))

    def caller(self, role: str, door: str) -> Caller:
        """Somebody at home with this one role, by token or signed in to the pages."""
        if door == "token":
            return Caller(self.tokens[role], client=self.plain)
        return Caller(client=self.clients[role])


def build_stage() -> Stage:
    """One of everything at each place, made through the API by people who work there."""
    cast = make_cast()
    stage = Stage(
        cast,
        home=_things(cast, cast.eastmarch),
        sibling=_things(cast, cast.low_mill),
        foreign=_things(cast, cast.sallow),
        absent=_nothing(),
    )
    for role in ROLES:
        stage.people[role] = cast.person(f"only-{role}", (role,), cast.eastmarch)
        stage.tokens[role] = cast.token(stage.people[role], cast.eastmarch)
        stage.clients[role] = Client(raise_request_exception=False)
        stage.clients[role].force_login(stage.people[role])
    stage.everywhere = cast.person("everywhere", ("operations_manager",), cast.eastmarch, everywhere=True)
    stage.everywhere_token = cast.token(stage.everywhere, cast.eastmarch)
    stage.revoked_token = cast.token(stage.everywhere, cast.eastmarch, revoked_at=LONG_AGO)
    stage.at_rest = everything()
    return stage


def _nothing() -> Things:
    made = [str(uuid.uuid4()) for _ in range(13)]
    return Things(
        canary="canary-nowhere", location="ZZ", device=made[0], tag="ZZ-999", vehicle=made[1], job=made[2],
        line=made[3], operation=made[4], session=made[5], evidence=made[6], evidence_bytes=b"nothing",
        run=made[7], packet=made[8], bay="ZZ-B9", survey=made[9], pack="no-such-pack", grant=made[10],
        link=made[11], sample=made[12],
    )  # fmt: skip


def _things(cast: Cast, site: Site) -> Things:
    code = site.location.code
    canary = f"canary-{code.lower()}-{uuid.uuid4().hex[:8]}"
    caller = cast.caller(f"all-hands-{code.lower()}", "technician", "location_manager", site=site)
    vehicle, order = _take_in(caller, site, canary)
    job = f"jobs/{order['job_id']}"
    line, operation, session = (str(uuid.uuid4()) for _ in range(3))
    _post(caller, f"{job}/estimate-lines", {"id": line, "line_no": 1, "text": f"Glass, {canary}"})
    done = {"id": operation, "operation": "glass.windshield.replaced", "done_at": earlier(minutes=90)}
    _post(caller, f"{job}/operations", done)
    began = {"id": session, "procedure_id": f"P-{canary}", "started_at": earlier(minutes=50)}
    _post(caller, f"{job}/sessions", began)
    picture = jpeg(shade=len(canary) + ord(code[0]))
    evidence = str(uuid.uuid4())
    kept = caller.upload(f"{job}/evidence/{evidence}?kind=photo&stage=intake&file_name={canary}.jpg", picture)
    assert kept.status == 201, kept.body
    run = _post(caller, f"{job}/assessments", {})["id"]
    packet = _post(caller, f"{job}/packets", {"id": str(uuid.uuid4()), "kind": "full"})["id"]
    _desk(site, canary)
    bay, survey = _surveyed_bay(site, caller, canary)
    grant, link, sample = _shared(site, packet, canary)
    return Things(
        canary=canary, location=code, device=str(site.device.pk), tag=f"PG-{code}", vehicle=vehicle,
        job=order["job_id"], line=line, operation=operation, session=session, evidence=evidence,
        evidence_bytes=picture, run=run, packet=packet, bay=bay, survey=survey, grant=grant, link=link,
        sample=sample,
    )  # fmt: skip


def _shared(site: Site, packet: str, canary: str) -> tuple[str, str, str]:
    """A grant, a link and a sample of this place's packet, written straight into the record."""
    with unscoped():
        row = Packet.objects.select_related("job").get(pk=packet)
        giver = row.requested_by
        assert giver is not None
        now = row.requested_at
        given: dict[str, Any] = {
            "organisation": site.organisation, "packet": row, "job": row.job, "purpose": "internal",
            "valid_from": now, "until": now + timedelta(days=9), "granted_at": now, "granted_by": giver,
        }  # fmt: skip
        grant = AccessGrant.objects.create(to_person=giver, **given)
        link = ShareLink.objects.create(
            organisation=site.organisation, token_sha256=sha256(canary.encode()).hexdigest(), to_name=canary,
            to_company=canary, purpose="internal", valid_from=now, until=now + timedelta(days=9), made_at=now,
            made_by=giver,
        )  # fmt: skip
        AccessGrant.objects.create(link=link, **given)
        sample = Sample.objects.create(
            organisation=site.organisation, opened_by=giver, opened_at=now, from_on=now.date(),
            to_on=now.date(), seed=bytes(32), seed_sha256="0" * 64, population_sha256="0" * 64, bad=1,
            population=[{"packet": packet, "serial": canary, "root": ""}], population_size=1, size=1,
            confidence="0.95", access_until=now,
        )  # fmt: skip
    return str(grant.pk), str(link.pk), str(sample.pk)


def _take_in(caller: Caller, site: Site, canary: str) -> tuple[str, dict[str, Any]]:
    vehicle = vehicle_body(plate=canary[-12:], trim=canary)
    _post(caller, "vehicles", vehicle)
    order = order_body(vehicle["id"], site, number=canary, customer_name=canary, claim_number=canary)
    _post(caller, "orders", order)
    return vehicle["id"], order


def _post(caller: Caller, path: str, body: dict[str, Any]) -> dict[str, Any]:
    answer = caller.post(path, body)
    assert answer.status in (201, 202), (path, answer.body)
    told: dict[str, Any] = answer.json()
    return told


def _desk(site: Site, canary: str) -> None:
    with unscoped():
        Equipment.objects.create(
            organisation=site.organisation, tag=f"PG-{site.location.code}", cls="tyre_gauge", serial=canary,
            home_location=site.location, in_service_from="2025-01-01", due_on="2025-06-01",
        )  # fmt: skip
        if PackEditionOnFile.objects.filter(organisation=site.organisation).exists():
            return
        source = f"# of {site.organisation.name}".encode()
        PackEditionOnFile.objects.create(
            organisation=site.organisation, pack="common-practice", edition=3, source=source,
            sha256=sha256(source).hexdigest(), in_force_from="2026-01-01", state="draft",
            published_at=LONG_AGO,
        )  # fmt: skip


def _surveyed_bay(site: Site, caller: Caller, canary: str) -> tuple[str, str]:
    """Code of a bay with the id of its survey, which bears the canary."""
    code = f"{site.location.code}-B2"
    with unscoped():
        Bay.objects.create(
            organisation=site.organisation, location=site.location, code=code, length_mm=12_000,
            width_mm=6_500, height_mm=4_200,
        )  # fmt: skip
    body = survey_body(f"PG-{site.location.code}", grid_note=canary)
    _post(caller, f"bays/{code}/floor-surveys", body)
    return code, body["id"]


def survey_body(tag: str, **fields: Any) -> dict[str, Any]:
    """A level floor read at nine places an hour and a half ago."""
    points = [{"x": str(x), "y": str(y), "z": "0.1"} for x in (0, 2000, 4000) for y in (-1200, 0, 1200)]
    surveyed_at = earlier(minutes=90)
    return {"id": str(uuid.uuid4()), "surveyed_at": surveyed_at, "instrument": tag, "points": points} | fields


@contextmanager
def undone() -> Iterator[None]:
    """What happens inside is taken back at the end."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def everything() -> Mapping[str, str]:
    """A hash of all rows of each table of the record: what must be the same before and after."""
    found: dict[str, str] = {}
    with connection.cursor() as cursor:
        for model in apps.get_app_config("jobs").get_models():
            cursor.execute(f"SELECT * FROM {model._meta.db_table} ORDER BY 1")  # noqa: S608 - our own table
            found[model.__name__] = sha256(repr(cursor.fetchall()).encode()).hexdigest()
    return found


def told(answer: Answer) -> str:
    """The answer as text, with what HTML escapes or JSON quotes left as it is."""
    return answer.body.decode("utf-8", "replace") + json.dumps(dict(answer.headers))
