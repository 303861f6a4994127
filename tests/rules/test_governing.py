"""Which attempt governs: the last that began after the end of the work that calls for it."""

from dataclasses import replace

import pytest

from rules.facts import OperationDone, SessionPart
from rules.governing import governing_session
from tests.rules.builders import ended, held, loose, moment, session
from tests.rules.windshield_job import unsigned_job


def operation(done, id_="op"):
    return OperationDone(
        **held(id_, "12:00"),
        operation="glass.windshield.replaced",
        by="mondry",
        done=None if done is None else moment(done),
    )


def governing(sessions, calling, kind="dynamic"):
    job = replace(unsigned_job(), sessions=tuple(sessions))
    found = governing_session(job, "P", kind, calling)
    return (None if found.session is None else found.session.id), found.order_open


def attempt(id_, start, end, **fields):
    return session(id_, "P", start, end, **fields)


@pytest.mark.parametrize(
    ("done", "expected"),
    [
        ("08:40", ("two", False)),
        ("10:30", ("two", False)),
        ("11:00", ("two", False)),  # begins the moment the work ended
        ("11:00:01", (None, False)),  # the work was done again after both sessions
    ],
)
def test_the_last_session_after_the_last_calling_operation_governs(done, expected):
    sessions = [attempt("one", "10:00", "10:20"), attempt("two", "11:00", "11:20", attempt=2)]
    assert governing(sessions, [operation("08:00", "first"), operation(done, "last")]) == expected


def test_the_last_governs_good_or_bad_and_only_live_sessions_of_the_procedure():
    sessions = [
        attempt("good", "10:00", "10:20"),
        attempt("bad", "11:00", "11:20", attempt=2, result="failed"),
        ended(attempt("mistake", "12:00", "12:20", attempt=3), "12:30", "withdrawn"),
        session("other", "Q", "13:00", "13:20"),
    ]
    assert governing(sessions, [operation("08:00")]) == ("bad", False)


def test_called_for_by_a_code_only_any_session_will_do():
    assert governing([attempt("one", "10:00", "10:20")], []) == ("one", False)
    assert governing([], []) == (None, False)


def test_clocks_that_leave_it_open_let_it_govern_with_an_open_order():
    blurred = replace(attempt("one", "10:00", "10:20"), started=loose("10:00", 7200.0))
    assert governing([blurred], [operation("09:00")]) == ("one", True)
    assert governing([attempt("one", "10:00", "10:20")], [operation(None)]) == ("one", True)


def test_two_attempts_that_clocks_cannot_order_leave_it_open():
    first = replace(attempt("one", "10:00", "10:20"), started=loose("10:00", 7200.0, "device:one"))
    second = replace(
        attempt("two", "11:00", "11:20", attempt=2), started=loose("11:00", 7200.0, "device:two")
    )
    assert governing([first, second], []) == ("two", True)


def part(name, start, end):
    return SessionPart(part=name, started=moment(start), ended=moment(end), result="completed")


def two_parts(sessions, done="08:00"):
    job = replace(unsigned_job(), sessions=tuple(sessions))
    found = governing_session(job, "P", "static_then_dynamic", [operation(done)]).session
    if found is None:
        return None
    times = {item.part: item.started.reading for item in found.parts}
    return found.id, times, found.reuses_part_of


def test_two_parts_take_the_last_attempt_at_each_still_before_road():
    first = attempt(
        "one", "10:00", "11:30", parts=(part("still", "10:00", "10:20"), part("road", "11:00", "11:30"))
    )
    road_again = attempt("two", "12:00", "12:30", attempt=2, parts=(part("road", "12:00", "12:30"),))
    still_again = attempt("three", "13:00", "13:20", attempt=3, parts=(part("still", "13:00", "13:20"),))
    still, road, later = moment("10:00").reading, moment("11:00").reading, moment("12:00").reading
    assert two_parts([first]) == ("one", {"still": still, "road": road}, None)
    assert two_parts([first, road_again]) == ("two", {"still": still, "road": later}, "one")
    only_still = {"still": moment("13:00").reading}
    assert two_parts([first, road_again, still_again]) == ("three", only_still, None)
    assert two_parts([first], done="10:30") == ("one", {"road": road}, None)
    assert two_parts([first], done="11:30") is None
