"""Can this car go home today: the window of the drive, or why not, each step with its time and source."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from rules.advice.home import Dated, Drive, HomeQuestion, Ready, ceil_minute, floor_minute
from rules.advice.home_question import DEFAULT_RATIO, Entered, OwnDrives, home_question, with_forecast
from rules.advice.home_today import home_today
from rules.facts import AdhesiveCell, Delivery, JobFacts
from rules.packs.model import PackEdition, PackSet, Procedure
from rules.science.adhesive import table_minutes
from rules.science.sun import position_deg, stretch_above
from tests.rules.builders import EASTMARCH, at, held, loose, moment
from tests.rules.packs_on_file import packs_on_file
from tests.rules.weakening import judged
from tests.rules.windshield_job import TARVEK_U60, unsigned_job

CENTRAL_SUMMER = timezone(timedelta(hours=-5))


def local(hour: int, minute: int, second: int = 0) -> datetime:
    return datetime(2026, 10, 20, hour, minute, second, tzinfo=CENTRAL_SUMMER)


# The worked case of 20 October 2026 at 43.1 north, 98.2 west: 600 s must count, the shop's own drives take
# 1.45 times as long, 12 min to the road, the sun at least 5 degrees high.
DRIVE = Drive(
    procedure_id="OV-FC-ROAD",
    title="Forward camera, on the road",
    needed_s=600.0,
    sun_above_deg=5.0,
    citation="OV-SI-2114, edition 2026-06, 4.3",
)


def ready_after(minutes: int) -> Ready:
    """Glass set 14:20."""
    return Ready(at=local(14, 20) + timedelta(minutes=minutes), words=f"{minutes} min", source="data sheet")


def asked(**changes: Any) -> HomeQuestion:
    values: dict[str, Any] = {
        "now": local(14, 25),
        "place": replace(EASTMARCH, lat=43.1, lon=-98.2),
        "ready": ready_after(180),
        "drives": (DRIVE,),
        "ratio": 1.45,
        "ratio_source": "middle of the shop's own last 9 drives",
        "way_s": 720.0,
    } | changes
    return HomeQuestion(**values)


# ------------------------------------------------------------------ the two worked cases


def test_the_minutes_of_the_data_sheet() -> None:
    """Lowest 12.4 degC less 0.41; 41 % less 2.47 is in the band from 30 %, 28 % less 2.47 below it."""
    cells: tuple[AdhesiveCell, ...] = TARVEK_U60.cells
    assert table_minutes(cells, 12.4 - 0.41, 41 - 2.47) == 180
    assert table_minutes(cells, 12.4 - 0.41, 28 - 2.47) == 240


def test_at_41_percent_there_is_a_window_of_21_minutes() -> None:
    answer = home_today(asked())
    assert answer.answer == "window"
    assert (answer.earliest, answer.latest) == (local(17, 20), local(17, 41))
    assert answer.spare_s == 21 * 60
    # 12 min out, 14.5 min of drive, 12 min back from 17:20.
    assert answer.back_at == local(17, 59)
    assert answer.sentence == (
        "Possible: leave between 17:20 and 17:41, 21 min to spare. Not before 17:20: the adhesive is ready "
        "then. Not after 17:41: the counted part must end by 18:08, when the sun falls below 5 deg."
    )


def test_at_28_percent_it_is_not_today() -> None:
    answer = home_today(asked(ready=ready_after(240)))
    assert answer.answer == "not_today"
    assert (answer.earliest, answer.latest) == (None, None)
    assert "Not before 18:20: the adhesive is ready then." in answer.sentence
    assert "must end by 18:08" in answer.sentence
    assert answer.sentence.endswith("Promise tomorrow, and say why.")


def test_each_step_has_its_time_and_its_source() -> None:
    steps = {step.name: step for step in home_today(asked(shift_until=local(18, 30))).steps}
    assert list(steps) == ["now", "adhesive ready", "bay free", "aimer here until", "drive"]
    assert steps["adhesive ready"].at == local(17, 20)
    assert steps["aimer here until"].source == "entered by hand"
    assert steps["bay free"].source == "not entered"
    assert "600 s must count, times 1.45 is 14.5 min; 2 x 12 min" in steps["drive"].words
    assert all(step.source for step in steps.values())


# ------------------------------------------------------------------ sun


def test_the_sun_falls_through_5_degrees_at_18_08_30() -> None:
    found = stretch_above(5.0, local(14, 0).timestamp(), local(23, 59).timestamp(), 43.1, -98.2)
    assert found is not None
    assert abs(found[1] - local(18, 8, 30).timestamp()) < 30
    assert position_deg(found[1], 43.1, -98.2)[0] >= 5.0
    assert position_deg(found[1] + 2, 43.1, -98.2)[0] < 5.0


def test_before_dawn_the_stretch_begins_when_the_sun_is_up() -> None:
    found = stretch_above(5.0, local(4, 0).timestamp(), local(23, 59).timestamp(), 43.1, -98.2)
    assert found is not None
    assert position_deg(found[0], 43.1, -98.2)[0] >= 5.0
    assert position_deg(found[0] - 2, 43.1, -98.2)[0] < 5.0
    answer = home_today(asked(now=local(4, 0), ready=None))
    assert answer.earliest is not None
    assert "the sun stands high enough then" in answer.sentence
    # The counted part cannot begin before 12 min on the road.
    assert answer.earliest + timedelta(minutes=12) >= datetime.fromtimestamp(found[0], tz=UTC)


def test_after_sunset_there_is_no_stretch() -> None:
    assert stretch_above(5.0, local(18, 30).timestamp(), local(23, 59).timestamp(), 43.1, -98.2) is None
    answer = home_today(asked(now=local(18, 30), ready=None))
    assert answer.answer == "not_today"
    assert "The sun stays too low" in answer.reason


def test_without_a_sun_limit_the_day_is_the_limit() -> None:
    drive = replace(DRIVE, sun_above_deg=None)
    answer = home_today(asked(ready=ready_after(240), drives=(drive,)))
    assert (answer.answer, answer.earliest) == ("window", local(18, 20))
    assert "the day ends" in answer.sentence


# ------------------------------------------------------------------ the other steps


@pytest.mark.parametrize(
    ("changes", "earliest", "latest"),
    [
        ({"bay_free_at": local(17, 30)}, local(17, 30), local(17, 41)),
        ({"bay_free_at": local(16, 0), "work_s": 5100.0}, local(17, 25), local(17, 41)),
        ({"work_s": 600.0}, local(17, 20), local(17, 41)),
        # Back by 18:10: 38.5 min before that.
        ({"shift_until": local(18, 10)}, local(17, 20), local(17, 31)),
        ({"ready": None}, local(14, 25), local(17, 41)),
        ({"ready": ready_after(201)}, local(17, 41), local(17, 41)),
    ],
)
def test_the_last_of_all_steps_decides(changes: dict[str, Any], earliest: datetime, latest: datetime) -> None:
    answer = home_today(asked(**changes))
    assert (answer.answer, answer.earliest, answer.latest) == ("window", earliest, latest)


@pytest.mark.parametrize(
    "changes",
    [
        {"ready": ready_after(202)},
        {"bay_free_at": local(17, 42)},
        {"shift_until": local(17, 58)},
        {"ratio": 3.7},
        {"way_s": 2400.0},
        {"drives": (DRIVE, DRIVE)},
    ],
)
def test_one_step_too_late_is_not_today(changes: dict[str, Any]) -> None:
    answer = home_today(asked(**changes))
    assert answer.answer == "not_today"
    assert "Promise tomorrow" in answer.sentence


def test_an_instrument_out_of_date_today_is_named_and_one_of_tomorrow_too() -> None:
    out = Dated(tag="VL-009", today=False, tomorrow=False, words="not in date today")
    last = Dated(tag="PG-022", today=True, tomorrow=False, words="in date today, not tomorrow")
    answer = home_today(asked(instruments=(out, last)))
    assert (answer.answer, answer.reason) == ("not_today", "Out of date today: VL-009. Take others.")
    late = home_today(asked(instruments=(last,), ready=ready_after(240)))
    assert late.sentence.endswith("Out of date tomorrow: PG-022.")
    assert home_today(asked(instruments=(last,))).answer == "window"


@pytest.mark.parametrize(
    ("changes", "answer", "words"),
    [
        ({"way_s": None}, "cannot_tell", "How far it is to the road"),
        ({"unknown": ("Forward camera: cannot tell yet.",)}, "cannot_tell", "cannot tell yet"),
        (
            {"ready": Ready(at=None, words="No ready time can be given.", source="")},
            "cannot_tell",
            "No ready",
        ),
        ({"past": ("Bonded glass, ready",)}, "not_today", "this cannot be repaired"),
    ],
)
def test_what_is_not_known_gives_no_window(changes: dict[str, Any], answer: str, words: str) -> None:
    found = home_today(asked(**changes))
    assert found.answer == answer
    assert words in found.sentence
    assert found.earliest is None


def test_without_a_drive_the_car_goes_when_the_adhesive_is_ready() -> None:
    answer = home_today(asked(drives=(), way_s=None, shift_until=local(18, 0)))
    assert (answer.answer, answer.earliest, answer.latest) == ("window", local(17, 20), local(18, 0))
    late = home_today(asked(drives=(), shift_until=local(17, 0)))
    assert late.answer == "not_today"
    tomorrow = home_today(asked(drives=(), ready=ready_after(600)))
    assert tomorrow.answer == "not_today"
    assert "00:20 on 2026-10-21" in tomorrow.sentence


def test_minutes_are_rounded_to_the_safe_side() -> None:
    assert ceil_minute(local(17, 20, 1)) == local(17, 21)
    assert ceil_minute(local(17, 20)) == local(17, 20)
    assert ceil_minute(local(17, 20) + timedelta(milliseconds=20)) == local(17, 20)
    assert floor_minute(local(17, 41, 59)) == local(17, 41)


# ------------------------------------------------------------------ from a record


def curing(facts: JobFacts | None = None) -> JobFacts:
    """5 May at 09:00: glass set 08:40, the drive not made."""
    return replace(facts or unsigned_job(), sessions=(), drive_logs=())


def question_at(when: str, facts: JobFacts, **entered: Any) -> HomeQuestion:
    return home_question(
        packs_on_file(), facts, judged(facts, when), at(when), Entered(**entered), OwnDrives()
    )


def climate_so_far(facts: JobFacts, when: str) -> JobFacts:
    """The climate log as far as it goes at that time."""
    log = facts.climate_logs[0]
    kept = tuple(sample for sample in log.samples if sample[0] <= at(when).timestamp())
    early = replace(log, samples=kept, received_at=at("08:45"))
    settings = tuple(replace(item, received_at=at("08:45")) for item in facts.glass_sets)
    return replace(facts, climate_logs=(early,), glass_sets=settings)


def test_the_ready_time_is_that_of_the_readings_so_far() -> None:
    """Lowest 18.9 degC, 52 %: guarded 18.49 and 49.5, 90 min from 08:40."""
    question = question_at("09:00", climate_so_far(curing(), "09:00"), way_s=600.0)
    assert question.ready is not None
    assert question.ready.at == at("10:10")
    assert [drive.needed_s for drive in question.drives] == [600.0]
    assert (question.ratio, question.ratio_source) == (
        DEFAULT_RATIO,
        "no drive of this shop on record, project default",
    )
    assert home_today(question).earliest == at("10:10")


@pytest.mark.parametrize(
    ("forecast", "ready"),
    [
        ({"forecast_temp": 15.2}, "11:40"),  # guarded 14.79 degC: 180 min
        ({"forecast_temp": 15.5}, "10:10"),  # guarded 15.09 degC: 90 min
        ({"forecast_rh": 31.0}, "10:40"),  # guarded 28.5 %: 120 min
        ({"forecast_temp": 25.0, "forecast_rh": 80.0}, "10:10"),  # warmer and damper than it was: no help
    ],
)
def test_a_forecast_makes_it_later_and_never_earlier(forecast: dict[str, float], ready: str) -> None:
    question = question_at("09:00", climate_so_far(curing(), "09:00"), **forecast)
    assert question.ready is not None
    assert question.ready.at == at(ready)
    assert question.ready.source.endswith("forecast entered by hand")


def test_a_forecast_after_ready_changes_nothing() -> None:
    facts = curing()
    later = with_forecast(facts, at("10:20"), Entered(forecast_temp=6.0))
    assert len(later.climate_logs[0].samples) == len(facts.climate_logs[0].samples) + 1
    assert with_forecast(facts, at("10:20"), Entered()) is facts


def test_own_drives_give_the_ratio() -> None:
    facts = curing()
    own = OwnDrives(ratio=863 / 596, drives=12)
    question = home_question(packs_on_file(), facts, judged(facts, "09:00"), at("09:00"), Entered(), own)
    assert question.ratio == 863 / 596
    assert question.ratio_source == "middle of the shop's own last 12 drives"


def test_without_climate_nothing_can_be_promised() -> None:
    facts = replace(curing(), climate_logs=())
    answer = home_today(question_at("09:00", facts, way_s=600.0))
    assert answer.answer == "cannot_tell"
    unset = home_today(question_at("09:00", replace(facts, glass_sets=()), way_s=600.0))
    assert unset.answer == "cannot_tell"


def test_a_car_that_has_left_and_one_of_which_nobody_knows_what_it_needs() -> None:
    left = replace(curing(), delivery=Delivery(**held("delivery", "11:55"), at=moment("11:55")))
    assert home_today(question_at("12:00", left)).reason == "The car has left already."
    ways = tuple(item for item in curing().fitted_ways if item.sensor != "forward_camera")
    unknown = home_today(question_at("09:00", replace(curing(), fitted_ways=ways), way_s=600.0))
    assert unknown.answer == "cannot_tell"
    assert "cannot tell yet" in unknown.reason


def test_what_is_driven_too_early_is_not_promised() -> None:
    job = unsigned_job()
    early = replace(job, glass_sets=(replace(job.glass_sets[0], set_at=loose("10:20", 0.0)),))
    answer = home_today(question_at("11:50", early, way_s=600.0))
    assert answer.answer == "not_today"
    assert "this cannot be repaired" in answer.sentence


def test_the_instruments_in_use_are_looked_up_for_today_and_tomorrow() -> None:
    question = question_at("11:50", unsigned_job())
    words = {item.tag: item.words for item in question.instruments}
    assert words["PG-022"] == "in date today and tomorrow, valid through 2027-01-12"
    last_day = question_at("2027-01-12 10:00", unsigned_job())
    dated = {item.tag: (item.today, item.tomorrow) for item in last_day.instruments}
    assert dated["PG-022"] == (True, False)


def test_a_drive_that_is_one_of_several_ways_is_not_passed_over() -> None:
    """Whether it will be driven is not known, so no window is promised without it."""
    facts, packs = curing(), packs_on_file()
    told = judged(facts, "09:00")
    drive = next(item for item in told.findings if item.check == "drive_log")

    def either_way(edition: PackEdition) -> PackEdition:
        return replace(edition, procedures=tuple(_either_way(one) for one in edition.procedures))

    def _either_way(procedure: Procedure) -> Procedure:
        ways = tuple(
            replace(one, check="any_of", arguments={}, alternatives=(one, one))
            if one.id == drive.proof_id
            else one
            for one in procedure.proofs
        )
        return replace(procedure, proofs=ways)

    several = PackSet(editions=tuple(either_way(edition) for edition in packs.editions))
    findings = tuple(replace(one, check="any_of") if one is drive else one for one in told.findings)
    question = home_question(
        several, facts, replace(told, findings=findings), at("09:00"), Entered(way_s=600.0), OwnDrives()
    )
    assert question.drives == ()
    answer = home_today(question)
    assert answer.answer == "cannot_tell"
    assert "a drive is one of several ways" in answer.reason
    gone = replace(several, editions=())
    lost = home_question(gone, facts, told, at("09:00"), Entered(way_s=600.0), OwnDrives())
    assert home_today(lost).answer == "cannot_tell"
