"""The loop of worker and relay: it waits for a database that is away, and stops when asked."""

import threading

import pytest
from django.db import InterfaceError, OperationalError

from jobs.rounds import keep_going

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("error", [OperationalError("gone"), InterfaceError("closed")])
def test_a_database_that_is_away_is_waited_for(error: Exception) -> None:
    results: list[float | Exception | None] = [0.0, error, error, 0.0, None]
    taken = []

    def step() -> float | None:
        result = results[len(taken)]
        taken.append(result)
        if isinstance(result, Exception):
            raise result
        return result

    keep_going(threading.Event(), step, away_s=0.0)
    assert taken == results


def test_another_error_ends_the_process_instead_of_being_hidden() -> None:
    def step() -> float:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        keep_going(threading.Event(), step, away_s=0.0)


def test_asked_to_stop_it_takes_no_further_step() -> None:
    stop, taken = threading.Event(), []

    def step() -> float:
        taken.append(1)
        if len(taken) == 3:
            stop.set()
        return 0.0

    keep_going(stop, step)
    assert len(taken) == 3
    keep_going(stop, step)
    assert len(taken) == 3
