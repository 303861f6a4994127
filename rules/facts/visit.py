"""The vehicle, what was known of it, and what was planned and done in this visit."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from rules.facts.moments import Moment, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    vin: str
    make: str
    model: str
    model_year: int
    market: str
    check_digit_rule: Literal["required", "advisory"] = "required"
    build_date: date | None = None
    placard_front_kpa: float | None = None
    placard_rear_kpa: float | None = None
    wheelbase_mm: float | None = None
    front_track_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class IdentityReading(Record):
    way: str
    vin_read: str
    at: Moment
    module: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedWay(Record):
    """One way a sensor was found fitted (``yes``), not fitted (``no``) or left open (``unknown``)."""

    sensor: str
    state: str
    way: str
    at: Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimateLine(Record):
    line_no: int
    text: str
    operations: tuple[str, ...] = ()
    touches_nothing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OperationDone(Record):
    operation: str
    by: str
    started: Moment | None = None
    done: Moment | None = None
    zone_detail: str | None = None
    found_later: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing(Record):
    """The operation list was closed; ``ended_at`` with ``withdrawn`` means it was opened again."""

    at: Moment
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TextLookup(Record):
    procedure_id: str
    document_number: str
    edition: str
    section: str
    retrieved_at: Moment | None
    retrieved_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StateChange(Record):
    kind: str
    at: Moment
    by: str
    on_road: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SubletTrip(Record):
    procedure_ids: tuple[str, ...]
    to_org: str
    carried_how: Literal["driven", "trailer", "done_here"]
    out_at: Moment | None
    back_at: Moment | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery(Record):
    at: Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    product: str
    batch: str
    expires_on: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class GlassSet(Record):
    operation_id: str
    set_at: Moment
    set_by: str
    glass_maker: str
    glass_part_number: str
    adhesive: Batch | None
    primer: Batch | None
    climate_log_id: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AdhesiveCell:
    """Minutes for a lowest temperature in [temp_from, temp_to) degC, humidity [rh_from, rh_to) percent."""

    temp_from: float
    temp_to: float
    rh_from: float
    rh_to: float | None
    minutes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AdhesiveSheet:
    product: str
    document: str
    issue: str
    cells: tuple[AdhesiveCell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorFunctions:
    """The J3063 functions that use one sensor of this vehicle."""

    sensor: str
    functions: tuple[str, ...]
