"""Who sees what: every way from an outside id to a row, with the right caller and wrong ones in one test."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pytest

from jobs import access
from jobs.access import Actor, actor_for_person, actor_for_token
from jobs.errors import NotFound, NotSignedIn
from jobs.models import (
    AccessGrant,
    ApiToken,
    AssessmentRun,
    Bay,
    Job,
    Location,
    OperationDone,
    PackEditionOnFile,
    Person,
    RecordedMoment,
    Session,
    unscoped,
)
from tests.jobs import rows
from tests.jobs.rows import NOON

pytestmark = pytest.mark.django_db


@dataclass
class World:
    """Brackwater with Eastmarch and Low Mill, and another organisation; one job at each place."""

    jobs: dict[str, Job]
    people: dict[str, Person]
    places: dict[str, Location]

    def actor(self, login: str) -> Actor:
        return actor_for_person(self.people[login], as_of=NOON)


@pytest.fixture
def world() -> World:
    with unscoped():
        brackwater, sallowfield = rows.organisation(), rows.organisation("Sallowfield")
        places = {
            "EM": rows.location(brackwater, "EM"),
            "LM": rows.location(brackwater, "LM"),
            "SF": rows.location(sallowfield, "SF"),
        }
        people = {
            "em": rows.person(brackwater, "itolvaar", places["EM"]),
            "lm": rows.person(brackwater, "lmhand", places["LM"]),
            "nowhere": rows.person(brackwater, "newcomer"),
            "all": rows.person(brackwater, "pvantongeren", roles=("operations_manager",)),
            "other": rows.person(sallowfield, "wstroud", places["SF"]),
            "other_all": rows.person(sallowfield, "sboss", roles=("operations_manager",)),
            "auditor": rows.person(sallowfield, "jquell", roles=("auditor",)),
            "own_auditor": rows.person(brackwater, "eyes", roles=("auditor", "counsel")),
            "no_role": rows.person(brackwater, "nobody", places["EM"], roles=()),
        }
        for login in ("all", "other_all", "auditor", "own_auditor"):
            people[login].all_locations = True
            people[login].save()
        jobs = {
            "EM": rows.job(places["EM"], people["em"], "EM-1"),
            "LM": rows.job(places["LM"], people["lm"], "LM-1"),
            "SF": rows.job(places["SF"], people["other"], "SF-1"),
        }
    return World(jobs=jobs, people=people, places=places)


SEES = {
    "em": {"EM"},
    "lm": {"LM"},
    "nowhere": set(),
    "all": {"EM", "LM"},
    "other": {"SF"},
    "other_all": {"SF"},
    "auditor": set(),
    "own_auditor": set(),
    "no_role": set(),
}


def _operation(job: Job) -> OperationDone:
    by = job.order.created_by
    return OperationDone.objects.create(
        organisation=job.organisation, job=job, operation="glass.windshield.replaced", done_by=by,
        created_by=by, received_at=NOON, content_sha256="0" * 64,
    )  # fmt: skip


def _session(job: Job) -> Session:
    by = job.order.created_by
    return Session.objects.create(
        organisation=job.organisation, job=job, procedure_id="p", location=job.location, performed_by=by,
        started=RecordedMoment.exact(NOON), created_by=by, received_at=NOON, content_sha256="0" * 64,
    )  # fmt: skip


def _run(job: Job) -> AssessmentRun:
    return AssessmentRun.objects.create(organisation=job.organisation, job=job, requested_at=NOON)


def _packet(job: Job) -> Any:
    return rows.packet(job, job.order.created_by)


Getter = Callable[[Actor, Job, Any], Any]
WAYS: dict[str, tuple[Callable[[Job], Any], Getter]] = {
    "job": (lambda job: job, lambda actor, job, row: access.get_job_for(actor, row.pk)),
    "order": (lambda job: job.order, lambda actor, job, row: access.get_order_for(actor, row.pk)),
    "vehicle": (lambda job: job.order.vehicle, lambda actor, job, row: access.get_vehicle_for(actor, row.pk)),
    "location": (lambda job: job.location, lambda actor, job, row: access.get_location_for(actor, row.code)),
    "operation": (_operation, lambda actor, job, row: access.get_operation_for(actor, job.pk, row.pk)),
    "session": (_session, lambda actor, job, row: access.get_session_for(actor, job.pk, row.pk)),
    "evidence": (
        lambda job: rows.evidence(job, job.order.created_by),
        lambda actor, job, row: access.get_evidence_for(actor, job.pk, row.pk),
    ),
    "run": (_run, lambda actor, job, row: access.get_run_for(actor, job.pk, row.pk)),
    "packet": (_packet, lambda actor, job, row: access.get_packet_for(actor, row.pk, as_of=NOON)),
}


@pytest.mark.parametrize("way", WAYS, ids=WAYS.keys())
def test_each_way_leads_to_own_rows_and_to_no_others(world: World, way: str) -> None:
    make, get = WAYS[way]
    for place, job in world.jobs.items():
        with unscoped():
            row = make(job)
        for login, places in SEES.items():
            actor = world.actor(login)
            if place in places:
                assert get(actor, job, row) == row, (way, login, place)
            else:
                with pytest.raises(NotFound):
                    get(actor, job, row)


def test_a_record_is_not_found_through_another_job(world: World) -> None:
    with unscoped():
        row = _session(world.jobs["EM"])
    actor = world.actor("all")
    assert access.get_session_for(actor, world.jobs["EM"].pk, row.pk) == row
    with pytest.raises(NotFound):
        access.get_session_for(actor, world.jobs["LM"].pk, row.pk)


@pytest.mark.parametrize("wrong", ["", "1", "not-an-id", "0" * 40, "\x00", "ü" * 36])
def test_a_text_that_is_no_id_is_an_id_of_nothing(world: World, wrong: str) -> None:
    with pytest.raises(NotFound):
        access.get_job_for(world.actor("em"), wrong)
    with pytest.raises(NotFound):
        access.get_job_for(world.actor("em"), rows.other_id())
    assert access.get_job_for(world.actor("em"), str(world.jobs["EM"].pk)) == world.jobs["EM"]


def test_absent_and_foreign_say_the_same(world: World) -> None:
    said = []
    for job_id in (world.jobs["SF"].pk, world.jobs["LM"].pk, rows.other_id()):
        with pytest.raises(NotFound) as caught:
            access.get_job_for(world.actor("em"), job_id)
        said.append((str(caught.value), caught.value.code, caught.value.extra))
    assert len(set(map(str, said))) == 1


def test_lists_hold_what_the_getters_give(world: World) -> None:
    for login, places in SEES.items():
        actor = world.actor(login)
        assert {job.number[:2] for job in access.jobs_for(actor)} == places, login
        assert {order.number[:2] for order in access.orders_for(actor)} == places, login
    assert [place.code for place in access.locations_for(world.actor("all"))] == ["EM", "LM"]


def test_people_instruments_devices_bays_and_packs_are_of_the_own_organisation(world: World) -> None:
    brackwater = world.jobs["EM"].organisation
    with unscoped():
        rows.tape(brackwater, "TM-014", home_location=world.places["EM"])
        tablet = rows.device(brackwater, location=world.places["EM"])
        gone = rows.device(brackwater, location=world.places["EM"], revoked_at=NOON)
        Bay.objects.create(
            organisation=brackwater, location=world.places["EM"], code="EM-B2", length_mm=12000,
            width_mm=6000, height_mm=4000,
        )  # fmt: skip
        PackEditionOnFile.objects.create(
            organisation=brackwater, pack="orrinvale", edition=7, source=b"x", sha256="0" * 64,
            in_force_from=date(2026, 1, 1),
        )  # fmt: skip
    ways: tuple[tuple[set[str], Callable[[Actor], Any]], ...] = (
        ({"em", "all"}, lambda actor: access.get_equipment_for(actor, "TM-014")),
        ({"em", "all"}, lambda actor: access.get_device_for(actor, tablet.pk)),
        (set(), lambda actor: access.get_device_for(actor, gone.pk)),
        ({"em", "all"}, lambda actor: access.get_bay_for(actor, "EM-B2")),
        ({"em", "all", "lm", "nowhere"}, lambda actor: access.get_pack_for(actor, "orrinvale", 7)),
        (
            {"em", "all", "lm", "nowhere", "own_auditor", "no_role"},
            lambda actor: access.get_person_for(actor, "ITolvaar"),
        ),
    )
    for allowed, get in ways:
        for login in SEES:
            if login in allowed:
                assert get(world.actor(login)), login
            else:
                with pytest.raises(NotFound):
                    get(world.actor(login))


def grant(packet: Any, to: Person, **fields: Any) -> AccessGrant:
    values = {
        "purpose": "insurer_audit", "valid_from": NOON, "until": NOON + timedelta(days=30),
        "granted_at": NOON, "granted_by": packet.requested_by,
    } | fields  # fmt: skip
    return AccessGrant.objects.create(organisation=packet.organisation, packet=packet, to_person=to, **values)


@pytest.mark.parametrize(
    ("fields", "at", "sees"),
    [
        ({}, NOON, True),
        ({}, NOON - timedelta(microseconds=1), False),
        ({}, NOON + timedelta(days=30, microseconds=-1), True),
        ({}, NOON + timedelta(days=30), False),
        ({"revoked_at": NOON}, NOON, False),
        ({"max_downloads": 2, "downloads": 1}, NOON, True),
        ({"max_downloads": 2, "downloads": 2}, NOON, False),
    ],
)
def test_an_auditor_sees_a_granted_packet_while_the_grant_holds(
    world: World, fields: dict[str, Any], at: Any, sees: bool
) -> None:
    with unscoped():
        granted, kept = _packet(world.jobs["EM"]), _packet(world.jobs["LM"])
        grant(granted, world.people["auditor"], **fields)
    auditor = world.actor("auditor")
    if sees:
        assert access.get_packet_for(auditor, granted.pk, as_of=at) == granted
        assert access.grant_of_packet(auditor, granted, as_of=at) is not None
    else:
        with pytest.raises(NotFound):
            access.get_packet_for(auditor, granted.pk, as_of=at)
        assert access.grant_of_packet(auditor, granted, as_of=at) is None
    # Never another packet, never the job, and nobody else by this grant.
    for actor, act in (
        (auditor, lambda actor: access.get_packet_for(actor, kept.pk, as_of=at)),
        (auditor, lambda actor: access.get_job_for(actor, granted.job_id)),
        (world.actor("own_auditor"), lambda actor: access.get_packet_for(actor, granted.pk, as_of=at)),
        (world.actor("other"), lambda actor: access.get_packet_for(actor, granted.pk, as_of=at)),
    ):
        with pytest.raises(NotFound):
            act(actor)


@pytest.fixture
def token(world: World) -> Iterator[tuple[str, ApiToken]]:
    text = access.new_token_text()
    with unscoped():
        made = ApiToken.objects.create(
            organisation=world.jobs["EM"].organisation, name="tablet", prefix=access.token_prefix(text),
            sha256=access.token_sha256(text), scopes=["read"], person=world.people["all"],
            device=rows.device(world.jobs["EM"].organisation), created_at=NOON,
            expires_at=NOON + timedelta(days=90),
        )  # fmt: skip
        yield text, made


def test_a_token_makes_its_person_the_actor(token: tuple[str, ApiToken]) -> None:
    text, row = token
    actor = actor_for_token(text, as_of=NOON)
    assert actor.person.login == "pvantongeren"
    assert actor.scopes == {"read"}
    assert actor.device == row.device
    assert actor.location_ids is None
    assert text not in (row.prefix, row.sha256)
    assert len(text) > 40


@pytest.mark.parametrize(
    "change",
    [
        lambda text, row: text + "x",
        lambda text, row: text[:-1],
        lambda text, row: row.prefix,
        lambda text, row: "wm_" + "A" * 43,
        lambda text, row: text.removeprefix("wm_"),
        lambda text, row: "ü" + text,
        lambda text, row: "",
    ],
)
def test_a_wrong_token_is_nobody(token: tuple[str, ApiToken], change: Callable[[str, ApiToken], str]) -> None:
    text, row = token
    assert actor_for_token(text, as_of=NOON)
    with pytest.raises(NotSignedIn):
        actor_for_token(change(text, row), as_of=NOON)


def test_a_token_ends_with_its_time_its_revocation_its_device_and_its_person(
    token: tuple[str, ApiToken], world: World
) -> None:
    text, row = token
    assert actor_for_token(text, as_of=row.expires_at - timedelta(microseconds=1))
    with pytest.raises(NotSignedIn):
        actor_for_token(text, as_of=row.expires_at)
    person, device = world.people["all"], row.device
    assert device is not None
    for target, field, broken, sound in (
        (row, "revoked_at", NOON, None),
        (device, "revoked_at", NOON, None),
        (person, "is_active", False, True),
        (person, "active_to", date(2026, 5, 11), date(2026, 5, 12)),
        (person, "active_from", date(2026, 5, 13), date(2026, 5, 12)),
    ):
        setattr(target, field, broken)
        target.save()
        with pytest.raises(NotSignedIn):
            actor_for_token(text, as_of=NOON)
        setattr(target, field, sound)
        target.save()
        assert actor_for_token(text, as_of=NOON), field


def test_a_token_bound_to_a_location_narrows_and_never_widens(
    token: tuple[str, ApiToken], world: World
) -> None:
    text, row = token
    row.location = world.places["EM"]
    row.save()
    assert {job.number for job in access.jobs_for(actor_for_token(text, as_of=NOON))} == {"EM-1"}
    row.person = world.people["lm"]
    row.save()
    assert not access.jobs_for(actor_for_token(text, as_of=NOON)).exists()
