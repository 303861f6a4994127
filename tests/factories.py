"""The invented world's cast as rows: Brackwater Repair Group with its shop Eastmarch, and a second
organisation."""

import uuid
from datetime import UTC, date, datetime, timedelta
from typing import Any

import factory
from django.contrib.auth.hashers import make_password

from jobs.models import (
    Bay,
    Certificate,
    Device,
    Equipment,
    Location,
    MethodBudget,
    Organisation,
    Person,
    Qualification,
    Vehicle,
    unscoped,
)

OPENED = datetime(2026, 5, 5, 12, 30, tzinfo=UTC)  # 07:30 in Eastmarch
PIN = "417204"
# Hashed once: the hash is made to be slow.
_PIN_HASH = make_password(PIN)


class _RowFactory(factory.django.DjangoModelFactory[Any]):
    """Makes rows as the system itself may: the guard of the open scope is for reading in somebody's name."""

    class Meta:
        abstract = True

    @classmethod
    def _create(cls, model_class: Any, *args: Any, **kwargs: Any) -> Any:
        # A field of that name cannot be told apart from the class inside the factory library.
        if "instrument_class" in kwargs:
            kwargs["cls"] = kwargs.pop("instrument_class")
        with unscoped():
            row = model_class(**kwargs)
            row.save(force_insert=True)
        return row


class OrganisationFactory(_RowFactory):
    class Meta:
        model = Organisation

    name = "Brackwater Repair Group"
    kind = "repair_group"
    default_tz = "America/Chicago"
    release_roles = factory.LazyFunction(lambda: ["location_manager", "operations_manager"])
    created_at = OPENED - timedelta(days=400)


class LocationFactory(_RowFactory):
    class Meta:
        model = Location

    organisation = factory.SubFactory(OrganisationFactory)
    code = "EM"
    name = "Eastmarch"
    lat = 43.1
    lon = -98.2
    tz = "America/Chicago"
    active_from = date(2020, 1, 1)


class BayFactory(_RowFactory):
    class Meta:
        model = Bay

    location = factory.SubFactory(LocationFactory)
    organisation = factory.SelfAttribute("location.organisation")
    code = "EM-B2"
    length_mm = 12000
    width_mm = 6500
    height_mm = 4200


class PersonFactory(_RowFactory):
    """PINs of the cast are all ``PIN``."""

    class Meta:
        model = Person
        skip_postgeneration_save = True

    organisation = factory.SubFactory(OrganisationFactory)
    login = factory.Sequence(lambda count: f"person{count}")
    name = factory.SelfAttribute("login")
    roles = factory.LazyFunction(lambda: ["technician"])
    all_locations = True
    pin_hash = _PIN_HASH


class QualificationFactory(_RowFactory):
    class Meta:
        model = Qualification

    person = factory.SubFactory(PersonFactory)
    organisation = factory.SelfAttribute("person.organisation")
    kind = "review"
    issuer = "Brackwater Repair Group"
    number = factory.Sequence(lambda count: f"Q-{count}")
    issued_on = date(2025, 9, 1)
    expires_on = date(2026, 8, 31)
    received_at = OPENED - timedelta(days=200)
    created_by = factory.SelfAttribute("person")
    content_sha256 = factory.LazyFunction(lambda: uuid.uuid4().hex * 2)


class DeviceFactory(_RowFactory):
    class Meta:
        model = Device

    location = factory.SubFactory(LocationFactory)
    organisation = factory.SelfAttribute("location.organisation")
    name = "tablet-em-1"
    enrolled_at = OPENED - timedelta(days=30)


class EquipmentFactory(_RowFactory):
    class Meta:
        model = Equipment

    organisation = factory.SubFactory(OrganisationFactory)
    tag = "PG-022"
    instrument_class = "tyre_gauge"
    maker = "Stavel"
    unit = "kPa"
    resolution = 1.0
    interval_months = 12
    in_service_from = date(2024, 8, 12)


class CertificateFactory(_RowFactory):
    class Meta:
        model = Certificate

    equipment = factory.SubFactory(EquipmentFactory)
    organisation = factory.SelfAttribute("equipment.organisation")
    number = factory.Sequence(lambda count: f"FM-26-{count}")
    lab_name = "Fellgate Metrology Laboratory"
    calibrated_on = date(2026, 2, 12)
    issued_on = date(2026, 2, 14)
    received_at = OPENED - timedelta(days=60)
    content_sha256 = factory.LazyFunction(lambda: uuid.uuid4().hex * 2)
    as_left = factory.LazyFunction(
        lambda: [
            {"nominal": nominal, "indication": nominal + 0.5, "error": 0.5, "U": 2, "k": 2, "unit": "kPa"}
            for nominal in (150, 250, 350)
        ]
    )
    transcribed_by = factory.SubFactory(PersonFactory)
    created_by = factory.SelfAttribute("transcribed_by")


class MethodBudgetFactory(_RowFactory):
    """The tyre gauge's: certificate U 2 kPa with k 2, repeat 1 kPa, shown to 1 kPa."""

    class Meta:
        model = MethodBudget

    organisation = factory.SubFactory(OrganisationFactory)
    quantity = "tyre_pressure"
    instrument_class = "tyre_gauge"
    u_fixed = 1.0
    u_repeat = 1.0
    resolution = 1.0
    valid_from = date(2024, 1, 1)
    basis = "own trials"


class VehicleFactory(_RowFactory):
    class Meta:
        model = Vehicle

    organisation = factory.SubFactory(OrganisationFactory)
    vin = "Z0ASD1F89S2011835"
    make = "Orrinvale"
    model = "Sedge"
    model_year = 2025
    market = "US"
    placard_front_kpa = 230.0
    placard_rear_kpa = 220.0
    created_at = OPENED
    created_by = factory.SubFactory(PersonFactory)


CAST: tuple[tuple[str, str, list[str]], ...] = (
    ("itolvaar", "Ines Tolvaar", ["technician"]),
    ("mondry", "Marek Ondry", ["glass_installer"]),
    ("dpell", "Dagny Pell", ["quality_reviewer"]),
    ("tachterly", "Tobin Achterly", ["location_manager", "estimator"]),
    ("pvantongeren", "Perla Vantongeren", ["operations_manager"]),
    ("lveskel", "Lorcan Veskel", ["quality_manager"]),
)


def brackwater_people(organisation: Organisation) -> dict[str, Person]:
    """The people of Brackwater by login, with Dagny Pell qualified to review."""
    people = {
        login: PersonFactory.create(organisation=organisation, login=login, name=name, roles=roles)
        for login, name, roles in CAST
    }
    QualificationFactory.create(person=people["dpell"])
    return people


def second_organisation() -> dict[str, Any]:
    """Sallowfield Mobile Aiming with Wenna Stroud: a tenant that must see nothing of the first."""
    organisation = OrganisationFactory.create(name="Sallowfield Mobile Aiming", kind="sublet")
    location = LocationFactory.create(organisation=organisation, code="SF", name="Sallowfield")
    wenna = PersonFactory.create(
        organisation=organisation,
        login="wstroud",
        name="Wenna Stroud",
        roles=["technician", "location_manager", "quality_reviewer"],
    )
    return {"organisation": organisation, "location": location, "wstroud": wenna}
