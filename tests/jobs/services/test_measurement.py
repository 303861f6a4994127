"""Readings as typed, converted, with the uncertainty of their method."""

from typing import Any

import pytest

from jobs.errors import NotAllowed, Refused
from jobs.models import EquipmentUse, Job, LogEntry, Reading
from jobs.services import measurement
from jobs.services.measurement import ReadingEntry
from tests.factories import PersonFactory
from tests.jobs.shop import Shop, new_id


def entry(shop: Shop, **fields: Any) -> ReadingEntry:
    given: dict[str, Any] = {
        "id": new_id(), "quantity": "tyre_pressure", "place": "front_left", "value": "240", "unit": "kPa",
        "at": shop.text("09:00"), "device": shop.tablet.pk, "instrument": "PG-022",
    }  # fmt: skip
    return ReadingEntry(**(given | fields))


def record(shop: Shop, job: Job, *entries: ReadingEntry, login: str = "itolvaar") -> tuple[Reading, ...]:
    return measurement.record_readings(
        job=job, actor=shop.actor(login), as_of=shop.at("09:01"), entries=entries
    )


@pytest.mark.parametrize(
    ("value", "unit", "kept", "u"),
    [
        # Budget of the gauge: sqrt((2/2)^2 + 1.0^2 + (1/sqrt 12)^2) = 1.4434 kPa, by hand.
        ("240", "kPa", 240.0, 1.443376),
        ("240.0", "kPa", 240.0, 1.443376),
        # 35 psi = 241.316505 kPa (1 lbf = 4.4482216152605 N, 1 in = 25.4 mm); typed to 1 psi = 6.894757 kPa,
        # which adds 1.990345 kPa: sqrt(2.083333 + 3.961473).
        ("35", "psi", 241.316505, 2.458620),
        ("2.4", "bar", 240.0, 3.227486),
    ],
)
def test_typed_values_are_kept_beside_the_converted(
    shop: Shop, job: Job, value: str, unit: str, kept: float, u: float
) -> None:
    (reading,) = record(shop, job, entry(shop, value=value, unit=unit))
    assert (reading.typed_value, reading.typed_unit) == (value, unit)
    assert (reading.value, reading.unit) == (pytest.approx(kept, abs=1e-6), "kPa")
    assert reading.u == pytest.approx(u, abs=2e-6)


@pytest.mark.parametrize(
    ("fields", "u", "is_shown"),
    [
        ({"instrument": ""}, None, False),
        ({"instrument": "SD-011"}, None, False),
        ({"quantity": "learned_yaw", "value": "0.2", "unit": "deg", "instrument": ""}, 0.0, True),
        ({"quantity": "learned_yaw", "value": "-0.2", "unit": "deg", "instrument": "SD-011"}, 0.0, True),
        ({"quantity": "learned_yaw", "value": "0.2", "unit": "deg", "instrument": "PG-022"}, None, False),
        ({"quantity": "odometer", "value": "21007", "unit": "km", "instrument": ""}, 0.0, True),
        ({"quantity": "seam_step", "value": "3", "unit": "mm", "instrument": ""}, None, False),
    ],
)
def test_no_budget_no_uncertainty_save_what_the_vehicle_shows(
    shop: Shop, job: Job, fields: dict[str, Any], u: float | None, is_shown: bool
) -> None:
    (reading,) = record(shop, job, entry(shop, **fields))
    assert (reading.u, reading.vehicle_shown) == (u, is_shown)


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"quantity": "happiness"}, "bad_choice", "quantity"),
        ({"value": "NaN"}, "bad_number", "value"),
        ({"value": "1e400"}, "bad_number", "value"),
        ({"value": "2,4"}, "bad_number", "value"),
        ({"value": "-1"}, "out_of_range", "value"),
        ({"unit": "furlong"}, "unit_unknown", "unit"),
        ({"unit": ""}, "unit_unknown", "unit"),
        ({"unit": "mm"}, "unit_mismatch", "unit"),
        ({"quantity": "rh", "unit": "percent", "value": "100.1"}, "out_of_range", "value"),
        ({"quantity": "temp", "unit": "degC", "value": "-273.16"}, "out_of_range", "value"),
        ({"quantity": "odometer", "unit": "mm"}, "unit_unknown", "unit"),
        ({"instrument": "PG-999"}, "unknown_reference", "instrument"),
        ({"set_no": 0}, "bad_number", "set_no"),
        ({"set_no": 101}, "bad_number", "set_no"),
        ({"session": new_id()}, "unknown_reference", "session"),
        ({"resolution": "0"}, "bad_number", "resolution"),
    ],
)
def test_faulty_readings_leave_nothing(
    shop: Shop, job: Job, fields: dict[str, Any], code: str, field: str
) -> None:
    with pytest.raises(Refused) as refusal:
        record(shop, job, entry(shop, **fields))
    assert (refusal.value.code, refusal.value.extra["field"]) == (code, field)
    assert not Reading.objects.exists()
    assert not EquipmentUse.objects.exists()


@pytest.mark.parametrize(
    ("fields", "value"),
    [
        ({"quantity": "rh", "unit": "percent", "value": "100"}, 100.0),
        ({"quantity": "temp", "unit": "degC", "value": "-273.15"}, -273.15),
        ({"quantity": "tyre_pressure", "value": "0"}, 0.0),
        ({"set_no": 100}, 240.0),
        ({"quantity": "odometer", "value": "13053", "unit": "mi"}, 21006.767232),
    ],
)
def test_values_at_their_limits(shop: Shop, job: Job, fields: dict[str, Any], value: float) -> None:
    (reading,) = record(shop, job, entry(shop, **({"instrument": ""} | fields)))
    assert reading.value == pytest.approx(value, abs=1e-6)


def test_all_or_none_under_one_log_entry(shop: Shop, job: Job) -> None:
    places = ("front_left", "front_right", "rear_left", "rear_right")
    with pytest.raises(Refused) as refusal:
        record(shop, job, *(entry(shop, place=place) for place in places[:2]), entry(shop, value="x"))
    assert refusal.value.extra["field"] == "readings[2].value"
    assert not Reading.objects.exists()
    shop.people["jquell"] = PersonFactory.create(organisation=shop.organisation, roles=["auditor"])
    with pytest.raises(NotAllowed):
        record(shop, job, entry(shop), login="jquell")
    kept = record(shop, job, *(entry(shop, place=place) for place in places))
    assert [reading.place for reading in kept] == list(places)
    assert LogEntry.objects.filter(what="readings.recorded").count() == 1
    assert EquipmentUse.objects.filter(equipment__tag="PG-022", used_on=shop.day).count() == 4


@pytest.mark.parametrize(("count", "code"), [(0, "list_empty"), (201, "too_many")])
def test_how_many_at_once(shop: Shop, job: Job, count: int, code: str) -> None:
    with pytest.raises(Refused) as refusal:
        record(shop, job, *(entry(shop) for _ in range(count)))
    assert refusal.value.code == code


def test_readings_sent_again_are_the_same_rows_even_under_a_newer_budget(shop: Shop, job: Job) -> None:
    one = entry(shop)
    (first,) = record(shop, job, one)
    shop.observe_clock("09:05")
    (again,) = record(shop, job, one)
    assert first.pk == again.pk
    assert EquipmentUse.objects.count() == 1
