"""Surveys of bay floors: what is kept, with which uncertainty, and a floor that was changed since."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from jobs.errors import Conflict, NotAllowed, Refused
from jobs.facts import job_facts
from jobs.models import AssessmentRun, Bay, BayFloorSurvey, Job, LogEntry
from jobs.services import equipment, floor_survey, session
from jobs.services.floor_survey import PointEntry, SurveyEntry, VoidEntry
from tests.factories import EquipmentFactory, MethodBudgetFactory
from tests.jobs.shop import Shop, new_id
from tests.rules.checks.standing import GRID

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _level(shop: Shop) -> None:
    EquipmentFactory.create(
        organisation=shop.organisation, tag="FL-001", instrument_class="level", unit="mm", serial="ST-00101"
    )
    MethodBudgetFactory.create(
        organisation=shop.organisation, quantity="floor_z", instrument_class="level", u_fixed=0.298608,
        u_relative=0, u_repeat=0, resolution=0.1, valid_from=date(2024, 1, 1),
    )  # fmt: skip


def entry(**fields: Any) -> SurveyEntry:
    """The worked grid, typed in m and mm."""
    points = (PointEntry(x=f"{x / 1000:.1f}", y=f"{y / 1000:.1f}", z=f"{z:.1f}") for x, y, z in GRID)
    given: dict[str, Any] = {
        "id": new_id(), "surveyed_at": "2026-05-05T08:00:00-05:00", "instrument": "FL-001", "xy_unit": "m",
        "points": tuple(points),
    } | fields  # fmt: skip
    return SurveyEntry(**given)


def record(shop: Shop, login: str = "itolvaar", **fields: Any) -> BayFloorSurvey:
    return floor_survey.record_survey(
        bay=Bay.objects.get(code="EM-B2"),
        actor=shop.actor(login),
        as_of=shop.at("08:30"),
        entry=entry(**fields),
    )


def void(
    shop: Shop, survey: BayFloorSurvey, reason: str = "A lift was set.", changed_at: str = ""
) -> BayFloorSurvey:
    return floor_survey.void_survey(
        survey=survey, actor=shop.actor("itolvaar"), as_of=shop.at("12:00"),
        entry=VoidEntry(reason=reason, changed_at=changed_at),
    )  # fmt: skip


def in_bay(shop: Shop, job: Job) -> None:
    session.start_session(
        job=job, actor=shop.actor("itolvaar"), as_of=shop.at("09:00"),
        entry=session.SessionEntry(
            id=new_id(), procedure_id="OV-FC-STILL", started_at=shop.text("08:59"), bay="EM-B2",
            capture_device=shop.tablet.pk,
        ),
    )  # fmt: skip


def test_a_survey_is_kept_with_the_uncertainty_of_its_method(shop: Shop) -> None:
    survey = record(shop)
    assert survey.u_z_mm == pytest.approx(0.3, abs=1e-6)
    assert survey.points[0] == [-2800.0, -1200.0, 0.0]
    assert survey.computed["slope_deg"] == pytest.approx(0.177, abs=5e-4)
    assert survey.computed["flatness_mm"] == pytest.approx(1.413, abs=5e-4)
    assert survey.computed["plane"][1:] == pytest.approx([3.019, 0.694], abs=5e-4)
    logged = LogEntry.objects.filter(what="floor.surveyed").get()
    assert logged.target == "bay/EM-B2"


def test_heights_typed_coarsely_are_known_coarsely(shop: Shop) -> None:
    whole = tuple(PointEntry(x=f"{x:.0f}", y=f"{y:.0f}", z=f"{z:.0f}") for x, y, z in GRID)
    coarse = record(shop, points=whole, xy_unit="mm")
    assert coarse.u_z_mm == pytest.approx((0.3 * 0.3 + 1 / 12) ** 0.5, abs=1e-6)


def test_without_a_method_budget_it_is_kept_and_shows_nothing(shop: Shop, job: Job) -> None:
    survey = record(shop, instrument="PG-022")
    assert survey.u_z_mm == 0.0
    in_bay(shop, job)
    (fact,) = job_facts(job=job, as_of=shop.at("10:00")).floor_surveys
    assert fact.u_z is None


def line(count: int) -> tuple[PointEntry, ...]:
    return tuple(PointEntry(x=str(1000 * i), y=str(500 * i), z="0") for i in range(count))


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"points": ()}, "too_few_points"),
        ({"points": entry().points[:8]}, "too_few_points"),
        ({"points": entry().points[:8] + entry().points[:3]}, "too_few_points"),
        ({"points": line(9), "xy_unit": "mm"}, "points_on_one_line"),
        ({"points": entry().points * 12}, "too_many"),
        ({"points": (PointEntry(x="0", y="0", z="high"), *entry().points)}, "bad_number"),
        ({"points": (PointEntry(x="999", y="0", z="0"), *entry().points)}, "out_of_range"),
        ({"xy_unit": "furlong"}, "unit_unknown"),
        ({"z_unit": "kPa"}, "unit_mismatch"),
        ({"instrument": "FL-999"}, "unknown_reference"),
        ({"instrument": ""}, "unknown_reference"),
        ({"valid_months": 0}, "bad_number"),
        ({"surveyed_at": "2026-05-05"}, "bad_instant"),
        ({"surveyed_at": "2026-05-09T08:00:00-05:00"}, "instant_in_future"),
    ],
)
def test_what_is_no_survey(shop: Shop, fields: dict[str, Any], code: str) -> None:
    with pytest.raises(Refused) as refused:
        record(shop, **fields)
    assert refused.value.code == code
    assert not BayFloorSurvey.objects.exists()


def test_who_may_survey(shop: Shop) -> None:
    with pytest.raises(NotAllowed):
        record(shop, "mondry")
    assert record(shop, "tachterly").surveyed_by.login == "tachterly"


def test_the_same_id_twice_is_one_survey_also_after_it_was_voided(shop: Shop) -> None:
    one = entry()
    bay = Bay.objects.get(code="EM-B2")
    given = {"bay": bay, "actor": shop.actor("itolvaar"), "as_of": shop.at("08:30")}
    first = floor_survey.record_survey(**given, entry=one)
    void(shop, first)
    assert floor_survey.record_survey(**given, entry=one).pk == first.pk
    with pytest.raises(Conflict) as conflict:
        floor_survey.record_survey(**given, entry=replace(one, grid_note="other"))
    assert conflict.value.code == "id_in_use"
    assert LogEntry.objects.filter(what="floor.surveyed").count() == 1


# ------------------------------------------------------------------ a floor that was changed


def test_a_survey_is_made_void_once(shop: Shop) -> None:
    survey = void(shop, record(shop))
    assert (survey.voided_at, survey.void_recorded_at) == (shop.at("12:00"), shop.at("12:00"))
    assert void(shop, survey).voided_at == shop.at("12:00")
    with pytest.raises(Conflict) as conflict:
        void(shop, survey, "Another reason.")
    assert conflict.value.code == "already_voided"
    with pytest.raises(Conflict):
        void(shop, survey, changed_at=shop.text("11:00"))
    assert LogEntry.objects.filter(what="floor.survey_voided").count() == 1


@pytest.mark.parametrize(
    ("changed_at", "code"),
    [
        ("2026-05-05T12:00:01-05:00", "instant_in_future"),
        ("2026-05-03T07:59:00-05:00", "times_backwards"),
        ("yesterday", "bad_instant"),
    ],
)
def test_when_a_floor_cannot_have_been_changed(shop: Shop, changed_at: str, code: str) -> None:
    survey = record(shop, device=shop.tablet.pk)
    with pytest.raises(Refused) as refused:
        void(shop, survey, changed_at=changed_at)
    assert refused.value.code == code


def test_a_voiding_needs_a_reason(shop: Shop) -> None:
    with pytest.raises(Refused):
        void(shop, record(shop), " ")


# ------------------------------------------------------------------ as facts


def test_facts_hold_the_surveys_of_the_bays_of_this_job(shop: Shop, job: Job) -> None:
    record(shop)
    assert job_facts(job=job, as_of=shop.at("10:00")).floor_surveys == ()
    in_bay(shop, job)
    (fact,) = job_facts(job=job, as_of=shop.at("10:00")).floor_surveys
    assert (fact.bay, fact.instrument, len(fact.points)) == ("EM-B2", "FL-001", 18)
    assert fact.u_z == pytest.approx(0.3, abs=1e-6)
    assert [item.tag for item in job_facts(job=job, as_of=shop.at("10:00")).equipment] == ["FL-001"]


def test_facts_know_of_a_voiding_from_when_the_server_did(shop: Shop, job: Job) -> None:
    survey = record(shop)
    in_bay(shop, job)
    before = job_facts(job=job, as_of=shop.at("11:59")).floor_surveys[0]
    void(shop, survey, changed_at=shop.text("10:30"))
    assert job_facts(job=job, as_of=shop.at("11:59")).floor_surveys[0] == before
    after = job_facts(job=job, as_of=shop.at("12:00")).floor_surveys[0]
    assert (after.voided_at, after.void_held_at) == (shop.at("10:30"), shop.at("12:00"))
    assert after.sha256 != before.sha256


def test_jobs_that_stood_there_are_judged_anew(shop: Shop, job: Job) -> None:
    in_bay(shop, job)

    def judged_anew() -> bool:
        runs = AssessmentRun.objects.filter(job=job)
        asked = runs.exists()
        runs.delete()
        return asked

    assert judged_anew()
    survey = record(shop)
    assert judged_anew()
    void(shop, survey)
    assert judged_anew()
    equipment.record_event(
        equipment=survey.instrument, actor=shop.actor("itolvaar"), as_of=shop.at("12:30"),
        entry=equipment.EventEntry(id=new_id(), kind="dropped"),
    )  # fmt: skip
    assert judged_anew()
    assert not judged_anew()


def test_points_wider_than_the_bay_were_typed_in_another_unit(shop: Shop, job: Job) -> None:
    """The same grid ten times as wide would have a tenth of its slope."""
    steep = tuple(PointEntry(x=f"{x / 100:.1f}", y=f"{y / 100:.1f}", z=f"{10 * z:.1f}") for x, y, z in GRID)
    with pytest.raises(Refused) as refusal:
        record(shop, points=steep)
    assert refusal.value.code == "out_of_range"
    long = tuple(PointEntry(x=f"{x / 1000:.1f}", y=f"{3 * y / 1000:.1f}", z=f"{z:.1f}") for x, y, z in GRID)
    with pytest.raises(Refused) as refusal:
        record(shop, points=long)
    assert refusal.value.code == "out_of_range"
