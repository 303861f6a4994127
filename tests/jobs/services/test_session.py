"""Sessions begin, get key events, and end once."""

from typing import Any

import pytest

from jobs.errors import Conflict, NotAllowed, Refused, VersionConflict
from jobs.facts import job_facts
from jobs.models import Job, KeyEvent, Session
from jobs.services import session
from jobs.services.session import KeyEventEntry, PartEntry, SessionEnd, SessionEntry
from tests.jobs.shop import Shop, new_id


def start(shop: Shop, job: Job, **fields: Any) -> Session:
    given: dict[str, Any] = {
        "id": new_id(), "procedure_id": "OV-FC-ROAD", "started_at": shop.text("10:30"),
        "capture_device": shop.tablet.pk, "device": "SD-011", "bay": "EM-B2",
    } | fields  # fmt: skip
    login = given.pop("login", "itolvaar")
    return session.start_session(
        job=job, actor=shop.actor(login), as_of=shop.at("10:30:05"), entry=SessionEntry(**given)
    )


def end(shop: Shop, job: Job, row: Session, **fields: Any) -> Session:
    given: dict[str, Any] = {
        "version": 1, "ended_at": shop.text("10:50"), "result": "completed", "device_software": "4.2",
    } | fields  # fmt: skip
    return session.end_session(
        job=job,
        session=row,
        actor=shop.actor("itolvaar"),
        as_of=shop.at("10:50:05"),
        entry=SessionEnd(**given),
    )


def test_only_technicians_start_sessions(shop: Shop, job: Job) -> None:
    with pytest.raises(NotAllowed):
        start(shop, job, login="tachterly")
    row = start(shop, job, observer="mondry")
    assert (row.attempt, row.performed_by.login, row.location.code) == (1, "itolvaar", "EM")
    assert row.tool is not None
    assert row.observer is not None
    assert (row.tool.tag, row.observer.login) == ("SD-011", "mondry")


def test_attempts_are_counted_per_procedure(shop: Shop, job: Job) -> None:
    attempts = [start(shop, job).attempt, start(shop, job).attempt]
    other = start(shop, job, procedure_id="OV-FC-STILL").attempt
    assert (attempts, other) == ([1, 2], 1)


def test_a_repeated_start_is_the_same_attempt_even_after_its_end(shop: Shop, job: Job) -> None:
    fields: dict[str, Any] = {"id": new_id()}
    row = start(shop, job, **fields)
    end(shop, job, row)
    again = start(shop, job, **fields)
    assert (again.pk, again.attempt, again.result) == (row.pk, 1, "completed")


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"device": "SD-999"}, "device"),
        ({"bay": "EM-B9"}, "bay"),
        ({"observer": "nobody"}, "observer"),
        ({"performed_by": "nobody"}, "performed_by"),
        ({"reuses_part_of": new_id()}, "reuses_part_of"),
        ({"evidence": (new_id(),)}, "evidence"),
    ],
)
def test_unknown_names_in_a_start(shop: Shop, job: Job, fields: dict[str, Any], field: str) -> None:
    with pytest.raises(Refused) as refusal:
        start(shop, job, **fields)
    assert (refusal.value.code, refusal.value.extra["field"]) == ("unknown_reference", field)
    assert not Session.objects.exists()


def test_a_session_ends_once_and_needs_the_version_that_was_read(shop: Shop, job: Job) -> None:
    row = start(shop, job)
    with pytest.raises(VersionConflict):
        end(shop, job, row, version=2)
    ended = end(shop, job, row, results={"left": "completed", "right": "failed"}, result="failed")
    assert (ended.result, ended.version, ended.end_received_at) == ("failed", 2, shop.at("10:50:05"))
    with pytest.raises(Conflict) as conflict:
        end(shop, job, ended, version=2)
    assert conflict.value.code == "session_ended"


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"ended_at": "2026-05-05T10:29:59-05:00"}, "times_backwards"),
        ({"result": "passed"}, "bad_choice"),
        ({"results": {"left": "fine"}}, "bad_choice"),
        ({"ended_at": "10:50"}, "bad_instant"),
        (
            {
                "parts": (
                    PartEntry(part="still", started_at="2026-05-05T10:30:00-05:00", result="completed"),
                    PartEntry(part="still", started_at="2026-05-05T10:30:00-05:00", result="completed"),
                )
            },
            "part_twice",
        ),
        (
            {"parts": (PartEntry(part="air", started_at="2026-05-05T10:30:00-05:00", result="completed"),)},
            "bad_choice",
        ),
    ],
)
def test_faulty_ends_change_nothing(shop: Shop, job: Job, fields: dict[str, Any], code: str) -> None:
    row = start(shop, job)
    with pytest.raises(Refused) as refusal:
        end(shop, job, row, **fields)
    assert refusal.value.code == code
    row.refresh_from_db()
    assert (row.result, row.ended, row.version, row.parts.count()) == ("", None, 1, 0)


def test_parts_of_a_two_part_session(shop: Shop, job: Job) -> None:
    row = start(shop, job, procedure_id="OV-FC-STILL-THEN-ROAD")
    still = PartEntry(
        part="still", started_at=shop.text("10:30"), ended_at=shop.text("10:35"), result="completed"
    )
    road = PartEntry(part="road", started_at=shop.text("10:40"), ended_at=shop.text("10:50"), result="failed")
    end(shop, job, row, parts=(still, road), result="failed")
    (held,) = job_facts(job=job, as_of=shop.at("11:00")).sessions
    assert [(part.part, part.result) for part in held.parts] == [("still", "completed"), ("road", "failed")]


def test_the_end_is_held_from_its_receipt(shop: Shop, job: Job) -> None:
    row = start(shop, job)
    before = job_facts(job=job, as_of=shop.at("10:40")).sessions[0]
    end(shop, job, row)
    assert job_facts(job=job, as_of=shop.at("10:40")).sessions[0] == before
    after = job_facts(job=job, as_of=shop.at("10:51")).sessions[0]
    assert (before.result, before.ended, after.result) == ("", None, "completed")
    assert before.sha256 != after.sha256


def test_key_events_are_kept_once_and_change_what_a_signature_covers(shop: Shop, job: Job) -> None:
    row = start(shop, job)
    events = (
        KeyEventEntry(at=shop.text("10:30"), state="on"),
        KeyEventEntry(at=shop.text("10:41"), state="off"),
        KeyEventEntry(at=shop.text("10:41"), state="on"),
    )
    before = job_facts(job=job, as_of=shop.at("10:59")).sessions[0]
    for _ in range(2):
        session.add_key_events(
            job=job, session=row, actor=shop.actor("itolvaar"), as_of=shop.at("10:45"), events=events
        )
    assert KeyEvent.objects.count() == 3
    after = job_facts(job=job, as_of=shop.at("10:59")).sessions[0]
    assert [event.state for event in after.key_events] == ["on", "off", "on"]
    assert before.sha256 != after.sha256
    assert job_facts(job=job, as_of=shop.at("10:44")).sessions[0].key_events == ()


@pytest.mark.parametrize(
    ("events", "code"),
    [
        ((), "list_empty"),
        ((KeyEventEntry(at="2026-05-05T10:31:00-05:00", state="idle"),), "bad_choice"),
        (
            (
                KeyEventEntry(at="2026-05-05T10:31:00-05:00", state="on"),
                KeyEventEntry(at="2026-05-05T10:30:59-05:00", state="off"),
            ),
            "times_backwards",
        ),
        ((KeyEventEntry(at="2026-05-05T10:31:00-05:00", state="on"),) * 501, "too_many"),
    ],
)
def test_faulty_key_events_leave_nothing(
    shop: Shop, job: Job, events: tuple[KeyEventEntry, ...], code: str
) -> None:
    row = start(shop, job)
    with pytest.raises(Refused) as refusal:
        session.add_key_events(
            job=job, session=row, actor=shop.actor("itolvaar"), as_of=shop.at("10:45"), events=events
        )
    assert refusal.value.code == code
    assert not KeyEvent.objects.exists()
