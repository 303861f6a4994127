"""Scan summaries: checked whole, timed by a known clock, set aside with their file."""

from typing import Any

import pytest

from jobs.errors import Conflict, NotAllowed, Refused
from jobs.facts import job_facts
from jobs.models import Equipment, EquipmentUse, Evidence, Job, Reading, Scan
from jobs.services import devices, measurement, scan, set_aside
from jobs.services.devices import ScreenEntry
from jobs.services.scan import ScanEntry
from tests.factories import DeviceFactory, PersonFactory
from tests.jobs.shop import Shop, new_id


def summary(**fields: Any) -> dict[str, Any]:
    given: dict[str, Any] = {
        "device_serial": "PW-7711",
        "device_software": "4.2",
        "device_clock": "2026-05-05T15:20",
        "vin_per_module": {"Camera": "Z0ASD1F89S2011835"},
        "supply_voltage_v": 12.8,
        "modules": [
            {
                "name": "Camera", "system": "forward_camera", "answered": True,
                "codes": [{"code": "c1a45-54", "state": "present", "text": "not aimed"}],
            },
            {"name": "Body", "system": "body", "answered": False},
        ],
        "cleared": [{"module": "Camera", "at": "2026-05-05T15:18"}],
    }  # fmt: skip
    return {name: value for name, value in (given | fields).items() if value is not None}


def record(shop: Shop, job: Job, hhmm: str = "16:20", login: str = "itolvaar", **fields: Any) -> Scan:
    given: dict[str, Any] = {
        "id": new_id(),
        "tool": "SD-011",
        "stage": "final",
        "summary": summary(),
    } | fields
    entry = ScanEntry(**({"device": shop.tablet.pk} | given))
    return scan.record_scan(job=job, actor=shop.actor(login), as_of=shop.at(hhmm), entry=entry)


def test_the_whole_summary_is_kept(shop: Shop, job: Job) -> None:
    shop.people["jquell"] = PersonFactory.create(organisation=shop.organisation, roles=["counsel"])
    with pytest.raises(NotAllowed):
        record(shop, job, login="jquell")
    kept = record(shop, job)
    (held,) = job_facts(job=job, as_of=shop.at("17:00")).scans
    assert (held.stage, held.device, held.supply_voltage_v) == ("final", "SD-011", 12.8)
    camera, body = held.modules
    assert [(code.code, code.ftb, code.state) for code in camera.codes] == [("C1A45", "54", "present")]
    assert (body.answered, body.codes) == (False, ())
    assert held.vin_per_module == (("Camera", "Z0ASD1F89S2011835"),)
    file = Evidence.objects.get(kind="scan_summary")
    assert (kept.evidence, kept.source_sha256) == ([str(file.pk)], file.sha256)
    assert EquipmentUse.objects.filter(equipment__tag="SD-011", record_kind="scan").count() == 1


def test_a_scan_sent_again_is_the_same_scan(shop: Shop, job: Job) -> None:
    fields: dict[str, Any] = {"id": new_id()}
    first, again = record(shop, job, **fields), record(shop, job, "16:25", **fields)
    assert first.pk == again.pk
    assert (Scan.objects.count(), Evidence.objects.count()) == (1, 1)


def test_an_unknown_clock_leaves_a_day_either_way(shop: Shop, job: Job) -> None:
    record(shop, job)
    (held,) = job_facts(job=job, as_of=shop.at("17:00")).scans
    assert (held.ended.low, held.ended.high) == (shop.at("15:20", days=-1), shop.at("16:20"))


def test_a_photo_of_the_display_tells_the_clock_even_afterwards(shop: Shop, job: Job) -> None:
    """The display shows 13:11 at 14:06:20; the final scan at its 15:20 was at 16:14:20 or later."""
    tool = Equipment.objects.get(tag="SD-011")
    DeviceFactory.create(location=shop.location, equipment=tool, name="SD-011 clock")
    record(shop, job, "16:30")
    devices.observe_screen(
        job=job, equipment=tool, actor=shop.actor("itolvaar"), as_of=shop.at("17:00"),
        entry=ScreenEntry(
            id=new_id(), shows="2026-05-05T13:11", seen_at=shop.text("14:06:20"), device=shop.tablet.pk
        ),
    )  # fmt: skip
    (held,) = job_facts(job=job, as_of=shop.at("17:30")).scans
    width = (held.ended.high - held.ended.low).total_seconds()
    # A minute of the display when it was read, one of the scan's own time, 0.2 s of the tablet, the drift.
    assert 120 <= width <= 127
    assert held.ended.low <= shop.at("16:14:20") <= shop.at("16:16:20") <= held.ended.high
    assert held.cleared[0].at.clock == held.ended.clock
    # What became known later did not count before.
    (before,) = job_facts(job=job, as_of=shop.at("16:59")).scans
    assert before.ended.low == shop.at("15:20", days=-1)


def test_an_end_timed_by_the_tablet_is_the_tablets_time(shop: Shop, job: Job) -> None:
    record(shop, job, summary=summary(ended_at=shop.text("16:18")))
    (held,) = job_facts(job=job, as_of=shop.at("17:00")).scans
    assert held.ended.clock == f"device:{shop.tablet.pk}"
    assert held.ended.reading == shop.at("16:18")


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"stage": "lunch"}, "bad_choice"),
        ({"tool": "PG-022"}, "tool_class"),
        ({"tool": "SD-999"}, "unknown_reference"),
        ({"summary": summary(device_serial="PW-7745")}, "serial_conflict"),
        ({"summary": summary(job="EM-2026-9999")}, "other_job"),
        ({"summary": summary(stage="before_repair")}, "other_stage"),
        ({"summary": summary(device_clock=None)}, "scan_without_time"),
        ({"summary": summary(device_clock="15:20")}, "field_value"),
        ({"summary": summary(colour="red")}, "field_unknown"),
        ({"summary": summary(modules=None)}, "field_missing"),
        ({"summary": summary(vin_per_module={"Radio": "X"})}, "field_unknown"),
        ({"summary": summary(supply_voltage_v=float("nan"))}, "field_type"),
        ({"summary": summary(modules=[{"name": "A", "system": "engine", "answered": True}])}, "field_value"),
        (
            {
                "summary": summary(
                    vin_per_module=None,
                    cleared=None,
                    modules=[
                        {
                            "name": "A", "system": "body", "answered": True,
                            "codes": [{"code": "Z1A45", "state": "present"}],
                        }
                    ],
                )
            },
            "code_format",
        ),
    ],
)  # fmt: skip
def test_faulty_summaries_leave_nothing(shop: Shop, job: Job, fields: dict[str, Any], code: str) -> None:
    with pytest.raises(Refused) as refusal:
        record(shop, job, **fields)
    assert refusal.value.code == code
    assert not Scan.objects.exists()
    assert not Evidence.objects.exists()


def test_a_scan_is_set_aside_with_its_file_and_so_is_a_reading_from_it(shop: Shop, job: Job) -> None:
    kept = record(shop, job)
    file = Evidence.objects.get(kind="scan_summary")
    measurement.record_readings(
        job=job, actor=shop.actor("itolvaar"), as_of=shop.at("16:30"),
        entries=(
            measurement.ReadingEntry(
                id=new_id(), quantity="supply_voltage", value="12.8", unit="V", at=shop.text("16:29"),
                evidence=(file.pk,),
            ),
        ),
    )  # fmt: skip
    with pytest.raises(NotAllowed):
        set_aside.set_aside_evidence(
            job=job, evidence=file, actor=shop.actor("itolvaar"), as_of=shop.at("16:40"),
            reason="Belongs to the previous car",
        )  # fmt: skip
    set_aside.set_aside_evidence(
        job=job, evidence=file, actor=shop.actor("dpell"), as_of=shop.at("16:40"),
        reason="Belongs to the previous car",
    )  # fmt: skip
    kept.refresh_from_db()
    reading = Reading.objects.get(quantity="supply_voltage")
    assert (kept.ended_how, file.ended_how, reading.ended_how) == ("set_aside",) * 3
    (held,) = job_facts(job=job, as_of=shop.at("17:00")).scans
    assert held.ended_how == "set_aside"
    with pytest.raises(Conflict) as conflict:
        record(shop, job, "16:45")
    assert conflict.value.code == "evidence_set_aside"
    with pytest.raises(Refused) as refusal:
        set_aside.set_aside_evidence(
            job=job, evidence=file, actor=shop.actor("dpell"), as_of=shop.at("16:50"), reason="too short"
        )
    assert refusal.value.code == "text_length"
