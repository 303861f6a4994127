"""Tyre pressure at ambient temperature from a pressure read warm."""

import math
from dataclasses import dataclass
from typing import Final

# Atmospheric pressure where no weather value is at hand (project default, kPa); 0 degC in kelvin.
ATMOSPHERE_KPA: Final = 101.3
ZERO_CELSIUS_K: Final = 273.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A value with its standard uncertainty, both in one unit."""

    value: float
    u: float


def cold_pressure(
    hot_kpa: Measured, tyre_degc: Measured, ambient_degc: Measured, atmosphere_kpa: float = ATMOSPHERE_KPA
) -> Measured:
    """Gauge pressure (kPa) the tyre would show at ambient temperature: constant volume, absolute scales.

    Nitrogen follows the same law. The uncertainty is propagated to first order (JCGM 100:2008, 5.1.2).

    Raises:
        ValueError: a temperature at or below absolute zero.
    """
    tyre_k = tyre_degc.value + ZERO_CELSIUS_K
    ambient_k = ambient_degc.value + ZERO_CELSIUS_K
    if tyre_k <= 0 or ambient_k <= 0:
        raise ValueError("a temperature lies at or below absolute zero")
    absolute = hot_kpa.value + atmosphere_kpa
    ratio = ambient_k / tyre_k
    by_gauge = ratio * hot_kpa.u
    by_ambient = absolute / tyre_k * ambient_degc.u
    by_tyre = absolute * ratio / tyre_k * tyre_degc.u
    squares = (by_gauge * by_gauge, by_ambient * by_ambient, by_tyre * by_tyre)
    return Measured(value=absolute * ratio - atmosphere_kpa, u=math.sqrt(math.fsum(squares)))
