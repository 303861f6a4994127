"""A mileage as somebody read it."""

from dataclasses import dataclass

from jobs.services import values
from jobs.services.values import refused


@dataclass(frozen=True, slots=True, kw_only=True)
class Odometer:
    """A shown mileage: ``value`` and ``resolution`` as typed, in ``unit`` km or mi."""

    value: str
    unit: str
    resolution: str = "1"

    def as_json(self) -> dict[str, str]:
        """As typed, for the row."""
        return {"value": self.value, "unit": self.unit, "resolution": self.resolution}


def check_odometer(odometer: Odometer, field: str) -> Odometer:
    """The same, checked: ``bad_number`` or ``bad_choice``; a mileage lies between 0 and ten million."""
    value, _ = values.read_number(odometer.value, f"{field}.value")
    if not 0 <= value < 1e7:
        raise refused("bad_number", f"{field}.value", "A mileage lies between 0 and 9,999,999.")
    if values.read_positive(odometer.resolution, f"{field}.resolution") > 100:
        raise refused("bad_number", f"{field}.resolution", "A display counts in steps of at most 100.")
    values.read_choice(odometer.unit, ("km", "mi"), f"{field}.unit")
    return odometer
