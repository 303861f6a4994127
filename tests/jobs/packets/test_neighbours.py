"""What belongs to other orders: read from the record, found however it is written, own things left alone."""

from collections.abc import Iterator
from typing import Any

import pytest

from jobs.models import Job, RepairOrder, Vehicle, scope
from jobs.packets.neighbours import of_others, own_texts
from jobs.packets.strangers import CUSTOMER, ORDER, VEHICLE, Known, Replacer
from tests.factories import second_organisation
from tests.jobs.shop import Shop, eastmarch


@pytest.fixture
def shop(db: None) -> Iterator[Shop]:
    made = eastmarch()
    with scope(made.organisation.pk):
        yield made


@pytest.fixture
def job(shop: Shop) -> Job:
    shop.observe_clock("07:29")
    return shop.open_job()


def neighbour(shop: Shop, number: str, **fields: Any) -> RepairOrder:
    """Another car with another order, changed after it was opened as the desk would."""
    plate = fields.pop("plate", "")
    other = shop.open_job(number=number)
    car = Vehicle.objects.create(
        organisation=shop.organisation, vin=f"Z0ACR4H24T100{number[-4:]}", make="Orrinvale", model="Corran",
        model_year=2026, market="US", plate=plate, created_at=shop.at("08:00"),
        created_by=shop.people["tachterly"],
    )  # fmt: skip
    RepairOrder.objects.filter(pk=other.order_id).update(**({"vehicle": car} | fields))
    return RepairOrder.objects.get(pk=other.order_id)


def known(job: Job) -> Known:
    return Known(vin=job.order.vehicle.vin, job_id=str(job.pk), others=of_others(job))


@pytest.mark.parametrize(
    ("on_file", "said"),
    [
        ("Marta Quill", "next to MARTA  QUILL's car"),
        ("Marta Quill", "marta_quill_lane.jpg"),
        ("M. Quill", "from M Quill, see there"),
        ("M Quill", "from M. Quill."),
        ("M. Quill Jr.", "left by M. Quill Jr. at noon"),
        ("Marta  Quill ", "Marta\nQuill"),
        # Letters that a database may or may not take for one another.
        ("Ólafur Ærlig", "for ÓLAFUR ÆRLIG"),
        ("Ólafur Ærlig", "for Ólafur Ærlig"),
        # The same letter in two pieces, as some devices send it.
        ("Ólafur Ærlig", "for O\u0301lafur Ærlig"),
        ("Groß & Söhne", "an GROSS & SÖHNE"),
        ("M. O’Brannigan", "m. o'brannigan"),
    ],
)
def test_a_customer_is_found_however_the_name_is_written(
    shop: Shop,
    job: Job,
    on_file: str,
    said: str,
) -> None:
    neighbour(shop, "EM-2026-0418", customer_name=on_file)
    left = Replacer(known(job)).text(said)
    assert "another customer 1" in left
    assert not {"quill", "ólafur", "gross", "brannigan"} & set(left.casefold().replace("_", " ").split())


@pytest.mark.parametrize(
    ("on_file", "said"),
    [
        ("BRK 902", "behind BRK902"), ("BRK902", "behind brk 902"), ("BRK-902", "behind Brk 902,"),
        ("K48 LMN", "K48LMN"), ("902 BRK", "902-brk"),
    ],
)  # fmt: skip
def test_a_plate_is_found_with_and_without_its_blanks(
    shop: Shop,
    job: Job,
    on_file: str,
    said: str,
) -> None:
    neighbour(shop, "EM-2026-0418", plate=on_file)
    assert "another vehicle 1" in Replacer(known(job)).text(said)


def test_numbers_claims_and_contacts_are_told_by_their_kind(shop: Shop, job: Job) -> None:
    neighbour(
        shop, "EM-2026-0418", claim_number="CL-2026/77", customer_contact="0151 555 7788", plate="BRK 902"
    )
    assert of_others(job) == {
        "em-2026-0418": ORDER, "cl-2026/77": ORDER, "0151 555 7788": CUSTOMER, "brk 902": VEHICLE,
    }  # fmt: skip
    replacer = Replacer(known(job))
    said = "claim CL-2026/77 of EM-2026-0418, call 0151-555-7788"
    assert replacer.text(said) == "claim another order 2 of another order 1, call another customer 1"
    # The same for the same, however it is spelled the second time.
    assert replacer.text("em 2026 0418") == "another order 1"


def test_what_is_ones_own_too_or_too_short_is_nobody_elses(shop: Shop, job: Job) -> None:
    own = job.order
    neighbour(shop, "EM-2026-0418", customer_name="r ashgrove", customer_contact="Al.", claim_number="417")
    assert own_texts(job) >= {"r. ashgrove", "em-2026-0417"}
    assert of_others(job) == {"em-2026-0418": ORDER}
    # A second order of the same car: its plate is this car's.
    Vehicle.objects.filter(pk=own.vehicle_id).update(plate="WMK 417")
    shop.open_job(number="EM-2026-0419", customer_name="R. Ashgrove")
    fresh = Job.objects.get(pk=job.pk)
    assert of_others(fresh) == {"em-2026-0418": ORDER, "em-2026-0419": ORDER}


def test_another_business_is_not_asked(shop: Shop, job: Job) -> None:
    row = neighbour(shop, "EM-2026-0418", customer_name="Marta Quill")
    other = second_organisation()
    with scope(other["organisation"].pk):
        RepairOrder.objects.create(
            organisation=other["organisation"], number="S-1", location=other["location"],
            vehicle=Vehicle.objects.create(
                organisation=other["organisation"], vin="Z0ACR4H24T1009999", make="O", model="C",
                model_year=2026, market="US", plate="SLW 100", created_at=shop.at("08:00"),
                created_by=other["wstroud"],
            ),
            customer_name="Hidden Person", opened=row.opened, odometer_in={}, received_at=shop.at("08:00"),
            created_by=other["wstroud"],
        )  # fmt: skip
    told = of_others(job)
    assert "marta quill" in told
    assert not {"hidden person", "s-1", "slw 100"} & told.keys()
