"""The technician's pages: whose cars, photo and file from a form, signing, and notes nobody can forge."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.models import ClockObservation, Evidence, SignOff, unscoped
from portal.web.doors import said_address
from tests.portal.api.files import jpeg
from tests.portal.api.test_assessments import judge
from tests.portal.cast import PIN, Caller, Cast
from tests.portal.intake import OpenJob, open_job
from tests.portal.web.reading import file_form, hidden, picture_form, text_of, without_request_id

pytestmark = pytest.mark.django_db


def test_the_list_shows_the_cars_of_ones_own_location(
    worker: Client, elsewhere: Client, operations: Client, job: OpenJob
) -> None:
    assert job.job in worker.get("/cars").content.decode()
    assert job.job in operations.get("/cars").content.decode()
    other = elsewhere.get("/cars")
    assert job.job not in other.content.decode()
    assert "No car is on record" in text_of(other)


def test_a_car_of_another_location_is_no_car(worker: Client, elsewhere: Client, job: OpenJob) -> None:
    mine = worker.get(f"/cars/{job.job}")
    assert mine.status_code == 200
    foreign, absent = elsewhere.get(f"/cars/{job.job}"), elsewhere.get(f"/cars/{uuid.uuid4()}")
    assert (foreign.status_code, absent.status_code) == (404, 404)
    own_words = without_request_id(foreign).replace(job.job, "")
    assert own_words == without_request_id(absent).replace(absent.request["PATH_INFO"].split("/")[-1], "")
    assert elsewhere.get(f"/cars/{job.job}/state").status_code == 404


def test_before_the_first_judgement_nothing_is_said_to_be_met(worker: Client, job: OpenJob) -> None:
    page = worker.get(f"/cars/{job.job}")
    assert "Not judged yet" in text_of(page)
    assert "verdict met" not in page.content.decode()


def test_a_judged_car_shows_what_is_required_what_is_open_and_the_cautions(
    cast: Cast, packs: None, technician: Caller, worker: Client, job: OpenJob
) -> None:
    judge(cast, technician, job)
    page = worker.get(f"/cars/{job.job}")
    words = text_of(page)
    assert page.content.decode().count('class="nowplate') == 1
    for expected in (
        "Required on this car",
        "proofs needed",
        "Still open: with the car here",
        "Technician's signature",
        "Local codes and licensed practice prevail",
        "They do not certify",
    ):
        assert expected in words
    assert words.index("Still open: with the car here") < words.index("Still open: from the desk")
    for wrong in (" approved", " certified ", " passed", "successfully", "!"):
        assert wrong not in words


def test_a_photo_from_the_form_is_kept_once(worker: Client, elsewhere: Client, job: OpenJob) -> None:
    where = f"/cars/{job.job}/photos"
    assert elsewhere.post(where, picture_form(jpeg())).status_code == 404
    form = picture_form(jpeg(), id=hidden(worker.get(f"/cars/{job.job}"), "/photos")["id"])
    kept = worker.post(where, form)
    assert kept.status_code == 302
    assert "Evidence 1 kept" in text_of(worker.get(kept.headers["Location"]))
    form["file"].seek(0)
    again = worker.post(where, form)
    assert "already on record" in text_of(worker.get(again.headers["Location"]))
    with unscoped():
        found = Evidence.objects.get()
    assert (found.kind, found.shows, found.stage) == ("photo", ["plate"], "intake")


@pytest.mark.parametrize(
    ("data", "fields"),
    [
        (b"\xff\xd8\xff\xe0 cut off", {}),
        (b"%PDF-1.7 not a picture", {}),
        (b"", {}),
        (jpeg(), {"shows": "a moon"}),
        (jpeg(), {"stage": "never"}),
    ],
)
def test_a_photo_that_is_refused_leaves_its_form_open_with_the_reason(
    worker: Client, job: OpenJob, data: bytes, fields: dict[str, str]
) -> None:
    answer = worker.post(f"/cars/{job.job}/photos", picture_form(data, **fields))
    assert answer.status_code in (302, 400, 409, 415, 422)
    page = answer if answer.status_code != 302 else worker.get(answer.headers["Location"])
    words = text_of(page)
    assert "Not taken" in words or "Nothing was kept" in words
    if answer.status_code != 302:
        assert 'sheet open" id="photo"' in page.content.decode()
    with unscoped():
        assert not Evidence.objects.exists()


def test_no_file_at_all(worker: Client, job: OpenJob) -> None:
    answer = worker.post(f"/cars/{job.job}/photos", {"id": str(uuid.uuid4()), "shows": "plate"})
    assert "No file was chosen" in text_of(worker.get(answer.headers["Location"]))


def test_a_file_from_the_form(worker: Client, elsewhere: Client, job: OpenJob) -> None:
    where = f"/cars/{job.job}/files"
    log = b"t,volts\n2026-05-05T10:30:00-05:00,13.9\n2026-05-05T10:30:02-05:00,13.8\n"
    assert elsewhere.post(where, file_form(log, "v.csv", kind="voltage_log")).status_code == 404
    refused = worker.post(where, file_form(log, "v.csv", kind="voltage_log", instrument="ZZ-404"))
    assert refused.status_code >= 400
    assert 'sheet open" id="file"' in refused.content.decode()
    kept = worker.post(where, file_form(log, "v.csv", kind="voltage_log"))
    assert kept.status_code == 302
    with unscoped():
        assert Evidence.objects.get().kind == "voltage_log"


@pytest.mark.parametrize("wrong", [{"id": "not-an-id"}, {"session": "not-an-id"}])
def test_a_bent_form_is_nothing(worker: Client, job: OpenJob, wrong: dict[str, str]) -> None:
    assert worker.post(f"/cars/{job.job}/files", file_form(b"%PDF-", "a.pdf", **wrong)).status_code == 404
    with unscoped():
        assert not Evidence.objects.exists()


def test_signing_needs_the_role_and_the_pin(
    worker: Client, manager: Client, elsewhere: Client, job: OpenJob
) -> None:
    where = f"/cars/{job.job}/signature"
    form = {"id": str(uuid.uuid4()), "role": "technician"}
    assert elsewhere.post(where, form | {"pin": PIN}).status_code == 404
    assert manager.post(where, form | {"pin": PIN}).status_code == 403
    assert "signs neither the work nor the review" in text_of(manager.get(f"/cars/{job.job}"))
    wrong = worker.post(where, form | {"pin": "000000"})
    assert wrong.status_code == 403
    assert "That is not your PIN" in text_of(wrong)
    assert "000000" not in wrong.content.decode()
    with unscoped():
        assert not SignOff.objects.exists()
    assert worker.post(where, form | {"pin": PIN}).status_code == 302
    with unscoped():
        assert SignOff.objects.get().role == "technician"


def test_a_note_comes_from_the_step_before_and_from_nowhere_else(worker: Client, job: OpenJob) -> None:
    page = f"/cars/{job.job}"
    own = said_address(page, uuid.UUID(job.job), "Signed.")
    assert "Signed." in text_of(worker.get(own))
    other = said_address(page, uuid.uuid4(), "Another car's note.")
    assert "Another car's note." not in text_of(worker.get(other))
    assert "The car is free" not in text_of(worker.get(f"{page}?said=The+car+is+free"))


def test_the_state_changes_when_there_is_something_new(
    cast: Cast, packs: None, technician: Caller, worker: Client, job: OpenJob
) -> None:
    where = f"/cars/{job.job}/state"
    before = worker.get(where).json()
    assert worker.get(where).json()["state"] == before["state"]
    judge(cast, technician, job)
    after = worker.get(where).json()
    assert after["state"] != before["state"]
    assert after["words"]


def test_the_list_asks_as_much_for_three_cars_as_for_one(
    cast: Cast, estimator: Caller, worker: Client, job: OpenJob
) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert worker.get("/cars").status_code == 200
        return len(captured)

    one = queries()
    for _ in range(2):
        open_job(estimator, cast.eastmarch)
    assert queries() == one


def test_the_device_in_hand_has_its_clock_compared(
    cast: Cast, worker: Client, elsewhere: Client, job: OpenJob
) -> None:
    where, device = f"/cars/{job.job}/photos", cast.eastmarch.device
    assert device.name in worker.get(f"/cars/{job.job}").content.decode()
    assert cast.low_mill.device.name not in worker.get(f"/cars/{job.job}").content.decode()
    foreign = picture_form(jpeg(), device=str(cast.low_mill.device.pk))
    assert worker.post(where, foreign).status_code == 404
    assert elsewhere.post(where, picture_form(jpeg(), device=str(device.pk))).status_code == 404
    ticket = worker.get(f"/cars/{job.job}/state").json()["ticket"]
    shown = datetime.now(tz=UTC) - timedelta(minutes=63)
    clock = {"clock_ticket": ticket, "clock_sent": shown.isoformat(), "clock_received": shown.isoformat()}
    assert worker.post(where, picture_form(jpeg(), device=str(device.pk), **clock)).status_code == 302
    with unscoped():
        assert Evidence.objects.get().device_id == device.pk
        seen = ClockObservation.objects.get(device=device)
    assert -3790 < seen.offset_low_s <= seen.offset_high_s < -3770
    # What somebody made up says nothing about the clock; the photo is kept all the same.
    bent = clock | {"clock_ticket": "made up"}
    assert worker.post(where, picture_form(jpeg(shade=20), device=str(device.pk), **bent)).status_code == 302
    with unscoped():
        assert ClockObservation.objects.filter(device=device).count() == 1
        assert Evidence.objects.count() == 2
    again = worker.get(f"/cars/{job.job}").content.decode()
    assert f'<option value="{device.pk}" selected>' in again
