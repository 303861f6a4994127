"""Legal holds: what they cover, who places them, and that two people lift them."""

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from jobs.errors import Conflict, NotAllowed, NotFound, Refused
from jobs.models import Job, LegalHold, LogEntry, scope
from jobs.selectors.holds import covered_jobs, held_jobs, holds_for
from jobs.services import holds
from jobs.services.holds import HoldEntry, HoldQuery
from tests.factories import LocationFactory, PersonFactory, second_organisation
from tests.jobs.shop import Shop, new_id


def place(shop: Shop, login: str = "lveskel", hhmm: str = "12:00", **fields: Any) -> LegalHold:
    given: dict[str, Any] = {"id": new_id(), "matter": "Ashgrove against Harrowmere, 26-CV-118"} | fields
    return holds.place_hold(actor=shop.actor(login), as_of=shop.at(hhmm), entry=HoldEntry(**given))


def test_a_hold_names_jobs(shop: Shop, job: Job) -> None:
    with pytest.raises(NotAllowed):
        place(shop, "itolvaar", jobs=(job.pk,))
    hold = place(shop, jobs=(job.pk,))
    assert held_jobs(shop.organisation) == {job.pk: (hold.pk,)}
    job.refresh_from_db()
    assert job.legal_hold
    (entry,) = LogEntry.objects.filter(what="hold.placed")
    assert (entry.who, "26-CV-118" in entry.detail) == ("lveskel", True)
    assert place(shop, id=hold.pk, jobs=(job.pk,)).pk == hold.pk
    with pytest.raises(Conflict) as caught:
        place(shop, id=hold.pk, jobs=(job.pk,), matter="Another matter")
    assert caught.value.code == "id_in_use"


@pytest.mark.parametrize(
    ("query", "is_covered"),
    [
        ({"vin": "Z0ASD1F89S2011835"}, True),
        ({"vin": "z0asd1f89s2011835"}, True),
        ({"vin": "Z0ACR4H24T1004217"}, False),
        ({"claim_number": "C-1"}, True),
        ({"claim_number": "C-2"}, False),
        ({"locations": ("EM",)}, True),
        ({"opened_from": "2026-05-05"}, True),
        ({"opened_from": "2026-05-06"}, False),
        ({"opened_to": "2026-05-05"}, True),
        ({"opened_to": "2026-05-04"}, False),
        ({"opened_from": "2026-05-05", "opened_to": "2026-05-05", "locations": ("EM",)}, True),
        ({"vin": "Z0ASD1F89S2011835", "claim_number": "C-2"}, False),
    ],
)
def test_a_query_covers_what_fits_all_of_it(shop: Shop, query: dict[str, Any], is_covered: bool) -> None:
    shop.observe_clock("07:29")
    job = shop.open_job(claim_number="C-1")
    hold = place(shop, query=HoldQuery(**query))
    assert (job.pk in held_jobs(shop.organisation)) is is_covered
    assert covered_jobs(hold).exists() is is_covered


@pytest.mark.parametrize(
    ("opened", "is_covered"),
    [
        # Midnight in Chicago is 05:00 UTC in May (IANA time zone database).
        ("2026-05-05T04:59:59+00:00", False),
        ("2026-05-05T05:00:00+00:00", True),
        ("2026-05-06T04:59:59+00:00", True),
        ("2026-05-06T05:00:00+00:00", False),
    ],
)
def test_days_of_a_query_are_those_of_the_place(shop: Shop, job: Job, opened: str, is_covered: bool) -> None:
    Job.objects.filter(pk=job.pk).update(opened_at=opened)
    place(shop, query=HoldQuery(opened_from="2026-05-05", opened_to="2026-05-05"))
    assert (job.pk in held_jobs(shop.organisation)) is is_covered


def test_a_query_covers_what_comes_in_later(shop: Shop) -> None:
    place(shop, query=HoldQuery(locations=("EM",)))
    shop.observe_clock("07:29")
    job = shop.open_job()
    assert job.pk in held_jobs(shop.organisation)
    assert holds.mark_held(organisation=shop.organisation) == 1
    job.refresh_from_db()
    assert job.legal_hold
    assert holds.mark_held(organisation=shop.organisation) == 0


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({}, "hold_of_nothing"),
        ({"query": HoldQuery()}, "hold_of_nothing"),
        ({"query": HoldQuery(vin="Z0ASD1F89S201183")}, "vin_length"),
        ({"query": HoldQuery(opened_from="2026-02-30")}, "bad_date"),
        ({"query": HoldQuery(opened_from="2026-05-06", opened_to="2026-05-05")}, "dates_backwards"),
        ({"query": HoldQuery(locations=("XX",))}, "unknown_reference"),
        ({"query": HoldQuery(locations=("EM",)), "matter": "abc"}, "text_length"),
    ],
)
def test_what_a_hold_may_say(shop: Shop, fields: dict[str, Any], code: str) -> None:
    with pytest.raises(Refused) as caught:
        place(shop, **fields)
    assert caught.value.code == code
    assert not LegalHold.objects.exists()


def test_two_people_lift_a_hold(shop: Shop, job: Job) -> None:
    hold = place(shop, jobs=(job.pk,))
    ask = {"hold": hold, "as_of": shop.at("13:00"), "reason": "The matter was settled on 4 May."}
    with pytest.raises(Conflict) as conflict:
        holds.lift_hold(hold=hold, actor=shop.actor("pvantongeren"), as_of=shop.at("13:00"))
    assert conflict.value.code == "lift_not_asked"
    with pytest.raises(NotAllowed):
        holds.ask_to_lift(**ask, actor=shop.actor("itolvaar"))
    holds.ask_to_lift(**ask, actor=shop.actor("lveskel"))
    assert held_jobs(shop.organisation) == {job.pk: (hold.pk,)}
    with pytest.raises(Conflict) as conflict:
        holds.ask_to_lift(**ask, actor=shop.actor("tachterly"))
    assert conflict.value.code == "lift_asked_before"
    with pytest.raises(NotAllowed) as same:
        holds.lift_hold(hold=hold, actor=shop.actor("lveskel"), as_of=shop.at("14:00"))
    assert same.value.code == "same_person"
    holds.lift_hold(hold=hold, actor=shop.actor("pvantongeren"), as_of=shop.at("14:00"))
    assert held_jobs(shop.organisation) == {}
    job.refresh_from_db()
    assert not job.legal_hold
    with pytest.raises(Conflict) as conflict:
        holds.lift_hold(hold=hold, actor=shop.actor("pvantongeren"), as_of=shop.at("15:00"))
    assert conflict.value.code == "already_lifted"
    assert [entry.what for entry in LogEntry.objects.filter(what__startswith="hold.").order_by("n")] == [
        "hold.placed", "hold.lift_asked", "hold.lifted",
    ]  # fmt: skip


def test_another_hold_over_the_same_job_goes_on(shop: Shop, job: Job) -> None:
    first = place(shop, jobs=(job.pk,))
    second = place(shop, query=HoldQuery(locations=("EM",)))
    reason = "The matter was settled on 4 May."
    holds.ask_to_lift(hold=first, actor=shop.actor("lveskel"), as_of=shop.at("13:00"), reason=reason)
    holds.lift_hold(hold=first, actor=shop.actor("pvantongeren"), as_of=shop.at("14:00"))
    assert held_jobs(shop.organisation) == {job.pk: (second.pk,)}
    job.refresh_from_db()
    assert job.legal_hold


def test_the_database_keeps_a_hold_as_it_was_placed(shop: Shop, job: Job) -> None:
    hold = place(shop, jobs=(job.pk,))
    kept = LegalHold.objects.filter(pk=hold.pk)
    later = shop.at("13:00")
    asked = {"lift_asked_at": later, "lift_asked_by": shop.people["lveskel"]}
    acts: list[Any] = [
        lambda: kept.update(matter="nothing"), lambda: kept.update(query={"vin": "x"}), kept.delete,
        hold.jobs.clear, lambda: kept.update(placed_at=later),
        # One person alone, however the row is written.
        lambda: kept.update(released_at=later, released_by=shop.people["lveskel"]),
        lambda: kept.update(**asked, released_at=later, released_by=shop.people["lveskel"]),
    ]  # fmt: skip
    for act in acts:
        with pytest.raises(IntegrityError), transaction.atomic():
            act()
    kept.update(**asked, released_at=later, released_by=shop.people["pvantongeren"])
    with pytest.raises(IntegrityError), transaction.atomic():
        kept.update(released_at=None, released_by=None)


def test_people_of_one_location_hold_and_see_what_is_theirs(shop: Shop, job: Job) -> None:
    LocationFactory.create(organisation=shop.organisation, code="LM", name="Low Mill")
    PersonFactory.create(
        organisation=shop.organisation, login="lmboss", roles=["location_manager"], all_locations=False
    )
    boss = shop.organisation.people.get(login="lmboss")
    boss.locations.add(
        *shop.organisation.people.model.locations.field.related_model.objects.filter(code="LM")
    )
    shop.people["lmboss"] = boss
    with pytest.raises(NotFound):
        place(shop, "lmboss", jobs=(job.pk,))
    with pytest.raises(Refused):
        place(shop, "lmboss", query=HoldQuery(locations=("EM",)))
    narrow = place(shop, "lmboss", query=HoldQuery(opened_from="2026-01-01"))
    assert narrow.query["locations"] == ["LM"]
    assert held_jobs(shop.organisation) == {}
    wide = place(shop, jobs=(job.pk,))
    assert holds_for(shop.actor("lmboss")) == (narrow,)
    assert set(holds_for(shop.actor("lveskel"))) == {narrow, wide}
    with pytest.raises(NotFound):
        holds.get_hold_for(shop.actor("lmboss"), wide.pk)
    with pytest.raises(NotAllowed) as caught:
        holds.ask_to_lift(
            hold=wide, actor=shop.actor("lmboss"), as_of=shop.at("13:00"), reason="It is not needed here."
        )
    assert caught.value.code == "outside_own_locations"


def test_strangers_and_outsiders_see_none(shop: Shop, job: Job) -> None:
    place(shop, jobs=(job.pk,))
    other = second_organisation()
    shop.people["wstroud"] = other["wstroud"]
    PersonFactory.create(organisation=shop.organisation, login="jquell", roles=["auditor"])
    shop.people["jquell"] = shop.organisation.people.get(login="jquell")
    with scope(other["organisation"].pk):
        assert holds_for(shop.actor("wstroud")) == ()
    assert holds_for(shop.actor("jquell")) == ()
    assert len(holds_for(shop.actor("pvantongeren"))) == 1
