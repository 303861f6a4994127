"""How a group measures: its methods with their uncertainties, and what stands certified at each place."""

import math
from dataclasses import dataclass, field
from typing import Final

from rules.conformity import standard_uncertainty
from rules.packs.check_library import SHOWN_BY_VEHICLE

_PLAIN_QUANTITIES: Final = {
    "rear_toe_left": "toe",
    "rear_toe_right": "toe",
    "tyre_pressure": "tire pressure",
    "floor_z": "floor heights",
    "stand_floor_z": "floor height at the stand",
    "mat_dx": "mat position",
    "mat_dy": "mat position",
    "supply_voltage": "supply voltage",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Method:
    """One way of measuring a quantity: parts of its standard uncertainty (k = 1) in the program's unit.

    ``instrument`` is the class of the instrument, empty for by eye; ``u_relative`` a share of the value that
    all readings with that instrument have in common.
    """

    quantity: str
    instrument: str
    u_fixed: float
    u_relative: float = 0.0
    u_repeat: float = 0.0
    resolution: float = 0.0

    def u(self, value: float) -> float:
        """The standard uncertainty of one reading near ``value``."""
        return standard_uncertainty(
            self.u_fixed, self.u_relative, self.u_repeat, self.resolution, self.resolution, abs(value)
        )

    @property
    def u_independent(self) -> float:
        """The part that no other reading shares."""
        return standard_uncertainty(self.u_fixed, 0.0, self.u_repeat, self.resolution, self.resolution, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """One instrument at its place; ``certified_for`` the quantities its certificate in date speaks for."""

    tag: str
    kind: str
    certified_for: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceMethods:
    """One location with its instruments. A place without targets and racks simply has few of them."""

    code: str
    name: str
    instruments: tuple[Instrument, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleSize:
    """Of one model: mm between the axles, and between the front marks under the wheels."""

    model: str
    wheelbase_mm: float
    track_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupMethods:
    """Everything the linter must know of a group to say what its methods leave of a limit."""

    name: str
    methods: tuple[Method, ...]
    places: tuple[PlaceMethods, ...]
    vehicles: tuple[VehicleSize, ...] = field(default=())


class UnknownUncertaintyError(ValueError):
    """No uncertainty is known here; the message says why, in words for a sentence about the place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """The methods of a group at one of its places."""

    group: GroupMethods
    place: PlaceMethods

    def method(self, quantity: str) -> Method:
        """The best method that can be used here.

        Raises:
            UnknownUncertaintyError: no method on file, no instrument of its class here, or none certified.
        """
        known = [method for method in self.group.methods if method.quantity == quantity]
        if not known:
            raise UnknownUncertaintyError(f"there is no method budget for {plain_quantity(quantity)}")
        usable = [method for method in known if not method.instrument or self._certified(method)]
        if not usable:
            raise UnknownUncertaintyError(self._why(known[0]))
        return min(usable, key=lambda method: (method.u_independent, method.u_relative, method.instrument))

    def u(self, quantity: str, value: float) -> float:
        """The standard uncertainty of one reading near ``value``; 0 for what the vehicle shows."""
        if quantity in SHOWN_BY_VEHICLE:
            return 0.0
        u = self.method(quantity).u(value)
        if not math.isfinite(u):
            raise UnknownUncertaintyError(f"the method budget for {plain_quantity(quantity)} is no number")
        return u

    def kind(self, quantity: str) -> str:
        """The class of instrument that reads the quantity here, in words."""
        return plain_kind(self.method(quantity).instrument)

    def _certified(self, method: Method) -> bool:
        return any(
            one.kind == method.instrument and method.quantity in one.certified_for
            for one in self.place.instruments
        )

    def _why(self, method: Method) -> str:
        kind = plain_kind(method.instrument)
        if not any(one.kind == method.instrument for one in self.place.instruments):
            return f"there is no {kind}"
        return f"the {kind} is not certified for {plain_quantity(method.quantity)}"


def plain_quantity(quantity: str) -> str:
    """A quantity in the words of a sentence."""
    return _PLAIN_QUANTITIES.get(quantity, quantity.replace("_", " "))


def plain_kind(instrument: str) -> str:
    """A class of instrument in words; by eye where there is none. US words: a tire gauge."""
    if not instrument:
        return "eye"
    return instrument.replace("_", " ").replace("tyre", "tire").replace("alignment rack", "rack")
