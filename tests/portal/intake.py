"""Bodies of requests that open a job, and how the tests open one through the API."""

import uuid
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from tests.portal.cast import Caller, Site

# Position 9 is the check digit (49 CFR 565.15): an invented VIN that satisfies it.
VIN: Final = "Z0ASD1F89S2011835"


def earlier(**before: float) -> str:
    """An instant of today, some time ago, as a device writes it."""
    return (datetime.now(tz=UTC) - timedelta(**before)).isoformat()


def vehicle_body(**changes: Any) -> dict[str, Any]:
    return {
        "id": str(uuid.uuid4()),
        "vin": VIN,
        "make": "Orrinvale",
        "model": "Sedge",
        "model_year": 2025,
        "market": "US",
        "placard_front_kpa": "230",
        "placard_rear_kpa": "220",
    } | changes


def order_body(vehicle: str, site: Site, **changes: Any) -> dict[str, Any]:
    return {
        "id": str(uuid.uuid4()),
        "job_id": str(uuid.uuid4()),
        "number": f"{site.location.code}-2026-{uuid.uuid4().hex[:6]}",
        "location": site.location.code,
        "vehicle": vehicle,
        "opened_at": earlier(hours=2),
        "customer_name": "R. Ashgrove",
        "odometer_in": {"value": "21007", "unit": "km", "resolution": "1"},
        "device": str(site.device.pk),
    } | changes


@dataclass(frozen=True)
class OpenJob:
    """A job that was opened through the API."""

    vehicle: str
    order: str
    job: str

    @property
    def path(self) -> str:
        return f"jobs/{self.job}"


def open_job(caller: Caller, site: Site) -> OpenJob:
    """Registers a vehicle and opens an order for it."""
    vehicle = vehicle_body()
    answer = caller.post("vehicles", vehicle)
    assert answer.status == 201, answer.body
    order = order_body(vehicle["id"], site)
    answer = caller.post("orders", order)
    assert answer.status == 201, answer.body
    return OpenJob(vehicle["id"], order["id"], order["job_id"])
