"""Eastmarch on one day, for tests: the cast as actors, a tablet with a known clock, and short ways
to record."""

import io
import uuid
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from jobs.access import Actor, actor_for_person
from jobs.models import Device, Evidence, Job, Location, Organisation, Person, Vehicle
from jobs.services import devices, evidence_intake, order_intake, pack_desk
from jobs.services.devices import ClockEntry
from jobs.services.odometer import Odometer
from jobs.services.order_intake import OrderEntry
from tests.factories import (
    BayFactory,
    DeviceFactory,
    EquipmentFactory,
    LocationFactory,
    MethodBudgetFactory,
    OrganisationFactory,
    VehicleFactory,
    brackwater_people,
)

DAY = date(2026, 5, 5)
PACKS = Path(__file__).parents[2] / "fixtures" / "packs"


@dataclass
class Shop:
    """One organisation with one location; ``scope(shop.organisation.pk)`` must be open."""

    organisation: Organisation
    location: Location
    people: dict[str, Person]
    tablet: Device
    vehicle: Vehicle
    day: date = DAY
    extra: dict[str, Any] = field(default_factory=dict)

    def at(self, hhmm: str, *, days: int = 0) -> datetime:
        """A local time of the day as UTC."""
        hour, minute, *second = (int(part) for part in hhmm.split(":"))
        zone = ZoneInfo(self.location.tz)
        local = datetime(
            self.day.year, self.day.month, self.day.day, hour, minute, *(second or (0,)), tzinfo=zone
        )
        return (local + timedelta(days=days)).astimezone(UTC)

    def text(self, hhmm: str, *, days: int = 0) -> str:
        return self.at(hhmm, days=days).isoformat()

    def actor(self, login: str, hhmm: str = "08:00") -> Actor:
        return actor_for_person(self.people[login], as_of=self.at(hhmm))

    def observe_clock(self, hhmm: str, *, offset_s: float = 0.0) -> None:
        """The tablet compares its clock with the server's; it is ``offset_s`` ahead, the exchange
        takes 0.2 s."""
        at = self.at(hhmm)
        shown = at + timedelta(seconds=offset_s)
        devices.observe_clock(
            device=self.tablet,
            actor=self.actor("itolvaar"),
            as_of=at + timedelta(seconds=0.1),
            entry=ClockEntry(
                id=uuid.uuid4(),
                ticket=devices.issue_clock_ticket(as_of=at),
                device_sent_at=(shown - timedelta(seconds=0.1)).isoformat(),
                device_received_at=(shown + timedelta(seconds=0.1)).isoformat(),
            ),
        )

    def order_entry(self, **changes: Any) -> OrderEntry:
        fields: dict[str, Any] = {
            "id": uuid.uuid4(),
            "job_id": uuid.uuid4(),
            "number": "EM-2026-0417",
            "location": self.location.code,
            "vehicle": self.vehicle.pk,
            "opened_at": self.text("07:30"),
            "customer_name": "R. Ashgrove",
            "odometer_in": Odometer(value="21007", unit="km"),
            "device": self.tablet.pk,
        }
        return OrderEntry(**(fields | changes))

    def open_job(self, **changes: Any) -> Job:
        return order_intake.open_order(
            actor=self.actor("tachterly"), as_of=self.at("07:31"), entry=self.order_entry(**changes)
        )

    def publish(self, *names: str) -> None:
        """Publishes packs of the fixtures that begin with the year."""
        self._publish(names, datetime(2025, 12, 16, 18, tzinfo=UTC))

    def publish_later(self, *names: str) -> None:
        """Publishes packs of the fixtures that begin on 1 March."""
        self._publish(names, datetime(2026, 2, 26, 18, tzinfo=UTC))

    def _publish(self, names: tuple[str, ...], as_of: datetime) -> None:
        for name in names:
            pack_desk.publish_pack(
                actor=self.actor("pvantongeren"),
                as_of=as_of,
                data=(PACKS / name).read_bytes(),
                approved_by="dpell",
            )

    def upload(
        self, job: Job, data: bytes, *, hhmm: str, login: str = "itolvaar", **fields: Any
    ) -> tuple[Evidence, bool]:
        """One file, received at ``hhmm``, stamped by the tablet unless told otherwise."""
        given: dict[str, Any] = {
            "id": uuid.uuid4(),
            "claimed_sha256": sha256(data).hexdigest(),
            "kind": "photo",
            "stage": "intake",
            "captured_at": self.text(hhmm),
            "device": self.tablet.pk,
        }
        return evidence_intake.take_in(
            job=job,
            actor=self.actor(login),
            as_of=self.at(hhmm) + timedelta(seconds=2),
            upload=evidence_intake.Upload(**(given | fields)),
            source=io.BytesIO(data),
        )


def eastmarch() -> Shop:
    """Brackwater with Eastmarch, its people, a tablet, a Sedge, gauges and the gauge's budget."""
    organisation = OrganisationFactory.create()
    location = LocationFactory.create(organisation=organisation)
    people = brackwater_people(organisation)
    tablet = DeviceFactory.create(location=location)
    BayFactory.create(location=location)
    EquipmentFactory.create(organisation=organisation)
    EquipmentFactory.create(
        organisation=organisation,
        tag="SD-011",
        instrument_class="scan_device",
        serial="PW-7711",
        needs_certificate=False,
        interval_months=None,
    )
    MethodBudgetFactory.create(organisation=organisation)
    vehicle = VehicleFactory.create(organisation=organisation, created_by=people["tachterly"])
    return Shop(organisation=organisation, location=location, people=people, tablet=tablet, vehicle=vehicle)


def new_id() -> UUID:
    return uuid.uuid4()
