"""How to move a target's stand, and which further measurement would settle where it stands."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from rules.conformity import decide_limit
from rules.quantities import Limit
from rules.science.pose import Design, Predicted, predict
from rules.verdict import MET

Quantity = Literal["distance", "sideways", "yaw"]
QUANTITIES: Final[tuple[Quantity, ...]] = ("distance", "sideways", "yaw")
OptionName = Literal["as_is", "one_more_set", "two_more_sets", "three_more_sets", "other_axle", "move_stand"]
# Minutes that each takes (project default, no source).
MINUTES: Final[Mapping[OptionName, int]] = {
    "as_is": 0,
    "one_more_set": 3,
    "two_more_sets": 6,
    "three_more_sets": 9,
    "other_axle": 8,
    "move_stand": 5,
}
_MORE_SETS: Final[tuple[tuple[OptionName, int], ...]] = (
    ("one_more_set", 1),
    ("two_more_sets", 2),
    ("three_more_sets", 3),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StandMove:
    """Moves that bring the bar's centre onto its line at the nominal distance, mm and deg, signs as named."""

    towards_car_mm: float
    to_right_mm: float
    turn_anticlockwise_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """One quantity under an option: its expected u, and from where to where it would be met.

    ``value`` is the present one, ``inside`` whether it would then be met.
    """

    quantity: Quantity
    unit: str
    u: float
    accept_lower: float | None
    accept_upper: float | None
    value: float
    inside: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One further measurement: ``settles`` if every present value would then be met."""

    name: OptionName
    minutes: int
    zones: tuple[Zone, ...]
    settles: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The line the target has to stand on: from (-``behind``, 0) forward, ``slope`` mm to the left per mm."""

    slope: float = 0.0
    angle_deg: float = 0.0
    behind: float = 0.0

    def at(self, x: float) -> float:
        """y of the line at x."""
        return (x + self.behind) * self.slope


@dataclass(frozen=True, slots=True, kw_only=True)
class Stands:
    """Where the bar stands: mm, mm, deg, in the axes of the marks it is measured from."""

    x: float
    y: float
    turn_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """A measured set-up, as a solved position leaves it behind: mm and deg.

    Attributes:
        nominal: the distance meant, from the marks measured from.
        from_front: the marks measured from are those of the front axle.
        bar, front_track, rear_track, wheelbase: lengths; None where unknown.
        read: for each reading (d_LL ... b_RR) the independent u of its mean, and how many were averaged.
        scale: relative standard uncertainty that the readings share.
        stands: where the bar stands.
        thrust: (angle, u) of the thrust line; None where the car's middle is the line.
        limits, values: of every quantity that has a value.
        z: decision factor.
    """

    nominal: float
    from_front: bool
    bar: float
    front_track: float | None
    rear_track: float | None
    wheelbase: float | None
    read: Mapping[str, tuple[float, int]]
    scale: float
    stands: Stands
    thrust: tuple[float, float] | None
    limits: Mapping[Quantity, Limit]
    values: Mapping[Quantity, float]
    z: float

    @property
    def behind(self) -> float:
        """How far behind the marks measured from the rear axle lies, where a thrust line starts."""
        return (self.wheelbase or 0.0) if self.from_front else 0.0

    @property
    def line(self) -> Line:
        angle = 0.0 if self.thrust is None else self.thrust[0]
        return Line(slope=math.tan(math.radians(angle)), angle_deg=angle, behind=self.behind)

    @property
    def other_axle(self) -> tuple[float, float] | None:
        """x of the other axle's marks and how far they lie apart, as far as known."""
        own, other = self.front_track, self.rear_track
        if not self.from_front:
            own, other = other, own
        track = other or own
        if self.wheelbase is None or track is None:
            return None
        return (-self.wheelbase if self.from_front else self.wheelbase), track

    def design(self) -> Design:
        """What has been read so far, at the nominal distance straight ahead."""
        own, other = ("d", "b") if self.from_front else ("b", "d")
        counts = {
            f"{letter}_{ends}": self.read.get(f"{prefix}_{ends}", (0.0, 0))[1]
            for prefix, letter in ((own, "d"), (other, "b"))
            for ends in ("LL", "LR", "RL", "RR")
        }
        squares = [u * u * count for u, count in self.read.values()]
        uses_other = any(place.startswith(other) for place in self.read)
        axle = self.other_axle if uses_other else None
        own_track = self.front_track if self.from_front else self.rear_track
        arm = 0.0 if self.thrust is None else self.nominal + self.behind
        return Design(
            distance=self.nominal,
            track=own_track or (0.0 if axle is None else axle[1]),
            bar=self.bar,
            u=math.sqrt(math.fsum(squares) / len(squares)),
            u_relative=self.scale,
            other_axle_x=None if axle is None else axle[0],
            other_track=None if axle is None else axle[1],
            sets={place: count for place, count in counts.items() if axle is not None or place[0] == "d"},
            thrust_arm=arm,
            u_thrust_deg=0.0 if self.thrust is None else self.thrust[1],
        )


def stand_move(stands: Stands, nominal_x: float, line: Line) -> StandMove:
    """From where the bar stands to the line's point at ``nominal_x``, turned square to the line.

    A target in front of its car looks along -x: towards the car is backward, the car's right is -y. A target
    behind the car (``nominal_x`` below zero) comes towards it by going forward.
    """
    ahead = stands.x - nominal_x
    return StandMove(
        towards_car_mm=ahead if nominal_x >= 0.0 else -ahead,
        to_right_mm=stands.y - line.at(nominal_x),
        turn_anticlockwise_deg=line.angle_deg - stands.turn_deg,
    )


def advise(set_up: SetUp) -> tuple[StandMove, tuple[Option, ...]]:
    """How to move the stand, and what each further measurement would leave of the limits.

    Raises:
        PoseError, ValueError: a set-up from which nothing can be predicted.
    """
    design = set_up.design()
    spare = set_up.other_axle if design.other_axle_x is None else None
    move = stand_move(set_up.stands, set_up.nominal, set_up.line)
    return move, options(design, set_up.limits, set_up.values, set_up.z, spare)


def options(
    design: Design,
    limits: Mapping[Quantity, Limit],
    values: Mapping[Quantity, float],
    z: float,
    other_axle: tuple[float, float] | None,
) -> tuple[Option, ...]:
    """What each further measurement would leave of the limits, and whether the present values would be met.

    Args:
        design: what has been measured so far, at the nominal position.
        limits, values: for each quantity to decide; present values mm, mm, deg.
        z: decision factor.
        other_axle: (x, how far apart) of the marks at the other axle; None where they are used already or
            not known.

    The predictions say nothing about what the new readings will be: a value that would be inside probably
    is, not surely. Moving the stand starts anew around the nominal position, with one set.
    """
    found = [_option("as_is", predict(design), limits, values, z)]
    for name, more in _MORE_SETS:
        sets = {place: count + more for place, count in design.sets.items()}
        again = replace(design, times=design.times + more, sets=sets)
        found.append(_option(name, predict(again), limits, values, z))
    if other_axle is not None:
        x, track = other_axle
        wider = replace(design, other_axle_x=x, other_track=track)
        # The lines that are new are read once, whatever was read before.
        once = {f"b_{side}{end}": 1 for side in "LR" for end in "LR"}
        wider = replace(wider, sets={**design.sets, **once})
        found.append(_option("other_axle", predict(wider), limits, values, z))
    fresh = predict(replace(design, times=1, sets={}))
    centred = {name: _middle(limits[name], values[name]) for name in values}
    found.append(_option("move_stand", fresh, limits, centred, z))
    return tuple(found)


def _option(
    name: OptionName,
    predicted: Predicted,
    limits: Mapping[Quantity, Limit],
    values: Mapping[Quantity, float],
    z: float,
) -> Option:
    u = {
        "distance": predicted.u_distance,
        "sideways": predicted.u_sideways,
        "yaw": predicted.u_yaw_deg,
    }
    zones = tuple(
        _zone(quantity, values[quantity], u[quantity], limits[quantity], z)
        for quantity in QUANTITIES
        if quantity in limits and quantity in values
    )
    return Option(
        name=name,
        minutes=MINUTES[name],
        zones=zones,
        settles=bool(zones) and all(zone.inside for zone in zones),
    )


def _zone(quantity: Quantity, value: float, u: float, limit: Limit, z: float) -> Zone:
    decision = decide_limit(value, u, limit, z)
    return Zone(
        quantity=quantity,
        unit=limit.unit,
        u=u,
        accept_lower=decision.accept_lower,
        accept_upper=decision.accept_upper,
        value=value,
        inside=decision.verdict == MET,
    )


def _middle(limit: Limit, value: float) -> float:
    """Where a moved stand would be put: the middle of the limits, or well inside a single one."""
    if limit.lower is not None and limit.upper is not None:
        return (limit.lower + limit.upper) / 2.0
    return value


def quickest(found: Sequence[Option], names: Sequence[OptionName]) -> Option | None:
    """Of the named options that would settle every value, the one that takes least time."""
    fitting = [item for item in found if item.name in names and item.settles]
    return min(fitting, key=lambda item: item.minutes, default=None)
