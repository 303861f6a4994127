"""One job's rows as facts: a fixed number of queries, only this job's rows, clocks worked out anew."""

import base64
import hashlib
import json
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.facts import job_facts
from jobs.models import Bay, Evidence, Explanation, Job, RecordedMoment, Refusal, SignOff, Waiver
from jobs.services import (
    estimate,
    evidence_intake,
    fitted,
    floor_survey,
    glass,
    lookup,
    measurement,
    recording,
    records,
    references,
    scan,
    session,
)
from rules.canonical import canonical_bytes, from_plain, to_plain
from rules.facts import RECORD_FIELDS, JobFacts
from tests.factories import CertificateFactory
from tests.jobs.shop import Shop, new_id


def file(shop: Shop, job: Job, kind: str, decoded: dict[str, Any], **fields: Any) -> Evidence:
    """A file whose bytes need no decoding here."""
    given: dict[str, Any] = {
        "id": new_id(), "kind": kind, "stage": "repair", "size_bytes": 3, "media_type": "text/csv",
        "sha256": hashlib.sha256(json.dumps(decoded, sort_keys=True).encode()).hexdigest(),
        "captured_by": shop.people["itolvaar"], "captured": RecordedMoment.exact(shop.at("09:00")),
        "captured_how": "receipt only", "device": shop.tablet, "decoded": decoded,
    } | fields  # fmt: skip
    kept, _ = evidence_intake.keep_file(
        Evidence(**given), job=job, actor=shop.actor("itolvaar"), as_of=shop.at("09:00")
    )
    return kept


def add_one_of_everything(shop: Shop, job: Job, n: int) -> None:
    actor, at, text, tablet = shop.actor("itolvaar"), shop.at("09:00"), shop.text("08:59"), shop.tablet.pk
    common: dict[str, Any] = {"job": job, "actor": actor, "as_of": at}
    fitted.record_fitted(
        **common, entry=fitted.FittedEntry(
            id=new_id(), sensor="lidar", state="no", way="sight", at=text, device=tablet
        ),
    )  # fmt: skip
    line = estimate.add_line(**common, entry=estimate.LineEntry(id=new_id(), line_no=n, text="Windshield"))
    estimate.map_line(
        **common, line=line,
        entry=estimate.MappingEntry(version=0, operations=("glass.windshield.replaced",)),
    )  # fmt: skip
    operation = estimate.record_operation(
        **common, entry=estimate.OperationEntry(
            id=new_id(), operation="glass.windshield.replaced", done_at=text, device=tablet
        ),
    )  # fmt: skip
    climate = file(shop, job, "climate_log", {"samples": [[1777988400.0 + n, 18.9, 52.0]]})
    file(
        shop,
        job,
        "voltage_log",
        {"samples": [[1777988400.0 + n, 12.9]], "events": [[1777988400.0, "key_on"]]},
    )
    file(
        shop, job, "drive_log", {"fixes": [[1777988400.0 + n, 43.1, -98.2, 40.0, 0.0, None]], "source": "csv"}
    )
    picture = {
        "width": 1600, "height": 1200, "laplacian_variance": 99.0, "clipped_share": 0.0,
        "dhash64": f"{n * 0x1111111111111111:016x}",
        "luma64": base64.b64encode(bytes([n, 2, 3])).decode(), "exif_time": None,
    }  # fmt: skip
    file(shop, job, "photo", picture, shows=["plate"])
    file(shop, job, "document", {"pages": n})
    glass.record_glass_set(
        **common, entry=glass.GlassSetEntry(
            id=new_id(), operation=operation.pk, set_at="08:40", glass_maker="Stavel",
            glass_part_number=f"SG-{n}", at=text, device=tablet, climate_log=climate.pk,
        ),
    )  # fmt: skip
    lookup.record_lookup(
        **common, entry=lookup.LookupEntry(
            id=new_id(), procedure_id="OV-FC-ROAD", document_number="OV-SI-2114", edition="2026-02",
            section="4", retrieved_at=text, device=tablet,
        ),
    )  # fmt: skip
    attempt = session.start_session(
        **common, entry=session.SessionEntry(
            id=new_id(), procedure_id="OV-FC-ROAD", started_at=text, capture_device=tablet, device="SD-011",
            bay="EM-B2",
        ),
    )  # fmt: skip
    session.add_key_events(
        **common, session=attempt, events=(session.KeyEventEntry(at=text, state="on"),)
    )  # fmt: skip
    session.end_session(
        **common, session=attempt, entry=session.SessionEnd(
            version=1, ended_at=text, result="completed",
            parts=(session.PartEntry(part="still", started_at=text, result="completed"),),
        ),
    )  # fmt: skip
    measurement.record_readings(
        **common, entries=(
            measurement.ReadingEntry(
                id=new_id(), quantity="tyre_pressure", value="240", unit="kPa", at=text, device=tablet,
                instrument="PG-022", session=attempt.pk,
            ),
        ),
    )  # fmt: skip
    scan.record_scan(
        **common, entry=scan.ScanEntry(
            id=new_id(), tool="SD-011", stage="final", device=tablet,
            summary={
                "device_serial": "PW-7711", "device_clock": f"2026-05-05T08:5{n}",
                "modules": [{"name": "A", "system": "body", "answered": True}],
                "cleared": [{"module": "A", "at": "2026-05-05T08:50"}],
            },
        ),
    )  # fmt: skip
    records.record_lamps(
        **common, entry=records.LampEntry(id=new_id(), states={"airbag": "unlit"}, at=text, device=tablet)
    )
    records.record_statement(
        **common, entry=records.StatementEntry(
            id=new_id(), says=("dry_road",), at=text, text_version="1", device=tablet, session=attempt.pk
        ),
    )  # fmt: skip
    records.record_function_check(
        **common, entry=records.FunctionCheckEntry(
            id=new_id(), session=attempt.pk, function="lane departure warning", shows="ready", at=text,
        ),
    )  # fmt: skip
    records.record_target_identity(
        **common, entry=records.TargetEntry(
            id=new_id(), number_read="OV-TB-07", right_way_up=True, clean=True, at=text
        ),
    )  # fmt: skip
    records.record_state_change(
        **common, entry=records.StateChangeEntry(id=new_id(), kind="vehicle_moved", at=text, device=tablet)
    )
    floor_survey.record_survey(
        bay=Bay.objects.get(code="EM-B2"), actor=actor, as_of=at,
        entry=floor_survey.SurveyEntry(
            id=new_id(), surveyed_at=text, instrument="PG-022", device=tablet,
            points=tuple(
                floor_survey.PointEntry(x=str(x), y=str(y), z="0.0")
                for x in (0, 2000, 4000) for y in (-1200, 0, 1200)
            ),
        ),
    )  # fmt: skip
    records.record_sublet(
        **common, entry=records.SubletEntry(
            id=new_id(), to_org="Sallowfield", procedure_ids=("OV-FR-STILL",), carried_how="trailer",
            out_at=text,
        ),
    )  # fmt: skip
    _decide(shop, common)


def _decide(shop: Shop, common: dict[str, Any]) -> None:
    """Decisions as rows: their services judge packs, which is not what is counted here."""
    now, ines = RecordedMoment.exact(shop.at("09:00")), shop.people["itolvaar"]
    for record in (
        SignOff(
            id=new_id(), role="technician", person=ines, at=now, covers=[], covers_root="0" * 64,
            statement_version="1", reauthenticated=True,
        ),
        Waiver(
            id=new_id(), procedure_id="CP-EVERY", proof_id="photos", granted_by=ines, role="location_manager",
            reason="r", instead="i", at=now,
        ),
        Refusal(
            id=new_id(), procedure_id="OV-SV-STILL", refused_by_name="R. Ashgrove", relation="owner",
            told_text_version="1", systems_named=["surround view camera"], lamp_state="out", at=now,
            witness=ines,
        ),
        Explanation(
            id=new_id(), module="A", code="B2210", text="t", explained_by=ines, role="quality_reviewer",
            at=now,
        ),
    ):  # fmt: skip
        recording.keep(record, **common, what="test.kept")


def counted(shop: Shop, job: Job) -> tuple[JobFacts, int]:
    with CaptureQueriesContext(
        connection,
    ) as queries:
        facts = job_facts(job=job, as_of=shop.at("10:00"))
    return facts, len(queries)


def test_the_number_of_queries_does_not_depend_on_the_number_of_rows(shop: Shop, job: Job) -> None:
    add_one_of_everything(shop, job, 1)
    first, queries_for_one = counted(shop, job)
    empty = [name for name in RECORD_FIELDS if not getattr(first, name) and name != "closings"]
    assert empty == []
    for n in (2, 3):
        add_one_of_everything(shop, job, n)
    third, queries_for_three = counted(shop, job)
    assert len(third.sessions) == 3
    assert queries_for_three == queries_for_one
    assert queries_for_one <= 50


def test_facts_go_into_plain_data_and_back(shop: Shop, job: Job) -> None:
    CertificateFactory.create(
        equipment=references.instrument("PG-022", "tag"), transcribed_by=shop.people["dpell"]
    )
    add_one_of_everything(shop, job, 1)
    facts = job_facts(job=job, as_of=shop.at("10:00"))
    plain = to_plain(facts)
    assert from_plain(JobFacts, plain) == facts
    assert canonical_bytes(to_plain(job_facts(job=job, as_of=shop.at("10:00")))) == canonical_bytes(plain)


def test_only_the_jobs_own_rows(shop: Shop, job: Job) -> None:
    other = shop.open_job(number="EM-2026-0418")
    before = job_facts(job=other, as_of=shop.at("10:00"))
    add_one_of_everything(shop, job, 1)
    after = job_facts(job=other, as_of=shop.at("10:00"))
    assert after == before
    assert [reading.place for reading in after.readings] == ["odometer_in"]
    assert (after.readings[0].value, after.readings[0].resolution, after.readings[0].u) == (21007.0, 1.0, 0.0)
    assert after.equipment == ()


def test_people_and_instruments_that_the_record_names(shop: Shop, job: Job) -> None:
    CertificateFactory.create(
        equipment=references.instrument("PG-022", "tag"),
        transcribed_by=shop.people["lveskel"],
        confirmed_by=shop.people["dpell"],
    )
    add_one_of_everything(shop, job, 1)
    facts = job_facts(job=job, as_of=shop.at("10:00"))
    assert [item.tag for item in facts.equipment] == ["PG-022", "SD-011"]
    (certificate,) = facts.equipment[0].certificates
    assert (certificate.confirmed, certificate.points[0].expanded_u, certificate.points[0].k) == (
        True,
        2.0,
        2.0,
    )
    assert [person.login for person in facts.people] == ["itolvaar", "tachterly"]


def test_a_clock_observed_later_narrows_what_was_recorded_before(shop: Shop, job: Job) -> None:
    entry = records.LampEntry(
        id=new_id(), states={"airbag": "unlit"}, at=shop.text("08:59", days=3), device=shop.tablet.pk
    )
    as_of = shop.at("09:00", days=3)
    kept = records.record_lamps(job=job, actor=shop.actor("itolvaar"), as_of=as_of, entry=entry)
    assert kept.at.low == shop.at("08:59", days=2)
    shop.day += timedelta(days=3)
    shop.observe_clock("09:30")
    shop.day -= timedelta(days=3)
    (before,) = job_facts(job=job, as_of=shop.at("09:10", days=3)).lamp_records
    (after,) = job_facts(job=job, as_of=shop.at("10:00", days=3)).lamp_records
    assert before.at.low == shop.at("08:59", days=2)
    assert after.at.low > shop.at("08:58", days=3)
    assert after.at.reading == before.at.reading


def test_the_hash_of_a_line_covers_what_it_was_mapped_to(shop: Shop, job: Job) -> None:
    common: dict[str, Any] = {"job": job, "actor": shop.actor("tachterly")}
    line = estimate.add_line(
        **common, as_of=shop.at("08:00"), entry=estimate.LineEntry(id=new_id(), line_no=1, text="Hood")
    )
    hashes = [job_facts(job=job, as_of=shop.at("08:00")).estimate_lines[0].sha256]
    for version, name in ((0, "hood.replaced"), (1, "none.no_sensor_zone")):
        as_of = shop.at(f"08:0{version + 1}")
        estimate.map_line(
            **common, line=line, as_of=as_of,
            entry=estimate.MappingEntry(version=version, operations=(name,)),
        )  # fmt: skip
        hashes.append(job_facts(job=job, as_of=as_of).estimate_lines[0].sha256)
    assert len(set(hashes)) == 3
    # The record as it stood before the second mapping still says the first.
    assert job_facts(job=job, as_of=shop.at("08:01")).estimate_lines[0].operations == ("hood.replaced",)


@pytest.mark.parametrize(("tz_hhmm", "resolution_s"), [("01:30", 3600.0), ("00:30", 0.0), ("02:30", 0.0)])
def test_glass_set_in_the_repeated_hour_of_autumn(shop: Shop, tz_hhmm: str, resolution_s: float) -> None:
    """1 November 2026 in Chicago: 01:30 was at 06:30Z and again at 07:30Z."""
    shop.day = shop.day.replace(month=11, day=1)
    job = shop.open_job(opened_at="2026-11-01T00:01:00-05:00", number="EM-2026-0900")
    Job.objects.filter(pk=job.pk).update(state="open")
    actor, as_of = shop.actor("mondry"), shop.at("03:00")
    operation = estimate.record_operation(
        job=job, actor=actor, as_of=as_of,
        entry=estimate.OperationEntry(
            id=new_id(), operation="glass.windshield.replaced", done_at=shop.text("02:45")
        ),
    )  # fmt: skip
    shop.observe_clock("02:50")
    glass.record_glass_set(
        job=job, actor=actor, as_of=as_of,
        entry=glass.GlassSetEntry(
            id=new_id(), operation=operation.pk, set_at=tz_hhmm, glass_maker="S", glass_part_number="G",
            at=shop.text("02:50"), device=shop.tablet.pk,
        ),
    )  # fmt: skip
    (pane,) = job_facts(job=job, as_of=shop.at("04:00")).glass_sets
    assert pane.set_at.resolution_s == resolution_s
    width = (pane.set_at.high - pane.set_at.low).total_seconds()
    assert resolution_s <= width <= resolution_s + 3
