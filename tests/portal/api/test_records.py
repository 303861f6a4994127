"""Every record of a job that is posted: kept for the right caller, 404 for others, nothing half-written."""

import uuid
from collections.abc import Callable
from typing import Any

import pytest

from jobs.models import AssessmentRun, LogEntry, OutboxEntry, unscoped
from tests.portal.cast import Caller, Cast
from tests.portal.intake import OpenJob, earlier

pytestmark = pytest.mark.django_db

Body = dict[str, Any]


def _with_session(caller: Caller, job: OpenJob, device: str) -> str:
    session = str(uuid.uuid4())
    body = {
        "id": session,
        "procedure_id": "OV-FC-ROAD",
        "started_at": earlier(minutes=30),
        "device": device,
    }
    answer = caller.post(f"{job.path}/sessions", body)
    assert answer.status == 201, answer.body
    return session


# What each route takes, apart from id, at and device.
RECORDS: list[tuple[str, Body]] = [
    ("identity-readings", {"way": "vin_plate_photo", "vin_read": "Z0ASD1F89S2011835"}),
    ("fitted-systems", {"sensor": "forward_camera", "state": "yes", "way": "sight"}),
    ("operations", {"operation": "glass.windshield.replaced", "done_at": earlier(minutes=90)}),
    ("lamp-records", {"states": {"camera_fault": "unlit", "airbag": "unlit"}}),
    ("statements", {"says": ["dry_road"], "text_version": "road-1"}),
    ("target-identities", {"number_read": "TB-7", "right_way_up": True, "clean": True}),
    ("state-changes", {"kind": "vehicle_moved", "on_road": True}),
    ("readings", {"quantity": "odometer", "place": "in", "value": "21007", "unit": "km"}),
    ("operations-closings", {}),
]


def _body(extra: Body, cast: Cast, **changes: Any) -> Body:
    common = {"id": str(uuid.uuid4()), "at": earlier(minutes=60), "device": str(cast.eastmarch.device.pk)}
    return common | extra | changes


def _entries() -> int:
    with unscoped():
        return LogEntry.objects.count()


@pytest.mark.parametrize(("path", "extra"), RECORDS, ids=[path for path, _ in RECORDS])
def test_kept_for_the_right_caller_and_not_there_for_others(
    cast: Cast, callers: tuple[Caller, Caller, Caller], job: OpenJob, path: str, extra: Body
) -> None:
    technician, *others = callers
    body = _body(extra, cast)
    before = _entries()
    for other in others:
        assert other.post(f"{job.path}/{path}", body).codes == (404, "not_found")
    assert _entries() == before
    kept = technician.post(f"{job.path}/{path}", body)
    assert kept.status == 201, kept.body
    assert kept.json()["id"] == body["id"]
    assert len(kept.json()["content_sha256"]) == 64
    assert _entries() == before + 1
    again = technician.post(f"{job.path}/{path}", body)
    assert again.json() == kept.json()
    assert _entries() == before + 1


REFUSED: list[tuple[Body, str]] = [
    ({"colour": "red"}, "unknown_field"),
    ({"id": "seven"}, "wrong_type"),
    ({"at": "yesterday"}, "bad_instant"),
    ({"device": "tablet-em-1"}, "wrong_type"),
    ({"id": None}, "missing_field"),
]


@pytest.mark.parametrize(("path", "extra"), RECORDS, ids=[path for path, _ in RECORDS])
def test_refused_without_a_trace(
    cast: Cast, technician: Caller, job: OpenJob, path: str, extra: Body
) -> None:
    before = _entries()
    for change, code in REFUSED:
        answer = technician.post(f"{job.path}/{path}", _body(extra, cast, **change))
        assert answer.codes == (400, code), change
    assert _entries() == before


@pytest.mark.parametrize(("path", "extra"), RECORDS[:-1], ids=[path for path, _ in RECORDS[:-1]])
def test_things_of_others_cannot_be_named(
    cast: Cast, technician: Caller, job: OpenJob, path: str, extra: Body
) -> None:
    before = _entries()
    foreign = _body(extra, cast, device=str(cast.sallow.device.pk))
    assert technician.post(f"{job.path}/{path}", foreign).codes == (422, "unknown_device")
    unknown = _body(extra, cast, evidence=[str(uuid.uuid4())])
    assert technician.post(f"{job.path}/{path}", unknown).codes == (422, "unknown_reference")
    assert _entries() == before


def test_every_record_asks_for_a_judgement_in_the_same_transaction(
    cast: Cast, technician: Caller, job: OpenJob
) -> None:
    with unscoped():
        OutboxEntry.objects.all().delete()
        AssessmentRun.objects.all().delete()
    technician.post(f"{job.path}/lamp-records", _body({"states": {"airbag": "unlit"}}, cast))
    with unscoped():
        assert OutboxEntry.objects.filter(task="jobs.assess_job", state="waiting").count() == 1


def test_several_readings_at_once_all_or_none(cast: Cast, technician: Caller, job: OpenJob) -> None:
    def reading(**changes: Any) -> Body:
        extra = {"quantity": "tyre_pressure", "place": "front_left", "value": "231", "unit": "kPa"}
        return _body(extra, cast, **changes)

    good = [reading(), reading(place="front_right", value="230")]
    before = _entries()
    bad = [reading(), reading(value="two bar")]
    assert technician.post(f"{job.path}/readings", {"readings": bad}).status in (400, 422)
    assert _entries() == before
    kept = technician.post(f"{job.path}/readings", {"readings": good})
    assert kept.status == 201
    assert [row["id"] for row in kept.json()["records"]] == [row["id"] for row in good]
    assert technician.post(f"{job.path}/readings", {"readings": []}).codes == (400, "list_empty")
    many = {"readings": [reading() for _ in range(501)]}
    assert technician.post(f"{job.path}/readings", many).codes == (400, "list_too_long")


@pytest.mark.parametrize("value", [7, 7.25, True, None, "NaN", "1,5", "0x1F", "", "1e400", "\u0663"])
def test_values_that_would_have_to_be_guessed(
    cast: Cast, technician: Caller, job: OpenJob, value: object
) -> None:
    body = _body({"quantity": "odometer", "place": "in", "value": value, "unit": "km"}, cast)
    answer = technician.post(f"{job.path}/readings", body)
    assert answer.status in (400, 422)
    assert answer.code in ("wrong_type", "missing_field", "blank", "bad_number", "number_format")


def test_glass_needs_an_operation_of_this_job(cast: Cast, technician: Caller, job: OpenJob) -> None:
    operation = _body({"operation": "glass.windshield.replaced", "done_at": earlier(minutes=90)}, cast)
    technician.post(f"{job.path}/operations", operation)
    extra = {
        "operation": operation["id"],
        "set_at": earlier(minutes=95),
        "glass_maker": "Glastran",
        "glass_part_number": "GT-SDG-25-CAM",
        "adhesive": {"product": "Tarvek U-60", "batch": "U60-2611", "expires_on": "2027-11-30"},
    }
    unknown = _body(extra, cast, operation=str(uuid.uuid4()))
    assert technician.post(f"{job.path}/glass-sets", unknown).codes == (422, "unknown_reference")
    assert technician.post(f"{job.path}/glass-sets", _body(extra, cast)).status == 201


def test_the_makers_text(cast: Cast, technician: Caller, stranger: Caller, job: OpenJob) -> None:
    body = {
        "id": str(uuid.uuid4()),
        "procedure_id": "OV-FC-ROAD",
        "document_number": "OV-SI-2114",
        "edition": "2026-02",
        "section": "4",
        "retrieved_at": earlier(minutes=50),
        "device": str(cast.eastmarch.device.pk),
    }
    assert stranger.post(f"{job.path}/lookups", body).codes == (404, "not_found")
    assert technician.post(f"{job.path}/lookups", body).status == 201


def _scan(cast: Cast, **changes: Any) -> Body:
    return {
        "id": str(uuid.uuid4()),
        "stage": "before_repair",
        "tool": "",
        "device": str(cast.eastmarch.device.pk),
        "device_serial": "PW-7711",
        "ended_at": earlier(minutes=70),
        "odometer": {"value": 21007, "unit": "km"},
        "supply_voltage_v": 12.6,
        "modules": [
            {
                "name": "Camera",
                "system": "forward_camera",
                "answered": True,
                "codes": [{"code": "c1a45-54", "state": "present"}],
            }
        ],
    } | changes


def test_a_scan(cast: Cast, technician: Caller, sibling: Caller, job: OpenJob) -> None:
    body = _scan(cast)
    assert sibling.post(f"{job.path}/scans", body).codes == (404, "not_found")
    kept = technician.post(f"{job.path}/scans", body)
    assert kept.status == 201, kept.body
    assert len(technician.get(f"{job.path}/evidence").json()["results"]) == 1


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"modules": []}, 400),
        ({"supply_voltage_v": "12.6"}, 400),
        ({"supply_voltage_v": True}, 400),
        ({"modules": [{"name": "Camera", "system": "forward_camera", "answered": "yes"}]}, 400),
        ({"modules": [{"name": "Camera", "system": "kitchen", "answered": True}]}, 422),
        ({"supply_voltage_v": 1e30}, 422),
    ],
)
def test_scans_that_are_refused(
    cast: Cast, technician: Caller, job: OpenJob, change: Body, status: int
) -> None:
    before = _entries()
    assert technician.post(f"{job.path}/scans", _scan(cast, **change)).status == status
    assert _entries() == before
    assert technician.get(f"{job.path}/evidence").json()["results"] == []


def test_a_function_check_belongs_to_a_session(cast: Cast, technician: Caller, job: OpenJob) -> None:
    session = _with_session(technician, job, str(cast.eastmarch.device.pk))
    extra = {"function": "lane departure warning", "shows": "ready"}
    check: Callable[..., Body] = lambda **changes: _body(extra, cast, at=earlier(minutes=5), **changes)  # noqa: E731
    unknown = technician.post(f"{job.path}/function-checks", check(session=str(uuid.uuid4())))
    assert unknown.codes == (422, "unknown_reference")
    assert technician.post(f"{job.path}/function-checks", check(session=session)).status == 201


def test_sublet_work(cast: Cast, technician: Caller, stranger: Caller, job: OpenJob) -> None:
    body = {
        "id": str(uuid.uuid4()),
        "to_org": "Sallowfield Mobile Aiming",
        "procedure_ids": ["OV-FC-ROAD"],
        "carried_how": "trailer",
    }
    assert stranger.post(f"{job.path}/sublet-orders", body).codes == (404, "not_found")
    assert technician.post(f"{job.path}/sublet-orders", body).status == 201
