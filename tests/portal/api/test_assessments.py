"""Judging: asked for, watched, read; packets: asked for, taken by who may, shown to people outside."""

import uuid
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import pytest

from jobs.models import PacketDownload, unscoped
from jobs.models.tenancy import scope
from jobs.services.assessment import perform_assessment
from jobs.services.packet_sealing import perform_packet
from tests.portal.cast import Caller, Cast
from tests.portal.intake import OpenJob, earlier

pytestmark = pytest.mark.django_db


def judge(cast: Cast, caller: Caller, job: OpenJob) -> dict[str, Any]:
    """Asks for a judgement and does the worker's part."""
    asked = caller.post(f"{job.path}/assessments", {})
    assert asked.status == 202
    with scope(cast.eastmarch.organisation.pk):
        perform_assessment(run_id=UUID(asked.json()["id"]), as_of=datetime.now(tz=UTC))
    found: dict[str, Any] = asked.json()
    return found


def test_asked_for_watched_and_read(
    cast: Cast, packs: None, callers: tuple[Caller, Caller, Caller], job: OpenJob
) -> None:
    technician, sibling, stranger = callers
    assert technician.get(f"{job.path}/assessment").codes == (404, "not_found")
    for other in (sibling, stranger):
        assert other.post(f"{job.path}/assessments", {}).codes == (404, "not_found")
    asked = technician.post(f"{job.path}/assessments", {})
    assert (asked.status, asked.json()["state"]) == (202, "waiting")
    where = asked.headers["Location"]
    assert technician.get(where).json()["id"] == asked.json()["id"]
    assert technician.post(f"{job.path}/assessments", {"force": True}).codes == (400, "unknown_field")
    run = judge(cast, technician, job)
    done = technician.get(f"{job.path}/assessments/{run['id']}")
    assert (done.json()["state"], done.json()["progress"]) == ("done", 100)
    told = technician.get(f"{job.path}/assessment").json()
    assert told["id"] == done.json()["assessment"]
    assert (told["verdict"], told["disposition"]) == ("not_shown", "hold")
    assert all(finding["outcome"]["sentence"] for finding in told["findings"])
    assert told["pending"] is False
    for other in (sibling, stranger):
        for path in (f"{job.path}/assessment", f"{job.path}/assessments/{run['id']}"):
            assert other.get(path).codes == (404, "not_found")


def test_a_newer_record_makes_the_judgement_pending(cast: Cast, technician: Caller, job: OpenJob) -> None:
    judge(cast, technician, job)
    body = {"id": str(uuid.uuid4()), "states": {"airbag": "unlit"}, "at": earlier(minutes=1)}
    assert technician.post(f"{job.path}/lamp-records", body).status == 201
    assert technician.get(f"{job.path}/assessment").json()["pending"] is True


def seal(cast: Cast, caller: Caller, job: OpenJob) -> str:
    """A sealed packet of the job."""
    body = {"id": str(uuid.uuid4()), "kind": "full"}
    asked = caller.post(f"{job.path}/packets", body)
    assert asked.status == 202, asked.body
    with scope(cast.eastmarch.organisation.pk):
        perform_packet(packet_id=UUID(asked.json()["id"]), as_of=datetime.now(tz=UTC))
    return f"packets/{asked.json()['id']}"


@pytest.mark.slow
def test_a_packet_from_the_request_to_the_auditor(
    cast: Cast, packs: None, callers: tuple[Caller, Caller, Caller], estimator: Caller, job: OpenJob
) -> None:
    technician, _, stranger = callers
    asked = {"id": str(uuid.uuid4()), "kind": "full"}
    where = f"{job.path}/packets"
    assert technician.post(where, asked).codes == (403, "role_missing")
    assert stranger.post(where, asked).codes == (404, "not_found")
    assert estimator.post(where, asked | {"kind": "pretty"}).codes == (400, "bad_choice")
    judge(cast, technician, job)
    packet = seal(cast, estimator, job)
    told = estimator.get(packet).json()
    assert told["state"] == "sealed", told
    ours = estimator.get(f"{packet}/content", Accept="*/*")
    assert (ours.status, ours.headers["Content-Type"]) == (200, "application/pdf")
    assert ours.body.startswith(b"%PDF-")
    auditor = cast.caller("joris-quell", "auditor", site=cast.sallow)
    for other in (stranger, auditor):
        for path in (packet, f"{packet}/content"):
            assert other.get(path).codes == (404, "not_found")
    grant = {
        "id": str(uuid.uuid4()),
        "to_person": "joris-quell",
        "purpose": "insurer_audit",
        "until": earlier(days=-30),
        "max_downloads": 1,
    }
    assert technician.post(f"{packet}/grants", grant).codes == (403, "role_missing")
    assert stranger.post(f"{packet}/grants", grant).codes == (404, "not_found")
    assert estimator.post(f"{packet}/grants", grant | {"purpose": "fun"}).codes == (400, "bad_choice")
    assert estimator.post(f"{packet}/grants", grant).status == 201
    assert auditor.get(packet).status == 200
    assert auditor.send("HEAD", f"{packet}/content", None, {}).status == 405
    theirs = auditor.get(f"{packet}/content")
    assert theirs.status == 200
    assert theirs.body != ours.body
    assert auditor.get(f"{packet}/content").codes == (404, "not_found")
    assert stranger.get(packet).codes == (404, "not_found")
    assert auditor.get("jobs").codes == (403, "role_missing")
    with unscoped():
        downloads = list(PacketDownload.objects.order_by("pk").values_list("person__login", flat=True))
    assert downloads == ["tobin-achterly", "joris-quell"]


def test_a_packet_that_is_not_sealed_has_no_bytes(cast: Cast, estimator: Caller, job: OpenJob) -> None:
    asked = estimator.post(f"{job.path}/packets", {"id": str(uuid.uuid4()), "kind": "full"})
    answer = estimator.get(f"packets/{asked.json()['id']}/content")
    assert answer.codes == (409, "packet_not_sealed")
