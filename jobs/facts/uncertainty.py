"""The standard uncertainty of one reading by the method budget that the organisation has on file."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Final, Self

from jobs.models import MethodBudget
from rules.conformity import standard_uncertainty
from rules.rounding import to_six

# Values that the vehicle or the scan device displays: its maker states the limit for the shown value.
VEHICLE_SHOWN: Final = frozenset(
    {"learned_yaw", "learned_pitch", "learned_roll", "steering_angle", "parking_reading", "odometer"}
)
# Read by eye on the display without an instrument, with a budget of its own.
WITHOUT_INSTRUMENT: Final = frozenset({"seam_step"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """A typed value and the step of its last digit, both in the program's unit of the quantity."""

    value: float
    resolution: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Budgets:
    """The method budgets in force on one day, the latest of each quantity and instrument class."""

    rows: dict[tuple[str, str], MethodBudget]

    @classmethod
    def on_file(cls, day: date) -> Self:
        return cls.of_rows(MethodBudget.objects.filter(valid_from__lte=day).order_by("valid_from", "id"))

    @classmethod
    def of_rows(cls, rows: Iterable[MethodBudget]) -> Self:
        """From rows in order of validity: a later one replaces an earlier."""
        return cls(rows={(row.quantity, row.cls): row for row in rows})

    def find(self, quantity: str, instrument_class: str) -> MethodBudget | None:
        """The budget of this quantity for this class of instrument; none without an instrument,
        save by eye."""
        if not instrument_class and quantity not in WITHOUT_INSTRUMENT:
            return None
        return self.rows.get((quantity, instrument_class))

    def of(self, quantity: str, instrument_class: str, typed: Typed) -> tuple[float | None, str]:
        """u (k = 1, program's unit) and where it comes from; (None, "") where no budget is known."""
        if quantity in VEHICLE_SHOWN and instrument_class in ("", "scan_device"):
            return 0.0, "shown by the vehicle or the scan device"
        budget = self.find(quantity, instrument_class)
        if budget is None:
            return None, ""
        u = standard_uncertainty(
            budget.u_fixed,
            budget.u_relative,
            budget.u_repeat,
            budget.resolution,
            typed.resolution,
            typed.value,
        )
        return to_six(u), f"method budget from {budget.valid_from.isoformat()}: {budget.basis}"[:200]

    def common(self, quantity: str, instrument_class: str) -> float | None:
        """The relative part of u that all readings with one instrument share; None where u is not known.

        It is a share of the value, as the scale of a tape is, so repeating does not shrink it.
        """
        if quantity in VEHICLE_SHOWN and instrument_class in ("", "scan_device"):
            return 0.0
        budget = self.find(quantity, instrument_class)
        return None if budget is None else to_six(budget.u_relative)
