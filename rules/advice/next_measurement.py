"""Which further measurement would settle where a target stands: expected zones under each, and minutes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rules.checks.target_words import OPTION_WORDS
from rules.quantities import Limit
from rules.rounding import to_six
from rules.science.pose import Design
from rules.science.target_advice import Option as Found
from rules.science.target_advice import OptionName, Quantity
from rules.science.target_advice import options as _options


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """One quantity under an option: its expected u, from where to where it would be met, the value now."""

    quantity: Quantity
    unit: str
    u: float
    accept_lower: float | None
    accept_upper: float | None
    value: float
    inside: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """``settles``: every value of today would then be met; probably, for new readings will differ."""

    name: OptionName
    minutes: int
    zones: tuple[Zone, ...]
    settles: bool
    words: str


def next_measurements(
    design: Design,
    limits: Mapping[Quantity, Limit],
    values: Mapping[Quantity, float],
    z: float,
    other_axle: tuple[float, float] | None,
) -> tuple[Option, ...]:
    """As it is; one, two, three sets more; the other axle's marks; moving the stand and measuring once.

    Computed by adding rows to the design of the fit, so nothing has to be measured for it. ``other_axle``:
    x of its marks and how far they lie apart, None where they are in use or unknown. Values in mm and deg.
    """
    return told(_options(design, limits, values, z, other_axle))


def told(found: Sequence[Found]) -> tuple[Option, ...]:
    """Computed options with their words, numbers rounded once to six decimals."""
    return tuple(
        Option(
            name=item.name,
            minutes=item.minutes,
            zones=tuple(
                Zone(
                    quantity=zone.quantity,
                    unit=zone.unit,
                    u=to_six(zone.u),
                    accept_lower=zone.accept_lower,
                    accept_upper=zone.accept_upper,
                    value=to_six(zone.value),
                    inside=zone.inside,
                )
                for zone in item.zones
            ),
            settles=item.settles,
            words=OPTION_WORDS[item.name],
        )
        for item in found
    )
