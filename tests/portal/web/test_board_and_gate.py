"""The manager's pages: the board of all locations, the gate of one car, release and hand-over."""

import uuid
from datetime import UTC, datetime

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.models import AssessmentRun, Delivery, Packet, SignOff, scope, unscoped
from jobs.services.assessment import perform_assessment
from tests.portal.api.test_assessments import judge
from tests.portal.cast import PIN, Caller, Cast
from tests.portal.intake import OpenJob, open_job
from tests.portal.web.reading import text_of, without_request_id

pytestmark = pytest.mark.django_db


def _judge_all(cast: Cast) -> None:
    """The worker's part for everything that waits."""
    with scope(cast.eastmarch.organisation.pk):
        for run in AssessmentRun.objects.filter(state="waiting"):
            perform_assessment(run_id=run.pk, as_of=datetime.now(tz=UTC))


def test_the_board_shows_all_locations_to_whom_they_belong(
    cast: Cast, estimator: Caller, sibling: Caller, manager: Client, operations: Client, worker: Client
) -> None:
    here, there = open_job(estimator, cast.eastmarch), open_job(sibling, cast.low_mill)
    every = operations.get("/board").content.decode()
    assert here.job in every
    assert there.job in every
    own = manager.get("/board").content.decode()
    assert here.job in own
    assert there.job not in own
    assert worker.get("/board").status_code == 403


def test_an_empty_board_says_so(operations: Client) -> None:
    words = text_of(operations.get("/board"))
    assert "No car stands here" in words
    assert "No car is on record" in words
    assert "Nothing falls due" in words


def test_a_held_car_stands_in_its_group_with_what_is_in_the_way(
    cast: Cast, packs: None, technician: Caller, operations: Client, job: OpenJob
) -> None:
    assert "Not judged yet" in text_of(operations.get("/board"))
    judge(cast, technician, job)
    words = text_of(operations.get("/board"))
    assert "One car stands here; it cannot go as the record stands" in words
    assert "Hold, needs the car" in words
    assert ": not shown." in words
    assert "They do not certify" in words


def test_the_board_asks_as_much_for_three_cars_as_for_one(
    cast: Cast, packs: None, estimator: Caller, technician: Caller, operations: Client, job: OpenJob
) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert operations.get("/board").status_code == 200
        return len(captured)

    judge(cast, technician, job)
    one = queries()
    for _ in range(2):
        judge(cast, technician, open_job(estimator, cast.eastmarch))
    assert queries() == one


def test_the_gate_is_for_managers_of_the_place(
    worker: Client, manager: Client, elsewhere: Client, operations: Client, job: OpenJob
) -> None:
    where = f"/gate/{job.job}"
    assert manager.get(where).status_code == 200
    assert operations.get(where).status_code == 200
    assert worker.get(where).status_code == 403
    foreign, absent = elsewhere.get(where), elsewhere.get(f"/gate/{uuid.uuid4()}")
    assert (foreign.status_code, absent.status_code) == (404, 404)
    assert without_request_id(foreign).replace(job.job, "") == without_request_id(absent).replace(
        absent.request["PATH_INFO"].split("/")[-1], ""
    )


def test_the_gate_page_tells_three_columns_and_what_is_left(judged: OpenJob, manager: Client) -> None:
    page = manager.get(f"/gate/{judged.job}")
    words = text_of(page)
    assert "<title>hold, " in page.content.decode()
    assert words.index(" met ") < words.index("not met") < words.index("not shown")
    assert "Release: not open" in words
    assert "left against hold" in words
    assert "Keep on hold" in words
    assert 'action="/gate/' + judged.job + '/release"' not in page.content.decode()


def test_a_release_that_is_not_open_is_refused_with_the_list(
    judged: OpenJob, manager: Client, elsewhere: Client, worker: Client
) -> None:
    where, form = f"/gate/{judged.job}/release", {"id": str(uuid.uuid4()), "pin": PIN}
    assert elsewhere.post(where, form).status_code == 404
    assert worker.post(where, form).status_code == 403
    refused = manager.post(where, form)
    assert refused.status_code == 409
    words = text_of(refused)
    assert "Not taken" in words
    assert "Final scan: Scan all modules of this car." in words
    assert 'sheet open" id="release"' in refused.content.decode()
    with unscoped():
        assert not SignOff.objects.exists()


def test_a_car_that_leaves_on_hold_is_shown_as_left_against_hold(
    cast: Cast, judged: OpenJob, manager: Client, elsewhere: Client
) -> None:
    where = f"/gate/{judged.job}/delivery"
    form = {"id": str(uuid.uuid4()), "odometer": "21026", "unit": "km"}
    assert elsewhere.post(where, form).status_code == 404
    bad = manager.post(where, form | {"odometer": "about 21000"})
    assert bad.status_code >= 400
    assert 'sheet open" id="delivery"' in bad.content.decode()
    with unscoped():
        assert not Delivery.objects.exists()
    left = manager.post(where, form)
    assert left.status_code == 302
    _judge_all(cast)
    page = manager.get(f"/gate/{judged.job}")
    assert "<title>left against hold, " in page.content.decode()
    assert "The car left while the gate said hold" in text_of(page)
    board = text_of(manager.get("/board"))
    assert "One car has left against hold" in board
    assert board.index("Left against hold") < board.index("What falls due")


def test_a_packet_is_asked_for_once(judged: OpenJob, manager: Client, elsewhere: Client) -> None:
    where, form = f"/gate/{judged.job}/packet", {"id": str(uuid.uuid4())}
    assert elsewhere.post(where, form).status_code == 404
    for _ in range(2):
        asked = manager.post(where, form)
        assert asked.status_code == 302
    with unscoped():
        packet = Packet.objects.get()

    assert packet.serial in text_of(manager.get(f"/gate/{judged.job}"))
    download = f"/packets/{packet.pk}/download"
    assert manager.post(download).status_code == 404, "not sealed yet"


def test_the_forms_need_their_token(manager: Client, worker: Client, job: OpenJob) -> None:
    for client, path in (
        (manager, f"/gate/{job.job}/release"),
        (manager, f"/gate/{job.job}/delivery"),
        (manager, f"/gate/{job.job}/packet"),
        (worker, f"/cars/{job.job}/photos"),
        (worker, f"/cars/{job.job}/signature"),
    ):
        client.handler.enforce_csrf_checks = True
        answer = client.post(path, {"id": str(uuid.uuid4())})
        assert answer.status_code == 403
        assert "Nothing was kept" in text_of(answer)
