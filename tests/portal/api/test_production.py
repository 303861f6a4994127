"""What was handed out, as JSON and as a file, and the custodian's form; a stranger learns of none of it."""

import csv
import io
from datetime import UTC, datetime, timedelta

import pytest

from jobs.models import Job, LogEntry, Packet, PacketDownload, scope, unscoped
from tests.portal.cast import Caller, Cast
from tests.portal.intake import OpenJob

pytestmark = pytest.mark.django_db


@pytest.fixture
def packet(cast: Cast, job: OpenJob) -> Packet:
    """Sealed as a row, taken once by somebody whose name a spreadsheet would count with."""
    with unscoped():
        owner = Job.objects.select_related("organisation").get(pk=job.job)
    at = datetime.now(tz=UTC) - timedelta(minutes=5)
    person = cast.person("taker", ("location_manager",), cast.eastmarch)
    with scope(owner.organisation_id):
        made = Packet.objects.create(
            organisation=owner.organisation, job=owner, serial=f"{owner.number}/P1", number=1, kind="full",
            state="sealed", requested_at=at, as_of=at, built_at=at, salt_key=bytes(32), pdf_sha256="b" * 64,
            pdf_bytes=9,
        )  # fmt: skip
        PacketDownload.objects.create(
            organisation=owner.organisation, packet=made, person=person, downloaded_at=at, sha256="b" * 64,
            size_bytes=9, recipient="=HYPERLINK(1)",
        )  # fmt: skip
    return made


def test_the_production_log_for_those_who_answer_for_the_record(  # noqa: PLR0917 - fixtures
    cast: Cast, job: OpenJob, packet: Packet, technician: Caller, sibling: Caller, stranger: Caller,
    estimator: Caller,
) -> None:  # fmt: skip
    for path in (f"{job.path}/production-log", f"{job.path}/production-log.csv"):
        assert Caller().get(path).status == 401
        assert technician.get(path).codes == (403, "role_missing")
        assert sibling.get(path).codes == (404, "not_found")
        assert stranger.get(path).codes == (404, "not_found")
    with unscoped():
        assert not LogEntry.objects.filter(what="production.exported").exists()
    (line,) = estimator.get(f"{job.path}/production-log").json()["results"]
    assert (line["serial"], line["sha256"], line["bytes"]) == (packet.serial, "b" * 64, 9)
    answer = estimator.get(f"{job.path}/production-log.csv")
    assert (answer.status, answer.headers["Content-Type"]) == (200, "text/csv; charset=utf-8")
    assert answer.headers["Content-Disposition"].startswith("attachment")
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    _, row = csv.reader(io.StringIO(answer.body.decode(), newline=""))
    assert "'=HYPERLINK(1)" in row
    # Looking is not logged, a file that names people is.
    with unscoped():
        assert LogEntry.objects.filter(what="production.exported", target=f"job/{job.job}").count() == 1


def test_the_custodians_form(
    packet: Packet, technician: Caller, sibling: Caller, stranger: Caller, estimator: Caller
) -> None:
    path = f"packets/{packet.pk}/custodian-form"
    assert Caller().get(path).status == 401
    assert technician.get(path).codes == (403, "role_missing")
    assert sibling.get(path).codes == (404, "not_found")
    assert stranger.get(path).codes == (404, "not_found")
    told = estimator.get(path).json()
    assert (told["format"], told["record"]["packet"]) == ("custodian form 1", packet.serial)
    assert len(told["handed_out"]) == 1
    assert set(told["to_be_filled_in"].values()) == {""}
    with unscoped():
        Packet.objects.create(
            organisation=packet.organisation, job=packet.job, serial="P2", number=2, kind="full",
            requested_at=packet.requested_at, as_of=packet.as_of, salt_key=bytes(32),
        )  # fmt: skip
        waiting = Packet.objects.get(number=2)
    assert estimator.get(f"packets/{waiting.pk}/custodian-form").codes == (409, "packet_not_sealed")
