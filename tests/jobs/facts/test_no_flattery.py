"""Nothing a sender states makes a reading finer, a clock steadier or an instrument fresher than it was."""

from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from jobs.facts import job_facts
from jobs.facts.clock_book import ClockBook
from jobs.facts.clocks import LocalReading, SeenOffset
from jobs.models import Equipment, Job, OperationsClosing
from jobs.services import estimate, measurement, references
from jobs.services.estimate import ClosingEntry, LineEntry, MappingEntry, OperationEntry
from jobs.services.measurement import ReadingEntry
from rules.science.clocks import happened_before
from tests.factories import CertificateFactory
from tests.jobs.shop import Shop, new_id


def read(shop: Shop, job: Job, **fields: Any) -> Any:
    given: dict[str, Any] = {
        "id": new_id(), "quantity": "tyre_pressure", "place": "front_left", "value": "35", "unit": "psi",
        "at": shop.text("09:00"), "device": shop.tablet.pk, "instrument": "PG-022",
    }  # fmt: skip
    (kept,) = measurement.record_readings(
        job=job,
        actor=shop.actor("itolvaar"),
        as_of=shop.at("09:01"),
        entries=(ReadingEntry(**(given | fields)),),
    )
    return kept


@pytest.mark.parametrize(("stated", "u"), [("", 2.458620), ("0.001", 2.458620), ("2", 4.233918)])
def test_nobody_states_a_finer_step_than_was_typed(shop: Shop, job: Job, stated: str, u: float) -> None:
    # 1 psi = 6.894757 kPa: sqrt(2.083333 + 6.894757^2/12) = 2.458620, with 2 psi sqrt(2.083333 + 15.846...).
    assert read(shop, job, resolution=stated).u == pytest.approx(u, abs=2e-3)


def test_an_odometer_states_the_step_of_its_display(shop: Shop, job: Job) -> None:
    kept = read(
        shop,
        job,
        quantity="odometer",
        value="21007",
        unit="km",
        instrument="",
        resolution="0.1",
        place="dash",
    )
    assert kept.resolution == pytest.approx(0.1)


def test_the_same_work_once_more_opens_the_closed_list(shop: Shop, job: Job) -> None:
    common: dict[str, Any] = {"job": job, "actor": shop.actor("tachterly")}
    line = estimate.add_line(
        **common, as_of=shop.at("08:00"), entry=LineEntry(id=new_id(), line_no=1, text="Windshield, replace")
    )
    mapping = MappingEntry(version=0, operations=("glass.windshield.replaced",))
    estimate.map_line(**common, line=line, as_of=shop.at("08:01"), entry=mapping)
    estimate.close_operations(**common, as_of=shop.at("08:02"), entry=ClosingEntry(id=new_id()))
    for when, stands in (("08:40", True), ("09:40", False)):
        estimate.record_operation(
            **common,
            as_of=shop.at(when),
            entry=OperationEntry(
                id=new_id(),
                operation="glass.windshield.replaced",
                done_at=shop.text(when),
                device=shop.tablet.pk,
            ),
        )
        assert OperationsClosing.objects.filter(job=job, ended_at__isnull=True).exists() is stands


def book(shop: Shop, *offsets_s: float) -> ClockBook:
    seen = tuple(
        SeenOffset(reads=shop.at("09:00"), low_s=off - 0.1, high_s=off + 0.1, received_at=shop.at("09:00"))
        for off in offsets_s
    )
    return ClockBook(seen={"device:tablet": seen}, zone=ZoneInfo("America/Chicago"))


@pytest.mark.parametrize(
    ("offsets_s", "order"),
    [((0.0,), "true"), ((0.0, 0.05), "true"), ((), "true"), ((0.0, 3600.0), "unknown")],
)
def test_readings_of_a_clock_that_was_set_between_show_no_order(
    shop: Shop, offsets_s: tuple[float, ...], order: str
) -> None:
    known = book(shop, *offsets_s)
    first, second = (
        known.shown(
            LocalReading(reading=shop.at(when), resolution_s=0.0),
            clock="device:tablet",
            received_at=shop.at("18:00"),
        )
        for when in ("09:10", "09:30")
    )
    assert happened_before(first, second) == order
    log = known.log("device:tablet", shop.at("09:10").timestamp(), shop.at("18:00"))
    assert (log.clock == first.clock) is True


@pytest.mark.parametrize(
    ("calibrated_on", "confirmed", "uses_before"),
    [
        (date(2026, 5, 1), True, 1),
        (date(2026, 5, 7), True, 0),  # on the day the later job is opened
        (date(2026, 5, 8), True, 1),  # after it: the use on the earlier job still counts
        (date(2026, 5, 7), False, 1),  # nobody confirmed it
    ],
)
def test_only_a_calibration_before_the_job_takes_earlier_uses_away(
    shop: Shop, job: Job, calibrated_on: date, confirmed: bool, uses_before: int
) -> None:
    gauge = references.instrument("PG-022", "tag")
    assert gauge is not None
    Equipment.objects.filter(pk=gauge.pk).update(interval_uses=5)
    read(shop, job)
    people = shop.people
    CertificateFactory.create(equipment=gauge, calibrated_on=date(2026, 1, 12),
                              transcribed_by=people["lveskel"], confirmed_by=people["dpell"])  # fmt: skip
    CertificateFactory.create(equipment=gauge, calibrated_on=calibrated_on,
                              transcribed_by=people["lveskel"],
                              confirmed_by=people["dpell"] if confirmed else None)  # fmt: skip
    shop.day += timedelta(days=2)
    later = shop.open_job(number="EM-2026-0418")
    read(shop, later)
    (seen,) = (
        item for item in job_facts(job=later, as_of=shop.at("12:00")).equipment if item.tag == "PG-022"
    )
    assert seen.uses_before == uses_before
