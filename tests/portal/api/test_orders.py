"""Orders and jobs: opening, listing page by page, and whose they are."""

import pytest

from tests.portal.cast import Caller, Cast
from tests.portal.intake import OpenJob, earlier, open_job, order_body, vehicle_body

pytestmark = pytest.mark.django_db


def test_open_an_order_and_read_its_job(
    cast: Cast, estimator: Caller, sibling: Caller, stranger: Caller
) -> None:
    vehicle = vehicle_body()
    estimator.post("vehicles", vehicle)
    order = order_body(vehicle["id"], cast.eastmarch)
    made = estimator.post("orders", order)
    assert made.status == 201
    assert made.headers["Location"] == f"/api/v1/jobs/{order['job_id']}"
    job = estimator.get(f"jobs/{order['job_id']}")
    assert (job.status, job.json()["number"], job.json()["state"]) == (200, order["number"], "open")
    for other in (sibling, stranger):
        assert other.get(f"jobs/{order['job_id']}").codes == (404, "not_found")
        assert other.get("jobs").json()["results"] == []
        assert other.get("orders").json()["results"] == []


def test_orders_name_only_what_the_caller_may_see(cast: Cast, estimator: Caller, stranger: Caller) -> None:
    theirs = vehicle_body()
    assert stranger.post("vehicles", theirs).status == 201
    ours = vehicle_body()
    estimator.post("vehicles", ours)
    by_vehicle = estimator.post("orders", order_body(theirs["id"], cast.eastmarch))
    by_location = estimator.post("orders", order_body(ours["id"], cast.eastmarch, location="LM"))
    by_stranger = estimator.post("orders", order_body(ours["id"], cast.eastmarch, location="SW"))
    by_device = estimator.post(
        "orders", order_body(ours["id"], cast.eastmarch, device=str(cast.sallow.device.pk))
    )
    assert by_vehicle.codes == by_location.codes == by_stranger.codes == (422, "unknown_reference")
    assert by_device.codes == (422, "unknown_device")
    assert estimator.get("orders").json()["results"] == []


def test_an_order_number_is_taken_once_per_location(cast: Cast, estimator: Caller) -> None:
    vehicle = vehicle_body()
    estimator.post("vehicles", vehicle)
    first = order_body(vehicle["id"], cast.eastmarch)
    assert estimator.post("orders", first).status == 201
    second = order_body(vehicle["id"], cast.eastmarch, number=first["number"])
    assert estimator.post("orders", second).codes == (409, "order_number_taken")


@pytest.mark.parametrize("opened_at", ["2026-11-20", "2026-11-20T10:00:00", "20.11.2026 10:00", "0000-00-00"])
def test_an_instant_has_its_offset(cast: Cast, estimator: Caller, opened_at: str) -> None:
    vehicle = vehicle_body()
    estimator.post("vehicles", vehicle)
    body = order_body(vehicle["id"], cast.eastmarch, opened_at=opened_at)
    assert estimator.post("orders", body).codes == (400, "bad_instant")


@pytest.mark.parametrize("opened_at", ["2026-13-45T10:00:00Z", "2026-11-20T10:00:00+25:00"])
def test_an_instant_is_one_of_the_calendar(cast: Cast, estimator: Caller, opened_at: str) -> None:
    vehicle = vehicle_body()
    estimator.post("vehicles", vehicle)
    body = order_body(vehicle["id"], cast.eastmarch, opened_at=opened_at)
    assert estimator.post("orders", body).codes == (400, "bad_instant")


def test_the_future_is_not_recorded(cast: Cast, estimator: Caller) -> None:
    vehicle = vehicle_body()
    estimator.post("vehicles", vehicle)
    body = order_body(vehicle["id"], cast.eastmarch, opened_at=earlier(days=-40))
    assert estimator.post("orders", body).codes == (422, "instant_in_future")


def test_pages_follow_each_other_without_gap_or_repetition(cast: Cast, estimator: Caller) -> None:
    jobs = {open_job(estimator, cast.eastmarch).job for _ in range(5)}
    first = estimator.get("jobs?page_size=2")
    assert 'rel="next"' in first.headers["Link"]
    seen, url = [], first.json()["next"]
    seen += [row["id"] for row in first.json()["results"]]
    while url:
        page = estimator.get(url.removeprefix("http://testserver"))
        seen += [row["id"] for row in page.json()["results"]]
        url = page.json()["next"]
        assert 'rel="first"' in page.headers["Link"]
    assert len(seen) == 5
    assert set(seen) == jobs


@pytest.mark.parametrize(
    ("query", "codes"),
    [
        ("cursor=garbage", (400, "bad_cursor")),
        ("cursor=", (400, "bad_cursor")),
        ("cursor=" + "A" * 5000, (400, "bad_cursor")),
        ("cursor=%00", (400, "bad_cursor")),
        ("page_size=ten", (400, "bad_parameter")),
        ("page_size=", (400, "bad_parameter")),
        ("page_size=%D9%A1", (400, "bad_parameter")),
        ("colour=red", (400, "unknown_parameter")),
        ("ordering=customer_name", (400, "unknown_parameter")),
        ("state=certified", (400, "bad_parameter")),
    ],
)
def test_parameters_that_are_refused(estimator: Caller, query: str, codes: tuple[int, str]) -> None:
    assert estimator.get(f"jobs?{query}").codes == codes


@pytest.mark.parametrize(("asked", "given"), [("-1", 1), ("0", 1), ("3", 3), ("1000000000", 3)])
def test_page_size_is_brought_inside(cast: Cast, estimator: Caller, asked: str, given: int) -> None:
    for _ in range(3):
        open_job(estimator, cast.eastmarch)
    assert len(estimator.get(f"jobs?page_size={asked}").json()["results"]) == given


def test_a_cursor_of_another_list_is_refused(cast: Cast, estimator: Caller) -> None:
    for _ in range(2):
        open_job(estimator, cast.eastmarch)
    cursor = estimator.get("orders?page_size=1").json()["next"].split("cursor=")[1].split("&")[0]
    assert estimator.get(f"jobs?cursor={cursor}").codes == (400, "bad_cursor")


def test_a_cursor_shows_nobody_more_than_their_own(
    cast: Cast, estimator: Caller, stranger: Caller, job: OpenJob
) -> None:
    open_job(estimator, cast.eastmarch)
    url = estimator.get("jobs?page_size=1").json()["next"].removeprefix("http://testserver")
    assert len(estimator.get(url).json()["results"]) == 1
    assert stranger.get(url).json()["results"] == []


def test_jobs_by_state_location_and_number(cast: Cast, estimator: Caller, job: OpenJob) -> None:
    number = estimator.get(job.path).json()["number"]
    assert len(estimator.get(f"jobs?state=open&location=EM&number={number}").json()["results"]) == 1
    assert estimator.get("jobs?state=delivered").json()["results"] == []
    assert estimator.get("jobs?location=LM").json()["results"] == []
