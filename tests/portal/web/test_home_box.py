"""The box "Can this car go home today?": asked only when sent, entries checked, the answer in words."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from portal.home_entries import BadEntryError, entered
from portal.web.home_box import home_box
from rules.advice.home import HomeAnswer, Step
from rules.advice.home_question import Entered

AT = datetime(2026, 10, 20, 19, 25, tzinfo=UTC)
TZ = "America/Chicago"


def answer(**changes: Any) -> HomeAnswer:
    values: dict[str, Any] = {
        "answer": "not_today",
        "earliest": None,
        "latest": None,
        "spare_s": None,
        "back_at": None,
        "sentence": "Not today. Not before 18:20 on 2026-10-20: the adhesive is ready then.",
        "reason": "",
        "steps": (Step(name="adhesive ready", at=AT, words="lowest 12.4 degC", source="data sheet"),),
    } | changes
    return HomeAnswer(**values)


def never(given: Entered, at: datetime) -> HomeAnswer:
    raise AssertionError("nobody asked")


def test_a_page_that_was_only_opened_asks_nothing() -> None:
    box = home_box({"said": "x"}, TZ, never)
    assert box["asked"] is False
    assert "answer" not in box
    assert [field["name"] for field in box["fields"]][:2] == ["way_minutes", "work_minutes"]


def test_a_sent_form_is_answered_with_its_entries() -> None:
    asked: list[Entered] = []

    def ask(given: Entered, at: datetime) -> HomeAnswer:
        asked.append(given)
        return answer()

    box = home_box({"home": "1", "way_minutes": "12", "forecast_rh_percent": "28"}, TZ, ask)
    assert (asked[0].way_s, asked[0].forecast_rh) == (720.0, 28.0)
    assert (box["head"], box["answer"]) == ("Not today", "not_today")
    assert box["sentence"] == "Not before 18:20 on 20 Oct 2026: the adhesive is ready then."
    assert box["steps"] == [
        {"name": "Adhesive ready", "at": "14:25 CDT", "words": "lowest 12.4 °C", "source": "data sheet"}
    ]
    possible = home_box(
        {"home": "1"}, TZ, lambda given, at: answer(answer="window", sentence="Possible: go.")
    )
    assert possible["sentence"] == "Go."


def test_a_wrong_entry_is_told_and_nothing_is_worked_out() -> None:
    box = home_box({"home": "1", "way_minutes": "far"}, TZ, never)
    assert box["fault"].startswith("Minutes to the road")
    assert box["fields"][0]["value"] == "far"


def test_a_clock_time_of_a_form_is_of_the_shops_own_day() -> None:
    given = entered({"shift_until": "18:00", "bay_free_at": ""}, now=AT, tz=TZ)
    assert given.shift_until == datetime(2026, 10, 20, 23, 0, tzinfo=UTC)
    assert given.bay_free_at is None
    late = entered({"shift_until": "18:00"}, now=datetime(2026, 10, 21, 2, 0, tzinfo=UTC), tz=TZ)
    assert late.shift_until == given.shift_until


@pytest.mark.parametrize("text", ["24:00", "7:5", "18:00:00", "soon", "2030-01-01T00:00:00Z"])
def test_what_is_no_time_of_these_days_is_refused(text: str) -> None:
    with pytest.raises(BadEntryError) as fault:
        entered({"shift_until": text}, now=AT, tz=TZ)
    assert fault.value.name == "shift_until"


def test_bounds_belong_to_what_can_be_entered() -> None:
    assert entered({"way_minutes": "240"}, now=AT).way_s == 14400.0
    assert entered({"way_minutes": "0", "work_minutes": "1440"}, now=AT).work_s == 86400.0
    with pytest.raises(BadEntryError):
        entered({"way_minutes": "240.1"}, now=AT)
    assert entered({}, now=AT + timedelta(days=1)) == Entered()
