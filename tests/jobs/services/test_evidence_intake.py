"""Files come in: digest, decoding, number, same bytes twice, what refused files leave, slips, reuse."""

import io
import uuid
from datetime import timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings

from jobs import storage
from jobs.demo import evidence as drawn
from jobs.errors import Conflict, NotAllowed, Refused
from jobs.facts import job_facts
from jobs.models import (
    AssessmentRun,
    EquipmentUse,
    Evidence,
    Job,
    LogEntry,
    PhotoHash,
    PhotoHashBand,
    SlipCode,
)
from jobs.services import evidence_intake, set_aside, slips
from jobs.services.evidence_intake import Upload
from tests.factories import EquipmentFactory, PersonFactory
from tests.jobs.shop import Shop, new_id

CLIMATE = b"t,temp_c,rh_percent\n2026-05-05T08:40:00-05:00,18.9,52\n2026-05-05T08:50:00-05:00,19.0,52\n"


@pytest.fixture(autouse=True)
def store(settings: Any, tmp_path: Path) -> Path:
    """A store of its own, so that what is left behind can be counted."""
    settings.EVIDENCE_ROOT = tmp_path
    return tmp_path


def files_in(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def picture(shop: Shop, hhmm: str = "08:00", subject: str = "plate", **more: Any) -> bytes:
    taken_at = shop.at(hhmm).astimezone(ZoneInfo(shop.location.tz))
    return drawn.photo(subject, taken_at=taken_at, lat=43.1, lon=-98.2, **({"job": "EM-2026-0417"} | more))


def climate(shop: Shop, job: Job, **fields: Any) -> tuple[Evidence, bool]:
    given: dict[str, Any] = {
        "kind": "climate_log",
        "stage": "repair",
        "hhmm": "09:00",
        "captured_at": "",
    } | fields
    return shop.upload(job, given.pop("data", CLIMATE), **given)


def test_a_file_is_kept_under_its_hash_with_a_number(shop: Shop, job: Job, store: Path) -> None:
    kept, is_new = climate(shop, job, file_name="C:\\logs\\glass\x07.csv")
    assert (is_new, kept.number, kept.sha256) == (True, 1, sha256(CLIMATE).hexdigest())
    assert (storage.read(kept.sha256), kept.size_bytes) == (CLIMATE, len(CLIMATE))
    assert (kept.media_type, kept.file_name) == ("text/csv", "glass.csv")
    assert LogEntry.objects.filter(what="evidence.added").count() == 1
    second, _ = climate(shop, job, data=CLIMATE.replace(b"18.9", b"18.8"))
    assert second.number == 2
    assert not files_in(store / "quarantine")


def test_the_same_bytes_twice_are_the_same_evidence(shop: Shop, job: Job) -> None:
    first, _ = climate(shop, job)
    again, is_new = climate(shop, job, id=new_id())
    assert (again.pk, is_new) == (first.pk, False)
    assert Evidence.objects.count() == 1
    with pytest.raises(Conflict) as conflict:
        climate(shop, job, id=first.pk, data=CLIMATE.replace(b"52", b"51"))
    assert conflict.value.code == "id_in_use"


def test_outsiders_add_no_evidence(shop: Shop, job: Job) -> None:
    shop.people["jquell"] = PersonFactory.create(organisation=shop.organisation, roles=["auditor"])
    with pytest.raises(NotAllowed):
        climate(shop, job, login="jquell")
    assert climate(shop, job)[1]


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"claimed_sha256": "0" * 64}, "digest_mismatch"),
        ({"claimed_sha256": ""}, "digest_missing"),
        ({"data": b""}, "empty_file"),
        ({"kind": "poem"}, "bad_choice"),
        ({"stage": "someday"}, "bad_choice"),
        ({"shows": ("Front view",)}, "bad_name"),
        ({"shows": tuple(f"s{n}" for n in range(21))}, "too_many"),
        ({"session": new_id()}, "unknown_reference"),
        ({"instrument": "CL-999"}, "unknown_reference"),
        ({"device": new_id()}, "unknown_device"),
        ({"captured_at": "8 o'clock"}, "bad_instant"),
        ({"captured_at": "2026-05-07T08:00:00Z"}, "instant_in_future"),
        ({"kind": "photo"}, "type_mismatch"),
        ({"data": CLIMATE.replace(b"52", b"NaN")}, "number_format"),
        ({"data": CLIMATE.replace(b"08:50", b"08:30")}, "log_time_order"),
    ],
)
def test_what_is_refused_leaves_neither_row_nor_file(
    shop: Shop, job: Job, store: Path, fields: dict[str, Any], code: str
) -> None:
    if "data" in fields:
        fields = {"claimed_sha256": sha256(fields["data"]).hexdigest()} | fields
    with pytest.raises(Refused) as refusal:
        climate(shop, job, **fields)
    assert refusal.value.code == code
    assert not Evidence.objects.exists()
    assert not files_in(store)
    job.refresh_from_db()
    assert job.evidence_count == 0


@pytest.mark.parametrize("spare", [0, -1])
def test_the_size_limit_is_counted_while_receiving(
    shop: Shop, job: Job, store: Path, settings: Any, spare: int
) -> None:
    settings.MAX_UPLOAD_BYTES = len(CLIMATE) + spare
    if spare == 0:
        assert climate(shop, job)[1]
        return
    with pytest.raises(Refused) as refusal:
        climate(shop, job)
    assert refusal.value.code == "too_large"
    assert not files_in(store)


def test_a_cut_picture_is_refused(shop: Shop, job: Job, store: Path) -> None:
    whole = picture(shop)
    with pytest.raises(Refused) as refusal:
        shop.upload(job, whole[: len(whole) // 2], hhmm="08:05")
    assert refusal.value.code == "image_truncated"
    assert not files_in(store)


def test_a_picture_has_its_place_time_hash_and_a_copy_to_show(shop: Shop, job: Job) -> None:
    kept, _ = shop.upload(job, picture(shop), hhmm="08:05", shows=("plate",), captured_at="")
    assert kept.captured_how == "camera time"
    assert kept.captured.reading == shop.at("08:00")
    assert kept.lat == pytest.approx(43.1, abs=0.001)
    assert storage.exists(kept.working_copy_sha256)
    assert PhotoHash.objects.get(evidence=kept).dhash64 == kept.decoded["dhash64"]
    assert PhotoHashBand.objects.filter(photo=kept.pk).count() == 7
    (photo,) = job_facts(job=job, as_of=shop.at("09:00")).photos
    assert (photo.number, photo.has_exif_time, photo.slip) == (1, True, None)


def test_a_camera_time_in_the_future_is_not_believed(shop: Shop, job: Job) -> None:
    kept, _ = shop.upload(job, picture(shop, "18:00"), hhmm="08:05")
    assert (kept.captured_how, kept.captured.reading) == ("device claim", shop.at("08:05"))


def test_without_any_time_only_the_receipt_is_known(shop: Shop, job: Job) -> None:
    kept, _ = climate(shop, job)
    assert (kept.captured_how, kept.captured.high) == (
        "receipt only",
        shop.at("09:00") + timedelta(seconds=2),
    )
    assert kept.captured.low.year == 1980


def test_a_slip_in_the_picture_brackets_it_by_server_time(shop: Shop, job: Job) -> None:
    slip = slips.issue_slip(job=job, actor=shop.actor("itolvaar"), as_of=shop.at("08:00"))
    assert slips.is_authentic(slip.code)
    assert not slips.is_authentic(slip.code[:-1] + ("0" if slip.code[-1] != "0" else "1"))
    # The camera's clock is a quarter of an hour behind: it says the picture is older than the slip in it.
    data = picture(shop, "07:50", "vehicle_front_with_slip", slip=slip.code)
    kept, _ = shop.upload(job, data, hhmm="08:05", shows=("vehicle_front_with_slip",))
    assert kept.slip_code == slip.code
    (photo,) = job_facts(job=job, as_of=shop.at("09:00")).photos
    assert photo.slip is not None
    assert (photo.slip.job_id, photo.slip.authentic) == (str(job.pk), True)
    assert (photo.captured.low, photo.captured.high) == (slip.issued_at, kept.received_at)


def test_a_made_up_slip_is_none_of_ours(shop: Shop, job: Job) -> None:
    code = f"{job.pk.hex}.0123456789abcdef.1777986000.{'0' * 32}"
    kept, _ = shop.upload(job, picture(shop, slip=code), hhmm="08:05")
    assert kept.slip_code == ""


def test_a_slip_asked_for_again_is_the_same_slip(shop: Shop, job: Job) -> None:
    used = new_id()
    first, again = (
        slips.issue_slip(job=job, actor=shop.actor("itolvaar"), as_of=shop.at(hhmm), slip_id=used)
        for hhmm in ("08:00", "08:01")
    )
    assert (first.code, again.issued_at) == (again.code, shop.at("08:00"))
    with pytest.raises(Conflict) as conflict:
        slips.issue_slip(job=job, actor=shop.actor("mondry"), as_of=shop.at("08:02"), slip_id=used)
    assert conflict.value.code == "id_in_use"


def test_a_slip_that_was_written_without_the_key_proves_nothing(shop: Shop, job: Job) -> None:
    slip = slips.issue_slip(job=job, actor=shop.actor("itolvaar"), as_of=shop.at("08:00"))
    forged = f"{slip.code.rpartition('.')[0]}.{'0' * 32}"
    SlipCode.objects.create(
        organisation=shop.organisation, job=job, code=forged, issued_at=shop.at("08:01"),
        expires_at=shop.at("12:01"), issued_to=shop.people["itolvaar"],
    )  # fmt: skip
    assert slips.seen_slip([forged]) == ""
    assert slips.seen_slip([forged, "https://example.invalid", slip.code]) == slip.code


def test_the_log_belongs_to_the_clock_that_stamped_it(shop: Shop, job: Job) -> None:
    logger = EquipmentFactory.create(
        organisation=shop.organisation, tag="CL-006", instrument_class="climate_logger"
    )
    climate(shop, job, instrument="CL-006")
    (log,) = job_facts(job=job, as_of=shop.at("09:30")).climate_logs
    assert log.clock.clock == f"device:{shop.tablet.pk}"
    assert log.clock.offset_high_s == pytest.approx(0.1 + 4260 * 1e-4, abs=0.01)
    climate(shop, job, instrument="CL-006", device=None, data=CLIMATE.replace(b"18.9", b"18.8"))
    unknown = job_facts(job=job, as_of=shop.at("09:30")).climate_logs[1]
    assert unknown.clock.clock.startswith("device:unnamed-")
    assert (unknown.clock.offset_low_s, unknown.clock.offset_high_s) == (-86_400.0, 86_400.0)
    assert EquipmentUse.objects.filter(equipment=logger, record_kind="evidence").count() == 2


def test_the_same_file_on_two_jobs_is_told_on_both(shop: Shop, job: Job) -> None:
    other = shop.open_job(number="EM-2026-0418")
    data = picture(shop)
    first, _ = shop.upload(job, data, hhmm="08:05")
    AssessmentRun.objects.update(state="dead")
    second, _ = shop.upload(other, data, hhmm="08:10")
    assert first.pk != second.pk
    assert {run.job_id for run in AssessmentRun.objects.filter(state="waiting")} == {job.pk, other.pk}
    for owner, theirs in ((job, second), (other, first)):
        (photo,) = job_facts(job=owner, as_of=shop.at("09:00")).photos
        (reuse,) = photo.reuse
        assert (reuse.other_evidence, reuse.same_bytes, reuse.same_job) == (str(theirs.pk), True, False)
    # The reviewer assigns the file to the first job by setting it aside on the other.
    set_aside.set_aside_evidence(
        job=other, evidence=second, actor=shop.actor("dpell"), as_of=shop.at("09:10"),
        reason="Taken of the other car",
    )  # fmt: skip
    (photo,) = job_facts(job=job, as_of=shop.at("09:20")).photos
    assert photo.reuse == ()


def test_a_look_alike_is_told_until_somebody_decides(shop: Shop, job: Job) -> None:
    other = shop.open_job(number="EM-2026-0418")
    first, _ = shop.upload(job, picture(shop, "08:00"), hhmm="08:05")
    # The same scene saved once more with another time: other bytes, the same picture.
    second, _ = shop.upload(other, picture(shop, "08:01"), hhmm="08:10")
    assert first.sha256 != second.sha256
    (photo,) = job_facts(job=job, as_of=shop.at("09:00")).photos
    (reuse,) = photo.reuse
    assert (reuse.same_bytes, reuse.distance <= 6, reuse.decision) == (False, True, None)
    assert reuse.correlation is not None
    assert reuse.correlation >= 0.97
    with pytest.raises(NotAllowed):
        set_aside.decide_reuse(
            job=job, evidence=first, other=second, actor=shop.actor("itolvaar"), as_of=shop.at("09:10"),
            decision="different",
        )  # fmt: skip
    set_aside.decide_reuse(
        job=job, evidence=first, other=second, actor=shop.actor("dpell"), as_of=shop.at("09:10"),
        decision="different",
    )  # fmt: skip
    for owner in (job, other):
        (decided,) = job_facts(job=owner, as_of=shop.at("09:20")).photos
        assert [reuse.decision for reuse in decided.reuse] == ["different"]


def test_bytes_that_end_early_are_a_mismatch(shop: Shop, job: Job) -> None:
    upload = Upload(
        id=uuid.uuid4(), claimed_sha256=sha256(CLIMATE).hexdigest(), kind="climate_log", stage="repair"
    )
    with pytest.raises(Refused) as refusal:
        evidence_intake.take_in(
            job=job,
            actor=shop.actor("itolvaar"),
            as_of=shop.at("09:00"),
            upload=upload,
            source=io.BytesIO(CLIMATE[:-1]),
        )
    assert refusal.value.code == "digest_mismatch"


def test_the_store_lies_where_the_settings_say(store: Path) -> None:
    assert Path(settings.EVIDENCE_ROOT) == store
