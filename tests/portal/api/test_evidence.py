"""Evidence files: in with their hash, refused with a plain code and without a trace, out as attachments."""

import hashlib
import io
import uuid
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.test.utils import override_settings

from jobs.models import Deletion, Evidence, scope, unscoped
from tests.portal.api import files
from tests.portal.cast import Answer, Caller, Cast, repr_digest
from tests.portal.intake import OpenJob, open_job

pytestmark = pytest.mark.django_db


def kept_files() -> set[Path]:
    return {path for path in Path(settings.EVIDENCE_ROOT).rglob("*") if path.is_file()}


def place(job: OpenJob, *, kind: str = "photo", stage: str = "intake", more: str = "") -> str:
    return f"{job.path}/evidence/{uuid.uuid4()}?kind={kind}&stage={stage}{more}"


@pytest.fixture(scope="module")
def picture() -> bytes:
    return files.jpeg()


def test_up_and_down_again_byte_for_byte(
    technician: Caller, sibling: Caller, stranger: Caller, job: OpenJob, picture: bytes
) -> None:
    where = place(job, more="&shows=plate,vin_plate&file_name=plate.jpg")
    before = kept_files()
    for other in (sibling, stranger):
        assert other.upload(where, picture).codes == (404, "not_found")
    assert kept_files() == before
    kept = technician.upload(where, picture)
    assert kept.status == 201, kept.body
    row = kept.json()
    assert row["sha256"] == hashlib.sha256(picture).hexdigest()
    assert (row["media_type"], row["size_bytes"]) == ("image/jpeg", len(picture))
    assert row["shows"] == ["plate", "vin_plate"]
    path = where.split("?", maxsplit=1)[0]
    assert technician.get(path).json() == row
    content = technician.get(f"{path}/content", Accept="image/png")
    assert content.body == picture
    assert content.headers["Repr-Digest"] == repr_digest(picture)
    assert content.headers["Content-Disposition"].startswith("attachment;")
    assert content.headers["Content-Security-Policy"] == "sandbox; default-src 'none'"
    assert content.headers["X-Content-Type-Options"] == "nosniff"
    for other in (sibling, stranger):
        for below in ("", "/content"):
            assert other.get(path + below).codes == (404, "not_found")


def test_a_deleted_file_is_gone_with_the_day_even_where_its_bytes_are_kept(
    cast: Cast, technician: Caller, sibling: Caller, stranger: Caller, job: OpenJob, picture: bytes
) -> None:
    where = place(job)
    row = technician.upload(where, picture).json()
    path = where.split("?", maxsplit=1)[0]
    at = datetime(2036, 5, 6, 3, 0, tzinfo=UTC)
    with scope(cast.eastmarch.organisation.pk):
        Deletion.objects.create(
            organisation=cast.eastmarch.organisation, kind="photo_originals", why="retention",
            words="a photo",
            subject=f"evidence/{row['id']}/sha256", job_id=job.job, evidence_id=row["id"],
            sha256=row["sha256"], rule="10 years from the day of delivery", due_on=at.date(),
            plan_sha256="5a" * 32, decided_at=at, decided_by="retention", removed_at=at,
        )  # fmt: skip
    answer = technician.get(f"{path}/content")
    assert answer.codes == (410, "evidence_deleted")
    # 3:00 UTC on 6 May is the evening of 5 May in Chicago (IANA time zone database: UTC-5 in May).
    words = "This file was deleted under the retention policy on 5 May 2036; its SHA-256 remains."
    assert answer.json()["detail"] == words
    # What the record has of it stays; strangers are not told even that.
    assert technician.get(path).json() == row
    for other in (sibling, stranger):
        assert other.get(f"{path}/content").codes == (404, "not_found")


def test_the_same_bytes_again_are_the_same_evidence(
    cast: Cast, technician: Caller, stranger: Caller, job: OpenJob, picture: bytes
) -> None:
    first = technician.upload(place(job), picture)
    again = technician.upload(place(job), picture)
    assert (first.status, again.status) == (201, 200)
    assert first.json()["id"] == again.json()["id"]
    # Somebody else's same bytes are new to them: nothing tells that we have them already.
    theirs = open_job(stranger, cast.sallow)
    other = stranger.upload(place(theirs), picture)
    assert (other.status, other.json()["id"] == first.json()["id"]) == (201, False)


def test_one_id_cannot_carry_other_bytes(technician: Caller, job: OpenJob, picture: bytes) -> None:
    where = place(job)
    assert technician.upload(where, picture).status == 201
    assert technician.upload(where, files.jpeg(shade=200)).codes == (409, "id_in_use")


@pytest.mark.parametrize(
    ("digest", "codes"),
    [
        ("", (400, "digest_missing")),
        ("sha-512=:AAAA:", (400, "digest_missing")),
        ("sha-256=X48E9qOokqqrvdts8nOJRJN3OWDUoyWxBf7kbu9DBPE=", (400, "digest_bad")),
        ("sha-256=:not base64:", (400, "digest_bad")),
        ("sha-256=:AAAA:", (400, "digest_bad")),
        ("sha-256=::", (400, "digest_bad")),
        ("x" * 5000, (400, "digest_bad")),
        # RFC 9530 appendix: the digest of {"hello": "world"} and a line feed, which our picture is not.
        ("sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:", (422, "digest_mismatch")),
    ],
)
def test_the_hash_is_stated_and_right(
    technician: Caller, job: OpenJob, picture: bytes, digest: str, codes: tuple[int, str]
) -> None:
    assert_refused(technician, place(job), picture, codes, digest=digest)


def test_a_digest_beside_others_is_found(technician: Caller, job: OpenJob, picture: bytes) -> None:
    digest = f"sha-512=:AAAA:, {repr_digest(picture)}"
    assert technician.upload(place(job), picture, digest=digest).status == 201


def assert_refused(
    caller: Caller, where: str, data: bytes, codes: tuple[int, str], *, digest: str | None = None
) -> Answer:
    """The code, and neither a row nor a file more than before."""
    before = kept_files()
    answer = caller.upload(where, data, digest=digest)
    assert answer.codes == codes
    assert kept_files() == before
    with unscoped():
        assert Evidence.objects.count() == 0
    return answer


def test_files_that_are_not_what_they_should_be(technician: Caller, job: OpenJob, picture: bytes) -> None:
    cases = [
        (b"", (400, "empty_file")),
        (b"\xff", (415, "unrecognised_type")),
        (picture[: len(picture) // 2], (422, "image_truncated")),
        (b"<!DOCTYPE html><html>%PDF-1.4</html>", (415, "type_mismatch")),
        (b"%PDF-1.4 and no picture", (415, "type_mismatch")),
        (b"MZ" + b"\x00" * 600, (415, "type_not_allowed")),
        (b'<svg xmlns="http://www.w3.org/2000/svg"><script>1</script></svg>', (415, "type_not_allowed")),
    ]
    for data, codes in cases:
        assert_refused(technician, place(job), data, codes)


def test_logs_that_cannot_be(technician: Caller, job: OpenJob) -> None:
    point = files.trackpoint
    cases = [
        (point("NaN", "-98.2", 0) + point("43.1", "-98.2", 1), (422, "log_out_of_range")),
        (point("43.1", "181", 0) + point("43.1", "-98.2", 1), (422, "log_out_of_range")),
        (point("43.1", "-98.2", 5) + point("43.1", "-98.2", 4), (422, "log_time_order")),
    ]
    for points, codes in cases:
        answer = assert_refused(
            technician, place(job, kind="drive_log", stage="drive"), files.gpx(points), codes
        )
        assert answer.json()["detail"]
    bomb = b'<?xml version="1.0"?><!DOCTYPE g [<!ENTITY a "b">]><gpx version="1.1">&a;</gpx>'
    assert_refused(
        technician, place(job, kind="drive_log", stage="drive"), bomb, (422, "xml_entities_forbidden")
    )


def test_more_bytes_than_allowed(technician: Caller, job: OpenJob, picture: bytes) -> None:
    with override_settings(MAX_UPLOAD_BYTES=len(picture) - 1):
        assert_refused(technician, place(job), picture, (413, "body_too_large"))
    with override_settings(MAX_UPLOAD_BYTES=len(picture)):
        assert technician.upload(place(job), picture).status == 201


def test_a_body_that_ends_too_early(technician: Caller, job: OpenJob, picture: bytes) -> None:
    before = kept_files()
    cut: dict[str, Any] = {"CONTENT_LENGTH": str(len(picture)), "wsgi.input": io.BytesIO(picture[:5000])}
    given = technician.client.put(
        f"/api/v1/{place(job)}",
        data=b"",
        content_type="application/octet-stream",
        headers={"Authorization": f"Bearer {technician.token}", "Repr-Digest": repr_digest(picture)},
        **cut,
    )
    assert (given.status_code, given.json()["code"]) == (400, "body_cut_short")
    assert kept_files() == before


@pytest.mark.parametrize(
    ("more", "codes"),
    [
        ("&colour=red", (400, "unknown_field")),
        ("&stage=intake", (400, "bad_parameter")),
        ("&session=seven", (400, "wrong_type")),
        ("&session=00000000-0000-4000-8000-000000000001", (422, "unknown_reference")),
        ("&instrument=PG-999", (422, "unknown_reference")),
        ("&captured_at=noon", (400, "bad_instant")),
        ("&captured_at=2999-01-01T00:00:00Z", (400, "bad_instant")),
        ("&device=00000000-0000-4000-8000-000000000002", (422, "unknown_device")),
    ],
)
def test_what_is_said_of_a_file(
    technician: Caller, job: OpenJob, picture: bytes, more: str, codes: tuple[int, str]
) -> None:
    assert_refused(technician, place(job, more=more), picture, codes)


@pytest.mark.parametrize(("kind", "stage"), [("sculpture", "intake"), ("photo", "afterwards")])
def test_kinds_and_stages_are_known(
    technician: Caller, job: OpenJob, picture: bytes, kind: str, stage: str
) -> None:
    assert_refused(technician, place(job, kind=kind, stage=stage), picture, (400, "bad_choice"))


@pytest.mark.parametrize(
    "name",
    [
        "../../etc/passwd",
        "C:\\x\\y.jpg",
        "a%00b.jpg",
        "%E2%80%AEgpj.exe",
        ".htaccess",
        "%252e%252e%252f",
        "a%0D%0ASet-Cookie:x=1.jpg",
        "quote%22d.jpg",
        "%F0%9F%9A%97.jpg",
        "",
    ],
)
def test_names_are_shown_and_never_used(technician: Caller, job: OpenJob, picture: bytes, name: str) -> None:
    where = place(job, more=f"&file_name={name}")
    kept = technician.upload(where, picture)
    if kept.status != 201:
        assert kept.codes in ((400, "nul_character"), (422, "bad_name"))
        return
    content = technician.get(where.split("?", maxsplit=1)[0] + "/content")
    shown = content.headers["Content-Disposition"]
    assert content.status == 200
    assert shown.isascii()
    assert shown.isprintable()
    assert ".." not in shown
    assert "/" not in shown.replace("attachment; ", "")
    assert "\\" not in shown


def test_the_list_pages_and_narrows(technician: Caller, stranger: Caller, job: OpenJob) -> None:
    for shade in (10, 20):
        assert technician.upload(place(job), files.jpeg(shade=shade)).status == 201
    listed = technician.get(f"{job.path}/evidence?page_size=1").json()
    assert len(listed["results"]) == 1
    assert listed["next"]
    assert len(technician.get(f"{job.path}/evidence?kind=photo&stage=intake").json()["results"]) == 2
    assert technician.get(f"{job.path}/evidence?kind=document").json()["results"] == []
    assert technician.get(f"{job.path}/evidence?colour=red").codes == (400, "unknown_parameter")
    assert stranger.get(f"{job.path}/evidence").codes == (404, "not_found")


def test_setting_aside_is_the_reviewers_and_happens_once(
    cast: Cast, technician: Caller, job: OpenJob, picture: bytes
) -> None:
    reviewer = cast.caller("dagny-pell", "quality_reviewer")
    elsewhere = cast.caller("reviewer-lm", "quality_reviewer", site=cast.low_mill)
    path = place(job)
    technician.upload(path, picture)
    path = path.split("?", maxsplit=1)[0]
    reason = {"reason": "The picture shows another car in the same bay."}
    assert technician.post(f"{path}/set-aside", reason).codes == (403, "role_missing")
    assert elsewhere.post(f"{path}/set-aside", reason).codes == (404, "not_found")
    assert reviewer.post(f"{path}/set-aside", {"reason": "no"}).codes == (400, "text_length")
    assert technician.get(path).json()["ended_how"] == ""
    assert reviewer.post(f"{path}/set-aside", reason).status == 201
    assert technician.get(path).json()["ended_how"] == "set_aside"
    assert reviewer.post(f"{path}/set-aside", reason).codes == (409, "already_ended")


def test_a_slip_is_issued_for_one_job(technician: Caller, stranger: Caller, job: OpenJob) -> None:
    body = {"id": str(uuid.uuid4())}
    assert stranger.post(f"{job.path}/slips", body).codes == (404, "not_found")
    made = technician.post(f"{job.path}/slips", body, key="k1")
    assert made.status == 201
    assert uuid.UUID(job.job).hex in made.json()["content"]
    assert made.json()["id"] == body["id"]
    assert technician.post(f"{job.path}/slips", body, key="k1").body == made.body
    assert technician.post(f"{job.path}/slips", body, key="k2").json() == made.json()


def test_two_pictures_are_compared_by_a_reviewer(
    cast: Cast, technician: Caller, estimator: Caller, job: OpenJob, picture: bytes
) -> None:
    reviewer = cast.caller("dagny-pell", "quality_reviewer")
    other_job = open_job(estimator, cast.eastmarch)
    ids = []
    for one in (job, other_job):
        kept = technician.upload(place(one), picture)
        assert kept.status == 201
        ids.append(kept.json()["id"])
    body = {"other_job": other_job.job, "other": ids[1], "decision": "same picture"}
    path = f"{job.path}/evidence/{ids[0]}/reuse-decisions"
    assert technician.post(path, body).codes == (403, "role_missing")
    assert reviewer.post(path, body | {"other": str(uuid.uuid4())}).codes == (404, "not_found")
    assert reviewer.post(path, body | {"decision": "maybe"}).codes == (400, "bad_choice")
    assert reviewer.post(path, body).status == 201
