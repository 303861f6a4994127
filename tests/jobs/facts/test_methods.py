"""What an organisation's own budgets, instruments and certificates say about how it measures."""

from datetime import date

import pytest

from jobs.facts.methods import group_methods
from jobs.models import Certificate
from rules.packs.methods import Bench, GroupMethods, UnknownUncertaintyError
from tests.factories import CertificateFactory, EquipmentFactory, LocationFactory, MethodBudgetFactory
from tests.jobs.shop import Shop

ON = date(2026, 5, 5)


def methods(shop: Shop, on: date = ON) -> GroupMethods:
    return group_methods(shop.organisation, on=on)


def bench(shop: Shop, code: str, on: date = ON) -> Bench:
    group = methods(shop, on)
    return Bench(group=group, place=next(place for place in group.places if place.code == code))


def rack(shop: Shop, *, tag: str = "AR-009", unit: str = "deg", confirmed: bool = True) -> Certificate:
    """A rack at Eastmarch with a certificate from 12 February 2026 and an interval of 12 months."""
    for quantity in ("rear_toe_left", "rear_toe_right"):
        MethodBudgetFactory.create(
            organisation=shop.organisation, quantity=quantity, instrument_class="alignment_rack",
            u_fixed=0.01, u_repeat=0.0, resolution=0.0,
        )  # fmt: skip
    row = EquipmentFactory.create(
        organisation=shop.organisation, tag=tag, instrument_class="alignment_rack",
        home_location=shop.location, unit="deg",
    )  # fmt: skip
    point = {"nominal": 0, "indication": 0.0, "error": 0.0, "U": 0.02, "k": 2, "unit": unit}
    people = {"transcribed_by": shop.people["lveskel"]}
    if confirmed:
        people["confirmed_by"] = shop.people["dpell"]
    made: Certificate = CertificateFactory.create(equipment=row, as_left=[point], **people)
    return made


def test_a_rack_certified_for_toe_serves_its_own_place_only(shop: Shop) -> None:
    rack(shop)
    LocationFactory.create(organisation=shop.organisation, code="LM", name="Low Mill")
    assert bench(shop, shop.location.code).u("rear_toe_left", 0.0) == pytest.approx(0.01)
    with pytest.raises(UnknownUncertaintyError, match="there is no rack"):
        bench(shop, "LM").u("rear_toe_left", 0.0)


@pytest.mark.parametrize(
    ("fields", "on", "serves"),
    [
        ({}, date(2026, 2, 12), True),
        ({}, date(2026, 2, 11), False),  # calibrated the day after
        ({}, date(2027, 2, 12), True),  # the last day of the interval
        ({}, date(2027, 2, 13), False),
        ({"unit": "mm"}, ON, False),  # certified for something else
        ({"confirmed": False}, ON, False),
    ],
)
def test_what_a_certificate_speaks_for(shop: Shop, fields: dict[str, object], on: date, serves: bool) -> None:
    rack(shop, **fields)  # type: ignore[arg-type]
    here = bench(shop, shop.location.code, on)
    if serves:
        assert here.u("rear_toe_left", 0.0) == pytest.approx(0.01)
    else:
        with pytest.raises(UnknownUncertaintyError, match="the rack is not certified for toe"):
            here.u("rear_toe_left", 0.0)


def test_an_instrument_put_out_of_service_serves_nowhere(shop: Shop) -> None:
    certificate = rack(shop)
    certificate.equipment.state = "quarantined"
    certificate.equipment.save()
    with pytest.raises(UnknownUncertaintyError, match="there is no rack"):
        bench(shop, shop.location.code).u("rear_toe_left", 0.0)


def test_sizes_come_from_the_cars_on_record(shop: Shop) -> None:
    shop.vehicle.wheelbase_mm, shop.vehicle.front_track_mm = 2760.0, 1580.0
    shop.vehicle.save()
    (size,) = [one for one in methods(shop).vehicles if one.model == shop.vehicle.model]
    assert (size.wheelbase_mm, size.track_mm) == (2760.0, 1580.0)
